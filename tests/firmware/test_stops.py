"""The stop table of SPEC.md, section 12: every cause in every phase where it can come."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import pytest

from protocols.codes import PHASES
from protocols.messages import Clear, Drive, Ended, Here, Moved, Phase, Stop, Tally, Trip
from tests.firmware.talk import Talk

STOPPED, TRIPPED, LAPSED = 1, 2, 3
FEEDING = ("move", "take-up", "push", "draw-back")
PUSHING = ("move", "take-up", "push")

EDGE, RAMP, SLOW = "edge", "ramp", "slow"


class Row(NamedTuple):
    """One row: how it comes, and what the table says. `drive` and `known` are levels after it;
    `known` is for a feed that moved."""

    do: Callable[[Talk], None]
    outcome: int
    feed: str
    cut: str  # home, rest, done
    back: str  # rest, done
    drive: bool
    latch: int
    known: bool
    phases: tuple[str, ...]


def _pin(name: str, on: bool) -> Callable[[Talk], None]:
    return lambda talk: talk.pin(name, on)


def _stop(level: int) -> Callable[[Talk], None]:
    return lambda talk: talk.say(Stop(level))


def _both(talk: Talk) -> None:
    talk.pin("far", True)
    talk.pin("home", True)


def _locals(talk: Talk) -> None:
    talk.pin("forward", True)
    talk.pin("reverse", True)


def _no_lease(talk: Talk) -> None:
    talk.leasing = False


EVERY = (*FEEDING, "settle", "cut", "return")
ROWS = {
    "stop 0": Row(_stop(0), STOPPED, RAMP, "home", "done", True, 0, True, EVERY),
    "stop 1": Row(_stop(1), STOPPED, EDGE, "home", "done", False, 0, False, EVERY),
    "IL-01": Row(_pin("stop", False), TRIPPED, EDGE, "rest", "rest", False, 1, False, EVERY),
    "IL-02": Row(_pin("guard", False), TRIPPED, EDGE, "rest", "rest", False, 2, False, EVERY),
    "IL-05": Row(_pin("home", False), TRIPPED, EDGE, "-", "-", True, 5, False, FEEDING),
    "IL-08": Row(_both, TRIPPED, EDGE, "rest", "rest", True, 8, False, EVERY),
    "IL-11": Row(lambda t: t.thrust(3100), TRIPPED, RAMP, "-", "-", True, 11, True, PUSHING),
    "IL-12": Row(lambda t: t.thrust(0), TRIPPED, EDGE, "-", "-", False, 12, False, PUSHING),
    "IL-14": Row(_pin("ends", False), TRIPPED, EDGE, "-", "-", True, 14, False, FEEDING),
    "IL-18": Row(_no_lease, LAPSED, SLOW, "done", "done", True, 18, True, EVERY),
    "IL-22": Row(_locals, TRIPPED, RAMP, "-", "-", True, 0, True, FEEDING),
    "IL-29": Row(lambda t: t.supply(4000), TRIPPED, "-", "home", "done", True, 29, True, ("cut",)),
}  # fmt: skip

# Where a stop by ramp starts from 4000 steps/s: v^2 / 2a at stop_decel and at accel, with room for
# the main loop's millisecond and the last steps.
STEPS = {EDGE: (0, 1), RAMP: (100, 120), SLOW: (400, 430)}


def _setup(leave_ms: int = 10) -> Talk:
    talk = Talk(leave_us=leave_ms * 1000).wake(lease_ms=150, ease=0, draw_speed=4000)
    talk.thrust(1000)
    talk.eye(True)
    return talk


def _to_phase(talk: Talk, phase: str) -> None:
    """Brings the board into the phase, the feed at full speed where it moves."""
    if phase == "move":
        talk.move(0, 50_000, 4000)
        talk.run(400)
        return
    if phase == "draw-back":
        talk.plan(take_up=0, push=300, draw_back=6000)
    elif phase == "take-up":
        talk.plan(take_up=6000)
    else:
        talk.plan(take_up=0, push=6000, settle=600, dwell=30)
        if phase != "push":
            talk.plan(take_up=0, push=100, draw_back=0, settle=600, dwell=30)
    talk.start()
    talk.until(lambda: bool(talk.of(Phase)) and PHASES[talk.of(Phase)[-1].phase] == phase)
    talk.run(400 if phase in FEEDING else 60)


CASES = [(name, phase) for name, row in ROWS.items() for phase in row.phases]


@pytest.mark.parametrize(("name", "phase"), CASES)
def test_row(name: str, phase: str) -> None:
    row = ROWS[name]
    talk = _setup()
    _to_phase(talk, phase)
    cycle = phase != "move"
    steps = talk.board.steps
    edges = len(talk.board.edges())
    assert edges
    start_us = talk.now_us
    row.do(talk)
    if name in ("stop 0", "stop 1"):
        talk.run(1.5)
        steps = talk.board.steps
    elif name == "IL-08":
        # It counts after 5 ms; the cutter of the test no longer answers.
        talk.cutter_works = False
        talk.run(7)
        steps = talk.board.steps
    elif name == "IL-12":
        talk.run(2)
        steps = talk.board.steps
    elif name == "IL-18":
        talk.until(lambda: 18 in talk.trips(), 400)
        steps = talk.board.steps
    if cycle:
        ended = talk.ended() if not talk.of(Ended) else talk.of(Ended)[0]
        assert (ended.portion, ended.outcome) == (7, row.outcome)
        assert len(talk.of(Tally)) == 1
    else:
        moved = talk.moved() if not talk.of(Moved) else talk.of(Moved)[0]
        assert moved.reason == {STOPPED: 1, TRIPPED: 3, LAPSED: 2}[row.outcome]
    if phase in FEEDING:
        _check_feed(row, talk, steps)
    else:
        assert talk.board.steps == steps
    _check_cutter(row, phase, talk, start_us)
    assert talk.latches() == ({row.latch} if row.latch else set())
    assert talk.is_on("drive") == row.drive
    moved_then = phase in FEEDING
    assert talk.is_on("known") == (row.known or not moved_then)
    talk.run(300)
    assert talk.beat().mode in ((5,) if row.latch else (0, 1))


def _check_feed(row: Row, talk: Talk, steps: int) -> None:
    went = abs(talk.board.steps - steps)
    low, high = STEPS[row.feed]
    if row.feed == EDGE:
        assert went <= high
    else:
        # A ramp that began within the millisecond before is shorter by that.
        assert low - 25 <= went <= high


def _check_cutter(row: Row, phase: str, talk: Talk, start_us: int) -> None:
    on = [edge.t_us for edge in talk.board.edges() if edge.valve_on]
    off = [edge.t_us for edge in talk.board.edges() if not edge.valve_on]
    assert not talk.board.valve_on
    if phase in (*FEEDING, "settle"):
        assert on == [] or row.latch == 0 or max(on) < start_us
        return
    phases = [PHASES[p.phase] for p in talk.of(Phase)]
    if phase == "cut" and row.cut in ("home", "done"):
        assert phases[-1] == "return"
    if phase == "cut" and row.cut == "rest":
        assert phases[-1] == "cut"
    assert off is not None


@pytest.mark.parametrize("name", [name for name, row in ROWS.items() if "cut" in row.phases])
def test_valve_in_the_cut(name: str) -> None:
    """Rest and home act at once; done lets the stroke finish."""
    cut = ROWS[name].cut
    talk = _setup()
    _to_phase(talk, "cut")
    assert talk.board.valve_on
    talk.board.edges()
    before_us = talk.now_us
    ROWS[name].do(talk)
    talk.ended()
    off_us = next(e.t_us for e in talk.board.edges() if not e.valve_on)
    if cut == "rest":
        # Guard and stop by interrupt, both switches after 5 ms.
        assert off_us - before_us <= (8000 if name == "IL-08" else 1)
    elif cut == "home":
        assert off_us - before_us <= 3000
    else:
        assert off_us - before_us >= 130_000
    if cut != "rest":
        assert len([p for p in talk.of(Phase) if PHASES[p.phase] == "return"]) == 1


# Causes that come from the board's own watching.


def test_il_06_cut_too_long() -> None:
    talk = _setup()
    talk.plan(draw_back=0)
    talk.start()
    talk.until(lambda: talk.board.valve_on)
    talk.cutter_works = False
    talk._plan = [row for row in talk._plan if row[1] != "far"]
    edges_us = talk.now_us
    talk.until(lambda: not talk.board.valve_on)
    assert 1050 <= (talk.now_us - edges_us) / 1000 <= 1053
    talk.pin("home", True)
    assert talk.ended().outcome == TRIPPED
    assert talk.latches() == {6}
    assert talk.is_on("known")


def test_il_07_return_too_long() -> None:
    talk = _setup()
    talk.plan(draw_back=0)
    talk.start()
    talk.until(lambda: PHASES[talk.beat().phase] == "return")
    talk.hang_cutter()
    assert talk.ended().outcome == TRIPPED
    ended, back = talk.of(Ended)[0], talk.of(Phase)[-1]
    assert 1050 <= (ended.t_us - back.t_us) / 1000 <= 1052
    assert talk.latches() == {7}
    assert talk.is_on("known")


@pytest.mark.parametrize("phase", ["move", "push", "settle"])
def test_il_08_lets_no_blade_out_that_stands_still(phase: str) -> None:
    talk = Talk().wake(valve_home=1)
    _to_phase(talk, phase)
    assert talk.board.valve_on
    talk.pin("far", True)
    talk.run(2000)
    assert talk.trips() == [8]
    assert talk.board.valve_on


def test_a_stop_after_too_long_a_push_leaves_the_cutter_home() -> None:
    talk = Talk().wake(valve_home=1, push_max_ms=300)
    talk.plan(push=6000)
    talk.start()
    talk.until(lambda: talk.trips() == [24])
    for _ in range(2):
        talk.say(Stop(0))
        talk.run(300)
        assert talk.board.valve_on
    assert talk.trips() == [24]


@pytest.mark.parametrize("seen", [True, False])
def test_il_09_dough_gone(seen: bool) -> None:
    talk = Talk().wake(gap=1500, first_flow=4000)
    talk.plan(take_up=500, push=20_000, draw_back=0)
    talk.eye(seen)
    talk.start()
    talk.run(600)
    talk.eye(False)
    gone = talk.board.steps if seen else 0
    assert talk.ended().outcome == TRIPPED
    allowed = 1500 if seen else 4000
    (trip,) = talk.of(Trip)
    assert (trip.interlock, trip.value, trip.bound) == (9, allowed, allowed)
    assert talk.board.steps == trip.position
    # Dough was read last at most a millisecond before it was taken away.
    assert allowed - 4 <= talk.board.steps - gone <= allowed
    assert talk.latches() == {9}
    assert talk.is_on("known")
    assert [PHASES[p.phase] for p in talk.of(Phase)][-1] == "push"


def test_il_11_feeds_back_by_ease() -> None:
    talk = Talk().wake(ease=1200)
    talk.move(0, 50_000, 4000)
    talk.run(500)
    talk.thrust(3200)
    talk.until(lambda: 11 in talk.trips())
    top = talk.board.steps
    moved = talk.moved()
    assert moved.reason == 3
    assert top + 90 - 1200 <= talk.board.steps <= top + 120 - 1200
    assert moved.position == talk.board.steps
    assert talk.latches() == {11}
    assert talk.is_on("known")


def test_il_11_ease_ends_at_the_soft_limit() -> None:
    talk = Talk(travel_min=0).wake(ease=1200)
    talk.move(0, 50_000, 4000)
    talk.run(100)
    talk.thrust(3200)
    assert talk.moved().position == 0


@pytest.mark.parametrize("what", ["stop 0", "IL-02"])
def test_a_stop_ends_the_ease(what: str) -> None:
    talk = Talk().wake(ease=20_000)
    talk.move(0, 50_000, 4000)
    talk.run(500)
    talk.thrust(3200)
    talk.run(500)
    steps = talk.board.steps
    ROWS[what].do(talk)
    talk.moved()
    assert steps - talk.board.steps < 600


def test_il_11_in_a_portion_eases_then_ends() -> None:
    talk = Talk().wake(ease=500)
    talk.plan(push=20_000)
    talk.start()
    talk.run(600)
    talk.thrust(3200)
    talk.until(lambda: 11 in talk.trips())
    top = talk.board.steps
    assert talk.ended().outcome == TRIPPED
    assert top + 90 - 500 <= talk.board.steps <= top + 120 - 500
    (tally,) = talk.of(Tally)
    assert tally.made == talk.board.steps + 500


def test_one_high_reading_does_not_trip() -> None:
    talk = Talk().wake()
    talk.thrust(2900)
    talk.move(0, 4000, 4000)
    talk.run(300)
    talk.thrust(3200)
    talk.run(1)
    talk.thrust(2900)
    assert talk.moved().reason == 0


def test_thrust_is_not_watched_in_reverse() -> None:
    talk = Talk().wake()
    talk.thrust(3500)
    talk.move(2, -2000, 4000)
    assert talk.moved().reason == 0


def test_il_12_needs_a_fast_fall() -> None:
    talk = Talk().wake()
    talk.thrust(1000)
    talk.move(0, 8000, 4000)
    for dn in range(1000, 300, -35):
        talk.run(10)
        talk.thrust(dn)
    assert talk.moved().reason == 0
    talk.thrust(290)
    talk.move(0, 2000, 4000)
    talk.run(200)
    talk.thrust(0)
    assert talk.moved().reason == 0


@pytest.mark.parametrize(("what", "latch"), [("air", 16), ("supply", 29)])
def test_il_16_and_29_before_the_cut(what: str, latch: int) -> None:
    talk = _setup()
    _to_phase(talk, "settle")
    if what == "air":
        talk.air(500)
    else:
        talk.supply(4000)
    talk.board.edges()
    assert talk.ended().outcome == TRIPPED
    assert talk.board.edges() == []
    assert talk.latches() == {latch}
    assert talk.is_on("known")


def test_il_24_valve() -> None:
    """Without a far switch and with a long stroke time, the valve's own limit comes first."""
    talk = Talk("home", "eye").wake()
    talk.plan(draw_back=0)
    talk.load(cut_ms=3000, valve_max_ms=800)
    talk.plan(draw_back=0)
    talk.start()
    talk.until(lambda: talk.board.valve_on)
    on_us = talk.now_us
    talk.until(lambda: not talk.board.valve_on)
    assert 800 <= (talk.now_us - on_us) / 1000 <= 803
    talk.run(20)
    assert talk.of(Ended)[0].outcome == TRIPPED
    assert talk.latches() == {24}
    assert talk.is_on("known")


