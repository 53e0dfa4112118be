"""A portion from take-up to return, its summary, the button, the dry stroke, and the smallest
bench."""

from __future__ import annotations

import pytest

from protocols.codes import PHASES, PIN, PINS
from protocols.limits import NOT_FITTED
from protocols.messages import (
    Arm,
    Beat,
    Clear,
    Detail,
    Draft,
    Drive,
    Edge,
    Ended,
    Event,
    Extremes,
    Fire,
    Here,
    Ignored,
    Lock,
    Move,
    Phase,
    Run,
    Set,
    Stop,
    Tally,
)
from tests.firmware.talk import ALL, SMALLEST, STROKE_US, Talk

COMPLETE, STOPPED, TRIPPED, LAPSED = range(4)


@pytest.fixture
def talk() -> Talk:
    return Talk().wake()


def _phases(talk: Talk, portion: int) -> list[str]:
    return [PHASES[p.phase] for p in talk.of(Phase) if p.portion == portion]


def _at(talk: Talk, phase: str) -> Phase:
    return next(p for p in talk.of(Phase) if PHASES[p.phase] == phase)


def test_a_portion_goes_through_its_phases(talk: Talk) -> None:
    talk.plan(7, take_up=100, push=2000, speed=4000, draw_back=200, settle=150, dwell=50)
    talk.eye(True)
    talk.start()
    beat = talk.beat()
    assert (beat.mode, beat.portion) == (3, 7)
    assert talk.ended().outcome == COMPLETE
    assert _phases(talk, 7) == ["take-up", "push", "draw-back", "settle", "cut", "return"]
    places = [p.position for p in talk.of(Phase)]
    assert places == [0, 100, 2100, 1900, 1900, 1900]
    assert talk.board.steps == 1900
    assert talk.is_on("known")
    beat = talk.beat()
    assert (beat.mode, beat.phase, beat.portion) == (1, 0, 0)


def test_times_of_the_phases(talk: Talk) -> None:
    talk.plan(settle=300, dwell=80)
    talk.start()
    talk.ended()
    cut, back = _at(talk, "cut"), _at(talk, "return")
    assert 300_000 <= cut.t_us - _at(talk, "settle").t_us <= 303_000
    # The stroke takes as long as the cutter needs, then the dwell.
    assert STROKE_US + 80_000 <= back.t_us - cut.t_us <= STROKE_US + 83_000
    ended = talk.of(Ended)[0]
    assert STROKE_US + 50_000 <= ended.t_us - back.t_us <= STROKE_US + 53_000


def test_settle_is_never_shorter_than_the_rest_before_a_cut() -> None:
    talk = Talk().wake(still_ms=400)
    talk.plan(settle=20)
    talk.board.trace_steps(10_000)
    talk.board.edges()
    talk.start()
    talk.ended()
    last_us = talk.board.traced_half_us()[-1] / 2
    valve = next(e for e in talk.board.edges() if e.valve_on)
    assert 400_000 <= valve.t_us - last_us <= 404_000


def test_phases_without_steps_are_left_out(talk: Talk) -> None:
    talk.plan(take_up=0, draw_back=0)
    talk.start()
    talk.ended()
    assert _phases(talk, 7) == ["push", "settle", "cut", "return"]


def test_edges_of_a_portion(talk: Talk) -> None:
    talk.plan()
    start = len(talk.heard)
    talk.start()
    talk.ended()
    edges = [(PINS[e.signal], e.level) for e in talk.of(Edge, start)]
    assert edges == [
        ("valve", 1), ("home", 0), ("far", 1), ("valve", 0), ("far", 0), ("home", 1),
    ]  # fmt: skip
    far = next(e for e in talk.of(Edge, start) if e.signal == PIN["far"])
    valve = next(e for e in talk.of(Edge, start) if e.signal == PIN["valve"])
    # The time of a pin's edge is that of the interrupt.
    assert abs(far.t_us - valve.t_us - STROKE_US) <= 1


def test_the_first_four_changes_of_the_eye_are_told(talk: Talk) -> None:
    talk.plan(push=6000)
    talk.eye(True)
    talk.run(50)
    talk.start()
    for _ in range(4):
        talk.eye(False)
        talk.run(100)
        talk.eye(True)
        talk.run(100)
    talk.ended()
    assert [e.level for e in talk.of(Edge) if e.signal == PIN["dough"]] == [0, 1, 0, 1]


