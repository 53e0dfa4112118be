"""What goes wrong at the bench, from the fault to the way out of it, and that replay decides the
same.

Goal: each fault that an interlock watches for trips that interlock, nothing is cut or fed after it,
and the bench works again
once a person has done what the message says. Method: the whole daemon on the simulated bench in
virtual time.
"""

from __future__ import annotations

import pytest

from protocols.codes import PIN
from sim.world import Refused, World
from tests.scenarios.conftest import MASA, clear, ready_world, verified

pytestmark = pytest.mark.slow

TRIPS = [
    # Where all dough is gone at once, thrust collapses before the strand's length has run out.
    ("dough-gone@1", {9, 12}, True),
    ("cut-stall@1", {6}, True),
    ("guard-open@1", {2}, True),
    # These stay until someone mends them, which nobody does here.
    ("home-stuck@1", {7}, False),
    ("low-air@1", {16}, False),
]


def codes(world: World) -> set[int]:
    """The numbers of the interlocks that are up and hold."""
    return {number for number, latch in world.app.state.latches.items() if latch.latched}


@pytest.mark.parametrize(("fault", "interlocks", "goes"), TRIPS)
def test_a_fault_trips_its_interlock_and_a_person_leads_out_of_it(
    fault: str, interlocks: set[int], goes: bool
) -> None:
    world = ready_world(fault)
    assert world.ask("portion", dough=MASA)["outcome"] == "tripped"
    assert codes(world) & interlocks
    status = world.app.status(world.now_ns)
    assert status.state == "TRIPPED"
    steps_before, pieces = world.rig.feed_m, len(world.rig.pieces())
    world.run_for(2)
    assert world.rig.feed_m == steps_before
    assert len(world.rig.pieces()) == pieces
    with pytest.raises(Refused):
        world.ask("portion", dough=MASA)
    if not goes:
        with pytest.raises(Refused, match="still there"):
            clear(world, min(codes(world) & interlocks))
        assert codes(world) & interlocks
        return
    for number in sorted(codes(world)):
        clear(world, number)
    assert not codes(world)
    if not world.app.status(world.now_ns).position_known:
        world.ask("here", position_m=counted_m(world))
    if world.app.state.dry_needed or world.app.state.uncut:
        world.ask("arm")
        world.ask("fire")
    if "dough-gone" not in fault:
        assert world.ask("portion", dough=MASA)["outcome"] == "complete"
    verdict = verified(world)
    assert verdict.same, verdict.differences[:3]


def counted_m(world: World) -> float:
    """Where the feed stands by the steps that were counted, though nobody knows that for sure."""
    state = world.app.state
    return state.facts.metres(state.board.position)


def test_a_series_pauses_at_a_trip_and_goes_on_only_when_told() -> None:
    world = ready_world("guard-open@2")
    series = world.ask("series", dough=MASA, every_s=5.0, count=3)
    assert (series["what"], series["made"]) == ("paused", 1)
    world.run_for(20)
    assert world.app.status(world.now_ns).state == "TRIPPED"
    clear(world, 2)
    world.run_for(20)
    assert world.app.status(world.now_ns).state == "PAUSED"
    world.ask("here", position_m=counted_m(world))
    world.ask("arm")
    world.ask("fire")
    series = world.ask("resume")
    assert (series["what"], series["made"]) == ("ended", 3)
    kinds = [record["class"] for record in world.records("portion")]
    assert kinds == ["first", "flagged", "after-pause", "normal"]
    assert verified(world).same


def test_an_uncut_piece_comes_off_before_the_series_goes_on() -> None:
    world = ready_world("cut-stall@2")
    series = world.ask("series", dough=MASA, every_s=6.0, count=3)
    assert (series["what"], series["made"]) == ("paused", 1)
    clear(world, 6)
    before = len(world.rig.pieces())
    with pytest.raises(Refused, match="Portion 2 was pushed and not cut"):
        world.ask("resume")
    assert "IL-17" in [one.code for one in world.app.status(world.now_ns).abnormals]
    world.ask("arm")
    assert world.ask("fire")["trimmed"] == 2
    assert world.ask("resume")["what"] == "ended"
    trim, *made = world.rig.pieces()[before:]
    assert (trim.portion, [piece.portion for piece in made]) == (0, [3, 4])
    assert trim.mass_kg > 0.02
    for piece in made:
        assert piece.mass_kg == pytest.approx(0.030, rel=0.12)
    assert verified(world).same


def test_an_open_guard_takes_power_off_the_drive_and_gives_none_before_it_is_proven() -> None:
    world = ready_world()
    world.ask("drive", on=True)
    world.run_for(0.5)
    world.rig.press("guard", False)
    world.run_for(0.5)
    world.rig.press("guard", True)
    world.run_for(0.5)
    assert world.app.status(world.now_ns).coils == "drive off, valve off"
    for method, params in (("drive", {"on": True}), ("jog", {"distance_m": -0.001})):
        with pytest.raises(Refused, match="Guard open") as caught:
            world.ask(method, **params)
        assert caught.value.reply.result["condition"] == "IL-02"
    assert world.ask("drive", on=False) == {"on": False}
    world.run_for(0.5)
    assert not world.app.state.board.pins >> PIN["drive"] & 1
    clear(world, 2)
    assert world.ask("drive", on=True) == {"on": True}
    assert verified(world).same


