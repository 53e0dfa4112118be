"""A dough card that is far from the one used last: asked about, in the journal, and replayed.

Goal: nothing moves by a card that a person may have taken for another. Method: the whole daemon on
the simulated bench in virtual time.
"""

from __future__ import annotations

import pytest

from sim.world import Refused, World
from tests.scenarios.conftest import MASA, ready_world, verified

pytestmark = pytest.mark.slow

SMALLER = MASA.replace("aim: 30 g", "aim: 25 g").replace("stroke: 12.7 mm", "stroke: 10.6 mm")
SAYS = "aim 30 g -> 25 g (-17 %), stroke 12.7 mm -> 10.6 mm (-17 %)"


def questioned(world: World, dough: str) -> str:
    """The question that a card is met with."""
    with pytest.raises(Refused) as caught:
        world.ask("portion", dough=dough)
    assert caught.value.reply.is_question
    return str(caught.value)


def test_a_far_card_moves_nothing_until_it_is_confirmed() -> None:
    world = ready_world()
    assert world.ask("portion", dough=MASA)["outcome"] == "complete"
    world.run_for(1)
    fed_m, pieces = world.rig.feed_m, len(world.rig.pieces())
    assert SAYS in questioned(world, SMALLER)
    world.run_for(5)
    assert world.rig.feed_m == fed_m
    assert len(world.rig.pieces()) == pieces
    made = world.ask("portion", dough=SMALLER, confirmed=True)
    assert made["asked_m"]["push"] == pytest.approx(0.0106, rel=1e-3)
    # From now on it is the other one that is strange.
    world.run_for(1)
    assert "aim 25 g -> 30 g (+20 %)" in questioned(world, MASA)
    assert verified(world).same
