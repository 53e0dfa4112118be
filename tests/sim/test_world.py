"""Daemon, wire, board and dough in one virtual world: whole series, their journal, and what goes
wrong."""

from __future__ import annotations

from typing import Any

import pytest

from benchd.config import bench_card
from benchd.core import ledger
from benchd.core.engine import first_state, step
from benchd.core.inputs import Opened
from protocols.codes import PIN
from sim.faults import Faults
from sim.link import LinkFaults
from sim.operator import connect, fill, make_ready, prove, weigh_all
from sim.world import Disk, Doing, NotInTime, Refused, World, request
from tests.sim.wire_host import EXAMPLES, example_card

DOUGH = (EXAMPLES / "masa.yaml").read_text()
EVERY_S = 8.0
LEASE_S = 0.5
ROUGH = LinkFaults(
    latency_us=(200, 12_000), drop=2e-4, flip=2e-4, duplicate=2e-3, noise=2e-3, unplug_every_s=60.0
)


def series(world: World, count: int, **more: Any) -> dict[str, Any]:
    """A series of the example dough, to its end or pause."""
    return world.ask("series", dough=DOUGH, every_s=EVERY_S, count=count, **more)


def ready(seed: int, *faults: str, **options: Any) -> World:
    """A world whose bench takes portions."""
    world = World(example_card(), seed, faults=Faults.parse(faults), **options)
    make_ready(world)
    return world


def up(world: World) -> set[str]:
    """Codes of the interlocks that are up."""
    return {f"IL-{number:02d}" for number in world.app.state.latches}


@pytest.mark.slow
def test_a_series_is_made_weighed_and_recorded(seed: int) -> None:
    world = ready(seed)
    result = series(world, 4)
    assert (result["what"], result["made"]) == ("ended", 4)
    weigh_all(world)
    pieces = [piece for piece in world.rig.pieces() if piece.portion]
    records = world.records("portion")
    weights = world.records("weight")
    assert [r["number"] for r in records] == [p.portion for p in pieces] == [1, 2, 3, 4]
    assert {r["outcome"] for r in records} == {"complete"}
    assert [w["mass_kg"] for w in weights] == [p.scale_kg for p in pieces]
    assert not world.app.state.carry.unweighed
    assert not up(world)
    for piece in pieces[1:]:
        assert 25.5 < piece.mass_kg * 1e3 < 34.5
    assert world.app.status(world.now_ns).state == "READY"


@pytest.mark.slow
def test_same_seed_and_doings_make_the_same_journal() -> None:
    exports = []
    for seed in (11, 11, 12):
        world = World(example_card(), seed, link_faults=ROUGH)
        script = [
            Doing(2.0, request("clear", interlock=20, name="x", words=["looked", "clear", "home"])),
            Doing(4.0, request("here", position_m=0.0)),
            Doing(lambda w: bool(w.app.state.board.pins >> PIN["known"] & 1), request("attend")),
            Doing(lambda w: True, request("jog", distance_m=0.004)),
        ]
        world.play(script)
        world.run_for(5.0)
        exports.append((world.canonical(), world.head()))
    assert exports[0] == exports[1]
    assert exports[0] != exports[2]
    assert len(exports[0][0]) > 10_000


@pytest.mark.slow
def test_inputs_of_the_journal_lead_to_its_decisions_again(seed: int) -> None:
    world = ready(seed, "cut-stall@2")
    world.set_link(ROUGH)
    world.send("series", dough=DOUGH, every_s=EVERY_S, count=3)
    world.run_for(60.0)
    world.settle()
    entries = [entry for entry in world.entries() if entry.kind != ledger.RAW]
    opened = ledger.read_input(entries[0].kind, entries[0].values, entries[0].text)
    assert isinstance(opened, Opened)
    state = first_state(opened.facts)
    place = 0
    while place < len(entries):
        entry = entries[place]
        given = ledger.read_input(entry.kind, entry.values, entry.text)
        state, effects, _ = step(state, given, entry.t_ns)
        decided = [ledger.write_effect(effect) for effect in effects]
        place += 1
        stored = [(e.kind, e.values, e.text) for e in entries[place : place + len(decided)]]
        assert stored == decided, f"entry {place}"
        place += len(decided)
    assert state == world.app.state


@pytest.mark.slow
def test_a_rough_wire_loses_no_portion(seed: int) -> None:
    world = ready(seed)
    world.set_link(LinkFaults(drop=3e-4, flip=3e-4, duplicate=2e-3, noise=2e-3))
    for _ in range(6):
        if world.app.state.series is None:
            world.send("series", dough=DOUGH, every_s=EVERY_S, count=1)
        else:
            world.send("finish")
        world.run_for(EVERY_S)
    fell = [piece.portion for piece in world.rig.pieces() if piece.portion]
    recorded = [record["number"] for record in world.records("portion")]
    assert set(fell) <= set(recorded)
    assert recorded == sorted(set(recorded))


