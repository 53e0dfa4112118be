"""Values published by others, each with its source in its file."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

DATA = Path(__file__).parents[2] / "data"


def published(name: str) -> dict[str, Any]:
    """What a file of tests/data says."""
    told: dict[str, Any] = json.loads((DATA / name).read_text("utf-8"))
    return told


HANDBOOK = published("nist-handbook-spc-examples.json")
HANDBOOK_TESTS = published("nist-handbook-tests.json")
CERTIFIED = published("strd-univariate-certified.json")["sets"]


def strd(name: str) -> list[float]:
    """The values of a certified set."""
    told = CERTIFIED[name]
    if "pair" in told:
        return [float(told["first"]), *(float(value) for value in told["pair"] * 500)]
    rows = (DATA / f"strd-univariate-{name}.csv").read_text("utf-8").split()
    return [float(value) for value in rows[1:]]


def constants() -> list[dict[str, float]]:
    """Constants of control charts, a row for each size of group."""
    with (DATA / "control-chart-constants.csv").open("r", encoding="utf-8") as file:
        return [{key: float(cell) for key, cell in row.items()} for row in csv.DictReader(file)]
