"""Every sizing calculation against outside values: worked examples, tables, other libraries."""

from __future__ import annotations

import csv
import importlib
import inspect
import pkgutil
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchd.calc import sizing
from benchd.calc.sizing import cylinder, screw, stored_energy

DATA = Path(__file__).resolve().parents[2] / "data"
REFERENCES: dict[str, dict[str, list[dict[str, Any]]]] = tomllib.loads(
    (DATA / "references.toml").read_text("utf-8")
)


def cases() -> Iterator[Any]:
    """Each reference, named by its calculation."""
    for module, functions in REFERENCES.items():
        for function, rows in functions.items():
            for number, row in enumerate(rows):
                yield pytest.param(module, function, row, id=f"{module}.{function}-{number}")


FORMULA_ONLY = {
    "air_flow.critical_in_series": "a rule of makers of air components; no worked example of it "
    "was found",
    "backwards.nozzle_bore": "the definition of die swell turned round; no print was found that "
    "gives both diameters and not the ratio alone",
}
"""Calculations with a published formula behind them, for which no published number was found."""

OURS = {
    "backwards.cutter_travel": "0.6 of the blade's stroke is common practice",
    "backwards.working_pressure": "the factor of two on the cut is common practice; what is left "
    "of it is `barrel_pressure`, which has a number",
    "dough_time.tube_time": "portions times period, a product of two values of this sheet",
    "period.shortest": "the daemon's own rule of 5 % and a tenth of a second",
    "throw.landing_spread": "the shares 0.2 and 0.6 of the blade's speed are common practice; "
    "what is left is `throw_distance`, which has numbers",
}
"""Calculations that are a rule of this project or of the trade: nobody else can have published a
number for them."""

UNPUBLISHED = FORMULA_ONLY.keys() | OURS.keys()
"""Calculations without a published number: a formula or common practice, worked out apart from
this repository, stands in for it."""


@pytest.mark.parametrize(("module", "function", "row"), list(cases()))
def test_a_calculation_gives_the_published_value(
    module: str, function: str, row: dict[str, Any]
) -> None:
    compute = getattr(importlib.import_module(f"benchd.calc.sizing.{module}"), function)
    args = dict(row["args"])
    found = compute(args.pop("first"), **args)
    wanted = pytest.approx(row["value"], rel=row.get("rel", 0.0), abs=row.get("abs", 0.0))
    assert found == wanted, row["source"]


def test_every_reference_says_where_it_is_from_and_who_computed_it() -> None:
    for functions in REFERENCES.values():
        for rows in functions.values():
            for row in rows:
                assert row["source"]
                assert row["computed_by"]
                assert "rel" in row or "abs" in row


def calculations() -> Iterator[str]:
    """Every public function of every calculation's file."""
    for found in pkgutil.iter_modules(sizing.__path__):
        if found.name == "base":
            continue
        module = importlib.import_module(f"benchd.calc.sizing.{found.name}")
        for name, _ in inspect.getmembers(module, inspect.isfunction):
            if not name.startswith("_") and getattr(module, name).__module__ == module.__name__:
                yield f"{found.name}.{name}"


@pytest.mark.parametrize("name", list(calculations()))
def test_every_calculation_has_an_outside_value(name: str) -> None:
    module, _, function = name.partition(".")
    assert REFERENCES.get(module, {}).get(function)


@pytest.mark.parametrize("name", list(calculations()))
def test_a_calculation_has_a_published_number_or_is_named_as_without_one(name: str) -> None:
    module, _, function = name.partition(".")
    rows = REFERENCES.get(module, {}).get(function, [])
    published = any(row["computed_by"].startswith("published") for row in rows)
    assert published != (name in UNPUBLISHED)


def test_only_calculations_are_named_as_without_a_published_number() -> None:
    assert set(calculations()) >= UNPUBLISHED
    assert not FORMULA_ONLY.keys() & OURS.keys()


def table(name: str) -> list[dict[str, float]]:
    """A table of tests/data with a head of names."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        lines = [line for line in file if not line.startswith("#")]
    return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(lines)]


def test_cylinder_forces_are_those_of_the_table() -> None:
    """Bores and rods of ISO 6432 and ISO 15552; p x A, recomputed elsewhere."""
    rows = table("cylinder-theoretical-force.csv")
    assert len(rows) > 5
    for row in rows:
        bore_m, rod_m = row["bore_mm"] / 1e3, row["rod_mm"] / 1e3
        for bar in (2, 6):
            push_n = cylinder.push_force(bar * 1e5, bore_m=bore_m)
            pull_n = cylinder.pull_force(bar * 1e5, bore_m=bore_m, rod_m=rod_m)
            assert push_n == pytest.approx(row[f"F_push_N_{bar}bar"], abs=0.05)
            assert pull_n == pytest.approx(row[f"F_pull_N_{bar}bar"], abs=0.05)
        psi_n = cylinder.push_force(30 * 6894.757, bore_m=bore_m)
        assert psi_n == pytest.approx(row["F_push_N_30psi"], abs=0.05)


def test_other_conventions_of_tnt_differ_by_what_the_calculation_says() -> None:
    """They disagree in print, so none of them is a reference for another.

    NIST Special Publication 811 (2008), B.8: a ton is 4.184e9 J. ASME PCC-2, Appendix 501-II in
    US units, by a committee draft of 2005: 1 488 617 ft lb to the pound.
    """
    nist_kg = stored_energy.tnt_mass(4.184e9)
    assert nist_kg / 1000 == pytest.approx(0.98, abs=0.005)
    foot_pound_j, pound_kg = 0.3048 * 4.4482216152605, 0.45359237
    us_kg = stored_energy.tnt_mass(1_488_617 * foot_pound_j)
    assert us_kg / pound_kg == pytest.approx(1.043, abs=5e-4)


def test_metric_threads_are_those_of_the_table() -> None:
    """Coarse threads of ISO 261/262; pitch diameter d2 from the profile of ISO 68-1."""
    rows = table("iso-metric-coarse-threads.csv")
    assert len(rows) > 5
    for row in rows:
        mean_m = screw.mean_diameter(
            row["d"] / 1e3, lead_m=row["P"] / 1e3, starts=1, thread="metric"
        )
        assert mean_m * 1e3 == pytest.approx(row["d2"], abs=1e-4)