@pytest.mark.slow
def test_a_pulled_cable_stops_the_feed_and_nothing_starts_again(seed: int) -> None:
    world = ready(seed)
    number = world.send("series", dough=DOUGH, every_s=EVERY_S, count=5)
    world.run_while(lambda w: w.app.state.board.phase != 2, limit_s=20.0)
    world.unplug()
    assert world.app.status(world.now_ns).state == "NO LINK"
    # The lease, and the ramp after it.
    world.run_for(LEASE_S + 0.2)
    stands_m = world.rig.feed_m
    world.run_for(10.0)
    world.plug()
    connect(world)
    world.run_for(30.0)
    assert world.rig.feed_m == stands_m
    assert "IL-18" in up(world)
    reply = world.reply_to(number)
    assert reply is not None
    assert not [piece for piece in world.rig.pieces() if piece.portion]
    world.ask("clear", interlock=18)
    world.run_for(5.0)
    assert world.rig.feed_m == stands_m


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fault", "interlock"),
    [
        ("cut-stall@2", "IL-06"),
        ("home-stuck@2", "IL-07"),
        # With thrust measured, its collapse is seen before the strand's end.
        ("dough-gone@2", "IL-12"),
        ("low-air@2:1.0", "IL-16"),
        ("supply-dip@2", "IL-29"),
        ("guard-open@2", "IL-02"),
    ],
)
def test_a_fault_of_the_bench_trips_its_interlock_and_pauses(
    fault: str, interlock: str, seed: int
) -> None:
    world = ready(seed, fault)
    result = series(world, 4)
    assert (result["what"], result["made"]) == ("paused", 1)
    assert interlock in up(world)
    assert world.records("portion")[-1]["outcome"] == "tripped"
    # The next beat says that the board is latched.
    world.run_for(0.2)
    with pytest.raises(Refused) as caught:
        world.ask("resume")
    assert caught.value.reply.result["condition"] in up(world)


@pytest.mark.slow
def test_dough_gone_is_seen_where_thrust_is_not_measured(seed: int) -> None:
    text = (EXAMPLES / "bench.yaml").read_text()
    for line in ("  thrust: 400 N ", "thrust:\n  zero: 102 ", "  full: 500 N "):
        assert line in text
        text = text.replace(line, "# ")
    card = bench_card(text.replace("eye, thrust, air", "eye, air"), "no-thrust.yaml")
    world = World(card, seed, faults=Faults.parse(["dough-gone@2"]))
    make_ready(world)
    assert series(world, 4)["made"] == 1
    assert up(world) == {"IL-09", "IL-17"}  # What was pushed of the portion is not cut.


@pytest.mark.slow
def test_a_tube_is_changed_and_the_next_one_works(seed: int) -> None:
    world = ready(seed)
    series(world, 1)
    world.ask("tube_out")
    world.run_for(2.0)
    fill(world, "tube-2")
    assert series(world, 2)["made"] == 2
    fell = [piece for piece in world.rig.pieces() if piece.portion]
    assert [piece.portion for piece in fell] == [1, 2, 3]
    assert 0.0255 < fell[2].mass_kg < 0.0345


@pytest.mark.slow
def test_without_a_journal_weights_are_refused_and_a_new_one_goes_on(seed: int) -> None:
    world = ready(seed)
    series(world, 1)
    world.break_disk()
    with pytest.raises(Refused) as caught:
        weigh_all(world)
    assert caught.value.reply.result["condition"] == "IL-28"
    with pytest.raises(Refused):
        series(world, 1)
    assert world.ask("jog", distance_m=-0.001)["ending"] == "reached"
    world.mend_disk()
    world.run_for(6.0)
    assert len(world.stores) == 2
    assert world.stores[1].meta["previous_head"] == world.stores[0].head()
    assert "IL-28" not in up(world)


@pytest.mark.slow
def test_a_slow_disk_delays_replies_and_nothing_else(seed: int) -> None:
    world = ready(seed, disk=Disk(commit_us=60_000, urgent_us=40_000))
    assert series(world, 2)["made"] == 2


def test_a_reply_that_does_not_come_is_an_error() -> None:
    world = World(example_card(), 1)
    connect(world)
    prove(world, 20)
    prove(world, 15)
    world.ask("here", position_m=0.0)
    with pytest.raises(NotInTime):
        world.ask("jog", distance_m=0.004, limit_s=0.5)
