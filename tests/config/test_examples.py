"""The shipped cards: they read, they fit each other, and they carry their cautions."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchd.config import bench_card, dough, read_card

EXAMPLES = Path(__file__).resolve().parents[2] / "benchd" / "examples"
NAMES = sorted(path.name for path in EXAMPLES.glob("*.yaml"))
CAUTIONS = ("no emergency stop", "loaded spring", "Never chase a blockage", "blade", "qualified")


def test_all_three_are_there() -> None:
    assert NAMES == ["bench.yaml", "masa.yaml", "smallest.yaml"]


@pytest.mark.parametrize("name", ["bench.yaml", "smallest.yaml"])
def test_a_bench_reads_and_the_dough_fits_it(name: str) -> None:
    facts = bench_card(read_card(EXAMPLES / name), name).facts
    masa = dough(read_card(EXAMPLES / "masa.yaml"), "masa.yaml", facts)
    assert masa.aim_kg == pytest.approx(0.030)
    assert facts.simulated == (name == "bench.yaml")
    assert len(facts.fitted) == (2 if name == "smallest.yaml" else 11)


@pytest.mark.parametrize("name", ["bench.yaml", "smallest.yaml"])
def test_a_bench_card_opens_with_its_cautions(name: str) -> None:
    head = " ".join(read_card(EXAMPLES / name).split("\nbench:")[0].replace("#", "").split())
    assert [words for words in CAUTIONS if words not in head] == []


def test_the_dough_card_opens_with_its_cautions() -> None:
    head = read_card(EXAMPLES / "masa.yaml").split("\ndough:")[0]
    assert "do not taste" in head
    assert "bake fully" in head