def test_il_24_push() -> None:
    talk = Talk().wake(push_max_ms=900, first_flow=100_000)
    talk.plan(push=20_000)
    talk.start()
    assert talk.ended().outcome == TRIPPED
    assert talk.latches() == {24}
    ended = talk.of(Ended)[0]
    push = next(p for p in talk.of(Phase) if PHASES[p.phase] == "push")
    assert 900 <= (ended.t_us - push.t_us) / 1000 <= 960
    assert talk.is_on("known")


def test_il_18_takes_power_off_after_five_seconds() -> None:
    talk = _setup()
    _to_phase(talk, "push")
    talk.leasing = False
    talk.ended()
    assert talk.is_on("drive")
    talk.run(5000)
    assert not talk.is_on("drive")


def test_a_lapse_in_the_stroke_of_a_stopped_portion_trips_nothing() -> None:
    talk = _setup()
    _to_phase(talk, "cut")
    talk.say(Stop(1))
    talk.leasing = False
    assert talk.ended().outcome == STOPPED
    talk.run(1000)
    assert talk.latches() == set()


def test_reset_rests_everything() -> None:
    talk = _setup()
    _to_phase(talk, "push")
    talk.board.reset(2)
    steps = talk.board.steps
    talk.run(300)
    assert (talk.board.steps, talk.board.drive_on, talk.board.valve_on) == (steps, False, False)
    assert talk.latches() == {20}
    assert not talk.is_on("known")


