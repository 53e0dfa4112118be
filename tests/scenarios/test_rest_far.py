"""A bench whose cutter goes to its far end without power, from its start to a portion.

Goal: it is no dead end. Method: the whole daemon on the simulated bench in virtual time; what a
person is told to do is done, and nothing else.
"""

from __future__ import annotations

import pytest

from benchd.config import BenchCard, bench_card, read_card
from sim.world import Refused, World
from tests.scenarios.conftest import EXAMPLES, MASA, verified

pytestmark = pytest.mark.slow


def far_card(name: str) -> BenchCard:
    """Return a card of the examples whose cutter rests far."""
    text = read_card(EXAMPLES / name)
    assert "  rest: home" in text
    return bench_card(text.replace("  rest: home", "  rest: far", 1), name)


def clear(world: World, interlock: int) -> None:
    """Type the words that are asked for."""
    statements = world.ask("proofs", interlock=interlock)["statements"]
    words = [statement["word"] for statement in statements]
    world.ask("clear", interlock=interlock, name="tester" if words else "", words=words)


def begun(name: str) -> World:
    """Return a bench after its start, looked at and proven."""
    world = World(far_card(name), 1)
    world.run_while(lambda w: w.app.state.link != "up", limit_s=20)
    world.run_for(0.5)
    for interlock in (20, 15):
        clear(world, interlock)
    world.ask("here", position_m=0.0)
    return world


def stroke(world: World) -> None:
    """Make one dry stroke."""
    world.ask("arm")
    world.ask("fire")


@pytest.mark.parametrize("name", ["bench.yaml", "smallest.yaml"])
def test_after_its_start_a_dry_stroke_brings_it_home(name: str) -> None:
    world = begun(name)
    with pytest.raises(Refused, match="'benchd cut' brings it home"):
        world.ask("jog", distance_m=0.001)
    stroke(world)
    world.ask("jog", distance_m=0.001)


def test_then_it_makes_portions_as_any_other() -> None:
    world = begun("bench.yaml")
    stroke(world)
    world.ask("tube_in", id="T1")
    world.ask("approach")
    world.ask("prime")
    stroke(world)
    world.ask("series", dough=MASA, every_s=5.0, count=3)
    assert [record["outcome"] for record in world.records("portion")] == ["complete"] * 3
    assert verified(world).same


def test_after_the_guard_was_open_it_comes_home_again() -> None:
    world = begun("bench.yaml")
    stroke(world)
    world.rig.press("guard", False)
    world.run_for(1.0)
    world.rig.press("guard", True)
    world.run_for(0.5)
    clear(world, 2)
    world.ask("drive", on=True)
    with pytest.raises(Refused, match="'benchd cut' brings it home"):
        world.ask("jog", distance_m=0.001)
    stroke(world)
    world.ask("jog", distance_m=0.001)
