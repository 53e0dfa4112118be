"""Faults that a portion survives: its class says so, and good portions stay normal.

Goal: a slow cut, a hang-up, a blockage and a void do not pass without a word where the fitted
sensors can tell. Method: the whole daemon on the simulated bench in virtual time, the fault after
eight portions of a series.
"""

from __future__ import annotations

import pytest

from tests.scenarios.conftest import MASA, ready_world, verified
from tui import ended

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        ("inclusion@9", "the cut took"),
        ("sticky-valve@9", "the cut took"),
        ("hang-up@9", "the eye still saw dough after the cut"),
        ("blockage@9:4", "thrust rose to"),
        ("void@9", "the strand had a gap of"),
    ],
)
def test_a_fault_that_a_portion_survives_flags_it(fault: str, says: str) -> None:
    world = ready_world(fault)
    world.ask("series", dough=MASA, every_s=5.0, count=11)
    records = world.records("portion")
    assert [record["class"] for record in records] == ["first"] + ["normal"] * 7 + [
        "flagged", "normal", "normal"
    ]  # fmt: skip
    assert any(says in text for text in records[8]["seen"])
    assert f"SEEN: {records[8]['seen'][0]}" in ended.portion_line(records[8])
    assert verified(world).same


@pytest.mark.parametrize("seed_of_dough", [1, 2, 3])
def test_a_sound_tube_has_no_flagged_portion(seed_of_dough: int) -> None:
    world = ready_world(seed=seed_of_dough)
    world.ask("series", dough=MASA, every_s=5.0)
    assert {record["class"] for record in world.records("portion")} <= {"first", "normal", "tail"}
    assert not any(record["seen"] for record in world.records("portion"))