@pytest.mark.parametrize("name", ["guard", "stop", "home", "ends"])
def test_an_edge_stops_the_feed_within_one_pulse_at_any_moment(name: str) -> None:
    """At 20,000 steps/s, the edge anywhere between two pulses."""
    talk = Talk().wake(speed_max=20_000, accel=500_000)
    for offset_us in range(0, 60, 3):
        talk.move(0, 20_000, 20_000)
        talk.run(200)
        talk.board.run_until(talk.now_us + offset_us)
        steps = talk.board.steps
        talk.pin(name, False)
        talk.moved()
        assert talk.board.steps - steps <= 1
        talk.pin(name, True)
        talk.run(60)
        _again(talk)


def _again(talk: Talk) -> None:
    for interlock in talk.latches():
        talk.do(Clear, interlock)
    if not talk.is_on("drive"):
        talk.do(Drive, 1)
    talk.do(Here, 0)


def test_a_glitch_between_two_polls_is_seen() -> None:
    talk = Talk().wake()
    talk.board.run_until(talk.now_us + 300)
    talk.pin("guard", False)
    talk.pin("guard", True)
    talk.run(5)
    assert talk.latches() == {2}


def test_stop_sends_no_cutter_home_while_the_guard_is_open() -> None:
    """On a valve that is driven to come home."""
    talk = Talk("guard", "eye").wake(valve_home=1)
    talk.cutter_works = False
    assert talk.board.valve_on
    talk.pin("guard", False)
    assert not talk.board.valve_on
    talk.run(10)
    talk.say(Stop(0))
    talk.run(20)
    assert not talk.board.valve_on
    talk.pin("guard", True)
    talk.run(10)
    talk.say(Stop(0))
    talk.run(20)
    assert not talk.board.valve_on