def test_summary(talk: Talk) -> None:
    talk.plan(7, take_up=200, push=6000, speed=4000)
    talk.eye(True)
    talk.thrust(800)
    talk.start()
    talk.run(500)
    talk.thrust(1200)
    talk.eye(False)
    talk.run(250)
    talk.eye(True)
    talk.run(100)
    talk.thrust(900)
    talk.supply(4700)
    talk.until(lambda: bool(talk.of(Phase)) and talk.of(Phase)[-1].phase == 5)
    talk.air(1500)
    talk.supply(4900)
    talk.ended()
    (tally,) = talk.of(Tally)
    (extremes,) = talk.of(Extremes)
    assert (tally.portion, tally.asked, tally.made) == (7, 6200, 6200)
    assert 950 <= tally.gap <= 1050
    push_ms = (_at(talk, "draw-back").t_us - _at(talk, "take-up").t_us) / 1000
    assert abs(tally.push_ms - push_ms) <= 2
    assert (extremes.eye_min, extremes.supply_min) == (100, 4700)
    assert 500 <= extremes.eye_mean <= 680
    assert abs(extremes.thrust_peak - 1200) <= 6
    assert abs(extremes.thrust_cut - 900) <= 6
    assert abs(extremes.air_min - 1500) <= 11
    order = [type(m).__name__ for m in talk.of(Event)][-3:]
    assert order == ["Tally", "Extremes", "Ended"]


def test_a_portion_that_was_stopped_has_a_summary_too(talk: Talk) -> None:
    talk.plan(7, push=6000)
    talk.start()
    talk.run(900)
    talk.say(Stop(0))
    assert talk.ended().outcome == STOPPED
    (tally,) = talk.of(Tally)
    assert tally.made == talk.board.steps
    assert 1000 < tally.made < 6100
    assert talk.of(Extremes)[0].thrust_cut == NOT_FITTED


@pytest.mark.parametrize("stopped", [False, True])
def test_going_back_after_thrust_is_no_part_of_the_push(stopped: bool) -> None:
    talk = Talk().wake(ease=5000)
    talk.eye(True)
    talk.plan(take_up=0, push=6000)
    talk.start()
    talk.until(lambda: talk.board.steps > 1000)
    talk.thrust(3100)
    talk.until(lambda: talk.board.steps < 1000)
    if stopped:
        talk.until(lambda: talk.board.steps < -1000)
        talk.say(Stop(0))
    talk.ended()
    (tally,) = talk.of(Tally)
    assert 1000 < tally.made < 1500
    assert tally.gap < 100
    assert tally.push_ms < 1000


def test_a_program_runs_once(talk: Talk) -> None:
    talk.plan()
    talk.start()
    talk.ended()
    assert talk.refused(Run, 7, 0, talk.beat().nonce) == (51, 7, 0)


def test_both_parts_must_be_for_the_same_portion(talk: Talk) -> None:
    talk.plan(7)
    talk.do(Detail, 8, 0, 100, 0)
    assert talk.refused(Run, 7, 0, talk.beat().nonce) == (51, 7, 0)
    talk.do(Draft, 8, 0, 100, 1000)
    assert talk.refused(Run, 8, 0, talk.beat().nonce) == (51, 8, 0)
    talk.do(Detail, 8, 0, 100, 0)
    talk.start(8)
    assert talk.ended().portion == 8


def test_a_program_is_not_changed_while_it_runs(talk: Talk) -> None:
    talk.plan()
    talk.start()
    assert talk.refused(Draft, 8, 0, 100, 1000)[0] == 43
    assert talk.refused(Detail, 7, 0, 0, 0)[0] == 43


def test_travel_is_checked_for_the_whole_program(talk: Talk) -> None:
    talk.do(Here, 398_000)
    talk.plan(take_up=1000, push=1001)
    assert talk.refused(Run, 7, 0, talk.beat().nonce) == (57, 400_001, 400_000)
    talk.do(Here, -100_000)
    talk.plan(take_up=0, push=100, draw_back=101)
    assert talk.refused(Run, 7, 0, talk.beat().nonce) == (57, -100_001, -100_000)


# The button.


def test_the_button_starts_a_portion_that_waits(talk: Talk) -> None:
    talk.plan()
    talk.start(trigger=1)
    beat = talk.beat()
    assert (beat.mode, beat.portion) == (1, 7)
    assert talk.is_on("waiting")
    talk.run(3000)
    assert talk.board.steps == 0
    talk.pin("button", True)
    talk.run(50)
    assert not talk.is_on("waiting")
    assert talk.ended().outcome == COMPLETE
    talk.pin("button", False)


