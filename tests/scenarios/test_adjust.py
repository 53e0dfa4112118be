"""A series that follows its weights, on the whole daemon: the dough swells in the tube, the stroke
goes with it, and what was decided is decided again by replay."""

from __future__ import annotations

import pytest

from benchd.analysis.why import History
from benchd.core.adjust import GROUP
from sim.world import World
from tests.scenarios.conftest import MASA, journalled, ready_world, verified

pytestmark = pytest.mark.slow

AUTO = MASA + "\nauto_stroke: yes\n"
COUNT = 14


def made(dough: str) -> World:
    """A series that is weighed as it goes, on a scale that shows 3 % too much."""
    world = ready_world(seed=5)
    number = world.send("series", dough=dough, count=COUNT, every_s=6.0)
    weighed = 0
    while world.reply_to(number) is None:
        world.run_for(1)
        for portion in world.app.state.carry.unweighed:
            weighed += 1
            world.ask("weigh", mass_kg=_mass_kg(world, portion), text="", portion=portion)
    assert weighed == COUNT
    return world


def _mass_kg(world: World, portion: int) -> float:
    pieces = [piece for piece in world.rig.pieces() if piece.portion == portion]
    return round(1.03 * sum(piece.scale_kg for piece in pieces), 4)


def test_the_stroke_follows_the_weights_and_replay_decides_it_again() -> None:
    world = made(AUTO)
    (change,) = [one for one in journalled(world, "series") if one["what"] == "adjusted"]
    strokes = [one["asked_m"]["push"] for one in journalled(world, "portion")]
    at = int(change["portion"]) - 1
    assert at >= GROUP + 2
    assert {round(1e6 * one) for one in strokes[:at]} == {12_700}
    assert 0.98 * 0.0127 - 1e-6 <= strokes[at] < 0.0127
    assert set(strokes[at:]) == {strokes[at]}
    assert verified(world).same
    history = History()
    history.read(world.stores[-1].entries)
    assert not any("card" in one.events for one in history.portions() if one.number > 1)


def test_without_the_key_nothing_changes_the_stroke() -> None:
    world = made(MASA)
    assert {one["what"] for one in journalled(world, "series")} == {"began", "ended"}
