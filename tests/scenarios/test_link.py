"""A bad link and restarts: what was asked happens once or not at all, and nothing goes on by
itself."""

from __future__ import annotations

import pytest

from sim.link import LinkFaults
from sim.world import Refused
from tests.scenarios.conftest import MASA, clear, ready_world, verified

pytestmark = pytest.mark.slow


def test_portions_over_a_noisy_line_are_whole_and_replay_the_same(seed: int) -> None:
    noisy = LinkFaults(flip=2e-4, drop=1e-4)
    world = ready_world(seed=1)
    world.set_link(noisy)
    made = 0
    for _ in range(3):
        try:
            made += world.ask("portion", dough=MASA)["outcome"] == "complete"
        except Refused:
            world.run_for(2)
            for number in sorted(world.app.state.latches):
                if world.app.state.latches[number].latched:
                    clear(world, number)
    assert world.app.state.lines_bad + world.app.state.board.bad > 0
    for record in world.records("portion"):
        if record["outcome"] == "complete":
            assert record["made_steps"] == record["asked_steps"]
    assert made >= 1
    assert verified(world).same


def test_a_pulled_cable_in_the_push_stops_the_feed_and_moves_nothing_later() -> None:
    world = ready_world()
    portion = world.send("portion", dough=MASA)
    world.run_while(lambda w: w.app.state.board.phase != 2, limit_s=30)
    world.unplug()
    world.run_for(0.1)
    reply = world.reply_to(portion)
    assert reply is not None
    assert reply.refused
    world.run_for(3)
    stopped_m = world.rig.feed_m
    world.plug()
    world.run_for(5)
    assert world.rig.feed_m == stopped_m
    assert 18 in world.app.state.latches
    clear(world, 18)
    world.run_for(2)
    assert world.rig.feed_m == stopped_m
    # Nobody watched the air meanwhile.
    with pytest.raises(Refused, match="dry stroke"):
        world.ask("portion", dough=MASA)
    world.ask("arm")
    world.ask("fire")
    assert world.ask("portion", dough=MASA)["outcome"] == "complete"
    assert verified(world).same


def test_a_restarted_board_voids_position_and_dry_stroke() -> None:
    world = ready_world()
    series = world.send("series", dough=MASA, every_s=5.0, count=5)
    world.run_while(lambda w: w.app.state.board.phase != 2, limit_s=30)
    world.rig.reset("lowvolt")
    world.run_while(lambda w: w.reply_to(series) is None, limit_s=30)
    world.run_for(2)
    status = world.app.status(world.now_ns)
    assert status.state == "TRIPPED"
    assert not status.position_known
    assert "lowvolt" in status.abnormals[0].what
    assert world.app.state.dry_needed
    with pytest.raises(Refused):
        world.ask("arm")
    clear(world, 20)
    world.ask("arm")
    world.ask("fire")
    with pytest.raises(Refused, match="where the feed stands"):
        world.ask("portion", dough=MASA)
    assert verified(world).same


def test_the_same_seed_gives_the_same_journal_and_another_seed_another() -> None:
    def head(seed: int) -> str:
        world = ready_world("void@1", seed=seed)
        world.ask("portion", dough=MASA)
        world.settle()
        return world.head()

    assert head(5) == head(5)
    assert head(5) != head(6)