def test_a_button_that_is_on_already_starts_nothing(talk: Talk) -> None:
    talk.pin("button", True)
    talk.run(100)
    talk.plan()
    talk.start(trigger=1)
    talk.run(1000)
    assert talk.board.steps == 0
    assert [(m.signal, m.reason) for m in talk.of(Ignored)] == [(7, 51)]


def test_a_portion_waits_for_60_seconds(talk: Talk) -> None:
    talk.plan()
    talk.start(trigger=1)
    talk.run(59_500)
    assert talk.is_on("waiting")
    assert talk.ended().outcome == STOPPED
    assert not talk.is_on("waiting")
    talk.pin("button", True)
    talk.run(100)
    assert talk.board.steps == 0


@pytest.mark.parametrize(
    ("what", "outcome"), [("stop", STOPPED), ("guard", TRIPPED), ("lease", LAPSED)]
)
def test_what_ends_the_wait(talk: Talk, what: str, outcome: int) -> None:
    talk.plan()
    talk.start(trigger=1)
    talk.run(300)
    if what == "stop":
        talk.say(Stop(0))
    elif what == "guard":
        talk.pin("guard", False)
    else:
        talk.leasing = False
    ended = talk.ended()
    assert (ended.portion, ended.outcome) == (7, outcome)
    assert not talk.of(Tally)
    talk.pin("button", True)
    talk.run(100)
    assert talk.board.steps == 0


def test_the_button_checks_again(talk: Talk) -> None:
    talk.plan()
    talk.start(trigger=1)
    talk.air(500)
    talk.pin("button", True)
    talk.run(50)
    assert [(m.signal, m.reason) for m in talk.of(Ignored)] == [(7, 16)]
    talk.pin("button", False)
    talk.air(2000)
    talk.run(50)
    assert talk.is_on("waiting")
    talk.pin("button", True)
    assert talk.ended().outcome == COMPLETE


# The dry stroke.


def test_arm_then_fire(talk: Talk) -> None:
    talk.do(Arm)
    assert talk.is_on("armed")
    talk.do(Fire, talk.beat().nonce)
    assert talk.mode == "stroke"
    ended = talk.ended()
    assert (ended.portion, ended.outcome) == (0, COMPLETE)
    assert _phases(talk, 0) == ["cut", "return"]
    assert not talk.of(Tally)
    assert not talk.is_on("armed")
    assert talk.refused(Fire, talk.beat().nonce) == (46, 0, 0)


def test_an_armed_stroke_lapses_after_3_seconds(talk: Talk) -> None:
    talk.do(Arm)
    talk.run(2850)
    assert talk.is_on("armed")
    talk.run(200)
    assert talk.refused(Fire, talk.nonce) == (46, 0, 0)
    assert [e for e in talk.board.edges() if e.valve_on] == []


def test_an_armed_stroke_lapses_while_the_main_loop_is_away_too(talk: Talk) -> None:
    talk.do(Arm)
    talk.run(2940)
    talk.board.hang(90)
    assert talk.refused(Fire, talk.nonce)[0] == 46


def test_silence_disarms_and_forgets(talk: Talk) -> None:
    talk.plan()
    talk.leasing = False
    talk.run(4000)
    talk.do(Arm)
    talk.until(lambda: not talk.board.drive_on, 2000)
    assert talk.refused(Fire, talk.beat().nonce)[0] == 46
    talk.do(Drive, 1)
    assert talk.refused(Run, 7, 0, talk.beat().nonce)[0] == 51


@pytest.mark.parametrize("what", ["stop", "guard", "drive", "move"])
def test_what_disarms(talk: Talk, what: str) -> None:
    talk.do(Arm)
    if what == "stop":
        talk.say(Stop(0))
    elif what == "guard":
        talk.pin("guard", False)
        talk.run(5)
        talk.pin("guard", True)
        talk.do(Clear, 2)
    elif what == "drive":
        talk.do(Drive, 0)
        talk.do(Drive, 1)
    else:
        talk.do(Move, 0, 10, 2000, talk.nonce)
        talk.moved()
        talk.run(150)
    talk.run(20)
    assert talk.refused(Fire, talk.beat().nonce) == (46, 0, 0)


def test_conditions_of_the_dry_stroke(talk: Talk) -> None:
    talk.pin("home", False)
    assert talk.refused(Arm)[0] == 4
    talk.pin("home", True)
    talk.run(60)
    talk.air(900)
    reason, value, bound = talk.refused(Arm)
    assert (reason, bound) == (16, 1000)
    assert abs(value - 900) <= 11
    talk.air(4200)
    assert talk.refused(Arm)[::2] == (16, 4000)
    talk.air(2000)
    talk.move(0, 100, 8000)
    talk.moved()
    reason, value, bound = talk.refused(Arm)
    assert (reason, bound) == (3, 100)
    assert 0 <= value <= 10
    talk.pin("guard", False)
    talk.run(5)
    assert talk.refused(Arm) == (52, 2, 0)


