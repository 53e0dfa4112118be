"""The person at the scale: how often each slip comes, and that none comes where none may."""

from __future__ import annotations

import pytest

from sim.faults import Faults
from sim.operator import make_ready, weigh_all
from sim.person import typed
from sim.world import World
from tests.sim.wire_host import EXAMPLES, example_card

DOUGH = (EXAMPLES / "masa.yaml").read_text()
SLIPS = ("swapped-weights", "missed-weight", "mistyped-weight", "tare")
SHOWN = {number: 0.030 + (number % 7) * 1e-4 for number in range(1, 501)}


def test_a_careful_person_types_what_is_shown() -> None:
    assert typed(SHOWN, Faults()) == SHOWN
    assert typed(SHOWN, Faults.parse(["void@7", "tare@8"])) == SHOWN


def test_slips_come_as_often_as_said_and_the_same_by_salt() -> None:
    often = [f"{slip}@20%" for slip in SLIPS]
    out = typed(SHOWN, Faults.parse(often, 2))
    assert out == typed(SHOWN, Faults.parse(often, 2))
    assert out != typed(SHOWN, Faults.parse(often, 3))
    values = list(out.values())
    # Five sigma of a count of 100 are 45; one in five of the mistyped is missed as well.
    assert abs(values.count(None) - 100) < 45
    assert abs(sum(one is not None and one > 0.2 for one in values) - 80) < 45
    swapped = sum(one != SHOWN[at] and one is not None and one < 0.2 for at, one in out.items())
    assert swapped > 60


def test_a_swap_loses_nothing_and_the_last_has_nobody_to_swap_with() -> None:
    shown = {4: 0.030, 5: 0.031, 6: 0.032}
    assert typed(shown, Faults.parse(["swapped-weights@5"])) == {4: 0.030, 5: 0.032, 6: 0.031}
    assert typed(shown, Faults.parse(["swapped-weights@6"])) == shown


@pytest.mark.slow
def test_each_slip_at_the_scale_reaches_the_journal_or_the_question(seed: int) -> None:
    faults = (
        "two-on-pan@1",
        "residue@2:2",
        "tare@3:-2",
        "swapped-weights@4",
        "missed-weight@6",
        "mistyped-weight@7",
        "mistyped-weight@8:1.1",
    )
    world = World(example_card(), seed, faults=Faults.parse(faults))
    make_ready(world)
    world.ask("series", dough=DOUGH, every_s=6.0, count=8, confirmed=True)
    weigh_all(world)
    true_g = {p.portion: p.mass_kg * 1e3 for p in world.rig.pieces() if p.portion}
    got_g = {w["portion"]: w["mass_kg"] * 1e3 for w in world.records("weight")}
    near = 0.4
    # The two that look wrong are asked about: one is on the scale, the other was a slip of a key.
    assert got_g[1] == pytest.approx(2.0 * true_g[1], abs=near)
    assert got_g[7] == pytest.approx(true_g[7], abs=near)
    assert got_g[2] == pytest.approx(true_g[2] + 2.0, abs=near)
    assert got_g[3] == pytest.approx(true_g[3] - 2.0, abs=near)
    assert got_g[4] == pytest.approx(true_g[5], abs=near)
    assert got_g[5] == pytest.approx(true_g[4], abs=near)
    assert 6 not in got_g
    assert list(world.app.state.carry.unweighed) == [6]
    assert got_g[8] == pytest.approx(1.1 * true_g[8], abs=near)