def test_a_full_disk_stops_new_portions_but_not_the_hand() -> None:
    world = ready_world()
    world.break_disk()
    with pytest.raises(Refused, match="Cannot record"):
        world.ask("portion", dough=MASA)
    with pytest.raises(Refused, match="Not recorded"):
        world.ask("note", text="the disk is full")
    assert world.ask("jog", distance_m=-0.001)["ending"] == "reached"
    assert world.ask("relieve")["ending"] in ("reached", "relieved")
    world.mend_disk()
    world.run_while(lambda w: not w.app.state.journal_ok, limit_s=30)
    assert world.ask("note", text="there is room again")["noted"]
    # What the board said meanwhile is in no journal: a gap, after which nothing is granted.
    assert world.records("gap")
    world.ask("arm")
    world.ask("fire")
    assert world.ask("portion", dough=MASA)["outcome"] == "complete"
    assert verified(world).same


def test_a_disk_that_fails_in_a_series_pauses_it_at_the_safe_point() -> None:
    world = ready_world()
    series = world.send("series", dough=MASA, every_s=5.0, count=3)
    world.run_while(lambda w: w.app.state.board.phase != 2, limit_s=30)
    world.break_disk()
    world.run_while(lambda w: w.reply_to(series) is None, limit_s=30)
    reply = world.reply_to(series)
    assert reply is not None
    assert reply.result["what"] == "paused"
    assert "IL-28" in reply.result["reason"]
    assert world.records("portion")[-1]["outcome"] == "complete"


def test_weights_are_asked_about_and_odd_ones_pause_the_series() -> None:
    world = ready_world()
    world.ask("portion", dough=MASA)
    with pytest.raises(Refused, match="decimal point") as caught:
        world.ask("weigh", mass_kg=0.301, text="301")
    assert caught.value.reply.code == -32002
    assert world.ask("weigh", mass_kg=0.0301, text="30.1")["portion"] == 1
    world.ask("portion", dough=MASA)
    world.ask("portion", dough=MASA)
    world.ask("weigh", mass_kg=0.035, text="35")
    world.ask("weigh", mass_kg=0.025, text="25")
    assert 25 in codes(world)
    clear(world, 25)
    assert not codes(world)


def test_two_switches_at_once_move_nothing_and_one_moves_while_held() -> None:
    world = ready_world()
    before_m = world.rig.feed_m
    world.rig.press("forward", True)
    world.rig.press("reverse", True)
    world.run_for(1)
    assert world.rig.feed_m == pytest.approx(before_m, abs=2e-5)
    assert "IL-22" in [one.code for one in world.app.status(world.now_ns).abnormals]
    world.rig.press("forward", False)
    world.rig.press("reverse", False)
    world.run_for(0.5)
    world.rig.press("reverse", True)
    world.run_for(1)
    world.rig.press("reverse", False)
    world.run_for(0.5)
    moved_m = before_m - world.rig.feed_m
    assert 0.0005 < moved_m < 0.005
    world.run_for(1)
    assert before_m - world.rig.feed_m == moved_m
    assert world.records("move")[-1]["kind"] == "local"


def test_the_local_button_makes_a_portion_only_when_armed_from_the_terminal() -> None:
    world = ready_world()
    world.rig.press("button", True)
    world.run_for(1)
    world.rig.press("button", False)
    assert not world.records("portion")
    portion = world.send("portion", dough=MASA, button=True)
    world.run_for(2)
    assert world.app.status(world.now_ns).waits_for == "the local button"
    assert world.reply_to(portion) is None
    world.rig.press("button", True)
    world.run_while(lambda w: w.reply_to(portion) is None, limit_s=30)
    reply = world.reply_to(portion)
    assert reply is not None
    assert reply.result["outcome"] == "complete"


@pytest.mark.parametrize(
    ("count", "what", "reason"),
    [(None, "ended", "end of the tube"), (30, "paused", "The tube is at its end: take it out")],
)
def test_the_end_of_the_tube_ends_a_series_until_end_and_pauses_a_counted_one(
    count: int | None, what: str, reason: str
) -> None:
    world = ready_world()
    left_m = world.app.status(world.now_ns).tube_left_m
    assert left_m is not None
    while left_m > 0.040:
        world.ask("jog", distance_m=min(0.05, left_m - 0.030))
        left_m = world.app.status(world.now_ns).tube_left_m
        assert left_m is not None
    asked = {} if count is None else {"count": count}
    series = world.ask("series", dough=MASA, every_s=5.0, **asked)
    assert series["what"] == what
    assert series["reason"].startswith(reason)
    assert world.records("portion")[-1]["class"] == "tail"