# Smaller benches.


def test_the_smallest_bench_portions_on_times() -> None:
    """An eye and the local switches: no cutter ends, no guard, no readings."""
    talk = Talk(*SMALLEST)
    talk.cutter_works = False
    talk.pin("home", False)
    talk.pin("guard", False)
    talk.pin("stop", False)
    talk.pin("ends", False)
    talk.wake()
    assert talk.is_on("home")
    assert talk.is_on("guard")
    talk.plan(dwell=60)
    talk.eye(True)
    talk.start()
    talk.until(lambda: talk.board.valve_on)
    assert not talk.is_on("home")
    assert talk.ended().outcome == COMPLETE
    cut, back, ended = _at(talk, "cut"), _at(talk, "return"), talk.of(Ended)[0]
    assert 410_000 <= back.t_us - cut.t_us <= 414_000
    assert 350_000 <= ended.t_us - back.t_us <= 353_000
    (extremes,) = talk.of(Extremes)
    assert (extremes.eye_mean, extremes.thrust_peak, extremes.air_min) == (
        700, NOT_FITTED, NOT_FITTED,
    )  # fmt: skip
    assert {PINS[e.signal] for e in talk.of(Edge)} <= {"valve", "drive"}
    assert talk.trips() == []


@pytest.mark.parametrize("missing", [p for p in ALL if p != "button"])
def test_a_bench_without_one_part_portions(missing: str) -> None:
    talk = Talk(*(part for part in ALL if part != missing))
    # What is not fitted may read anything.
    if missing in ("guard", "stop", "ends", "home"):
        talk.pin(missing, False)
    talk.wake()
    talk.plan()
    talk.eye(True)
    talk.start()
    assert talk.ended().outcome == COMPLETE
    assert talk.trips() == []


def test_a_valve_whose_driven_level_is_home() -> None:
    talk = Talk("eye", "local")
    talk.cutter_works = False
    talk.run(20)
    talk.load(valve_home=1)
    talk.do(Clear, 20)
    talk.do(Drive, 1)
    talk.do(Here, 0)
    talk.run(500)
    assert talk.refused(Run, 7, 0, talk.beat().nonce) == (4, 0, 350)
    talk.dry_stroke()
    assert talk.board.valve_on
    talk.run(400)
    talk.plan()
    talk.start()
    talk.until(lambda: not talk.board.valve_on)
    assert PHASES[talk.of(Phase)[-1].phase] in ("settle", "cut")
    assert talk.ended().outcome == COMPLETE
    assert talk.board.valve_on


def test_no_feed_while_only_missing_air_holds_the_cutter_home() -> None:
    talk = Talk().wake(valve_home=1)
    talk.do(Move, 0, 100, 1000, talk.beat().nonce)
    talk.moved()
    talk.cutter_works = False
    talk.open_guard()
    talk.do(Here, 0)
    assert talk.is_on("home")
    assert not talk.board.valve_on
    assert talk.refused(Move, 0, 100, 1000, talk.beat().nonce)[0] == 4


def test_a_stop_leaves_the_valve_while_nobody_says_which_level_is_home() -> None:
    talk = Talk("eye", "local").wake(valve_home=1)
    assert talk.board.valve_on
    talk.do(Set, 12, 400)
    for level in (0, 1):
        talk.say(Stop(level))
        talk.run(20)
        assert talk.board.valve_on  # off would be the far level


def test_the_lock_does_not_hinder_portions(talk: Talk) -> None:
    talk.do(Lock, 1)
    talk.plan()
    talk.start()
    assert talk.ended().outcome == COMPLETE
    assert isinstance(talk.beat(), Beat)


def test_the_button_needs_room_in_the_ring(talk: Talk) -> None:
    talk.plan()
    talk.run(50)
    talk.acknowledging = False
    talk.start(trigger=1)
    for k in range(8):
        talk.pin("reverse", k % 2 == 0)
        talk.run(30)
    talk.pin("button", True)
    talk.run(50)
    assert [(m.signal, m.reason) for m in talk.of(Ignored) if m.signal == 7] == [(7, 47)]
    assert talk.is_on("waiting")
    assert talk.board.steps == 0
