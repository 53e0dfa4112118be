"""IL-09 over several portions: feed in which the eye sees no dough at all counts on (SPEC.md,
section 11)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from protocols.limits import NOT_FITTED
from protocols.messages import Arm, Ended, Fire, Here, Tally, Trip
from tests.firmware.talk import Talk

COMPLETE, TRIPPED = 0, 2
PUSH, ALLOWED = 3000, 4000
"""Steps of a portion, and steps that may go without any dough."""


def _portion(talk: Talk, number: int, *, dough: bool) -> int:
    talk.eye(dough)
    talk.plan(number, take_up=0, push=PUSH, draw_back=0)
    talk.start(number)
    return talk.ended().outcome


def _awake() -> Talk:
    return Talk().wake(gap=1500, first_flow=ALLOWED, drive_hold=2)


def test_feed_without_dough_counts_on_into_the_next_portion() -> None:
    talk = _awake()
    assert _portion(talk, 1, dough=False) == COMPLETE
    assert _portion(talk, 2, dough=False) == TRIPPED
    (trip,) = talk.of(Trip)
    assert (trip.interlock, trip.bound) == (9, ALLOWED)
    assert ALLOWED <= talk.board.steps <= ALLOWED + 130


def test_a_draw_back_behind_where_the_count_began_stops_no_portion() -> None:
    talk = _awake()
    talk.do(Here, 10_000)
    talk.eye(False)
    for number in (1, 2):
        talk.plan(number, take_up=0, push=1000, draw_back=1500)
        talk.start(number)
        assert talk.ended().outcome == COMPLETE
    assert talk.of(Trip) == []


def test_a_gap_shorter_than_the_way_to_rest_stops_no_feed_dead() -> None:
    """Dough that is seen at full speed and lost at once leaves less than braking takes."""
    talk = Talk().wake(gap=40, first_flow=ALLOWED, accel=20_000, stop_decel=80_000)
    talk.eye(False)
    talk.plan(7, take_up=0, push=PUSH, speed=4000, draw_back=0)
    talk.start(7)
    talk.until(lambda: talk.board.steps >= 1500)
    talk.eye(True)
    talk.run(2)
    talk.eye(False)
    talk.until(lambda: 9 in talk.trips())
    (trip,) = talk.of(Trip)
    assert 40 <= trip.value <= 44
    assert talk.ended().outcome == TRIPPED
    # At 4000 steps/s it takes v^2 / 2a to rest: 100 steps by `stop_decel`.
    assert 80 <= talk.board.steps - trip.position <= 100


def test_a_dry_stroke_between_changes_nothing_of_it() -> None:
    talk = _awake()
    assert _portion(talk, 1, dough=False) == COMPLETE
    talk.run(300)
    talk.do(Arm)
    talk.do(Fire, talk.beat().nonce)
    talk.ended()
    assert talk.of(Ended)[-1].portion == 0
    assert _portion(talk, 2, dough=False) == TRIPPED


def test_it_begins_anew_after_a_portion_that_saw_dough() -> None:
    talk = _awake()
    outcomes = [_portion(talk, n, dough=dough) for n, dough in ((1, True), (2, False), (3, False))]
    assert outcomes == [COMPLETE, COMPLETE, TRIPPED]


def _move(talk: Talk) -> None:
    talk.move(0, -100, 1000)
    talk.moved()


def _clear(talk: Talk) -> None:
    talk.open_guard()
    assert talk.is_on("known")
    talk.run(talk.limits["return_ms"] + 10)
    talk.dry_stroke()


@pytest.mark.parametrize("look", [_move, lambda talk: talk.do(Here, 0), _clear])
def test_it_begins_anew_after_a_person_saw_to_the_bench(look: Callable[[Talk], None]) -> None:
    talk = _awake()
    assert _portion(talk, 1, dough=False) == COMPLETE
    talk.run(300)
    look(talk)
    talk.run(talk.limits["return_ms"] + 10)
    assert _portion(talk, 2, dough=False) == COMPLETE


def test_without_an_eye_there_is_no_gap_to_tell_of() -> None:
    talk = Talk("guard", "stop", "home", "far").wake()
    assert _portion(talk, 1, dough=False) == COMPLETE
    (tally,) = talk.of(Tally)
    assert tally.gap == NOT_FITTED


def test_a_pocket_shorter_than_the_gap_is_fed_through() -> None:
    """The feed slows down toward the end of the count, and goes on when dough comes again."""
    talk = Talk().wake(gap=1500, first_flow=ALLOWED)
    talk.eye(True)
    talk.plan(7, take_up=0, push=6000, draw_back=0)
    talk.start(7)
    talk.until(lambda: talk.board.steps >= 2000)
    talk.eye(False)
    talk.until(lambda: talk.board.steps >= 3400)
    talk.eye(True)
    assert talk.ended().outcome == COMPLETE
    (tally,) = talk.of(Tally)
    assert tally.made == tally.asked == talk.board.steps == 6000
    assert 1380 <= tally.gap <= 1430


@pytest.mark.slow
def test_dough_that_comes_as_the_count_runs_out_is_in_time_or_too_late() -> None:
    """Never is a stroke that was cut short taken for a whole one, and never does it hang."""
    seen = set()
    for late_us in range(0, 48_000, 1500):
        talk = Talk().wake(gap=600, first_flow=ALLOWED)
        talk.eye(True)
        talk.plan(7, take_up=0, push=PUSH, draw_back=0)
        talk.start(7)
        talk.until(lambda talk=talk: talk.board.steps >= 1500)  # type: ignore[misc]
        talk.eye(False)
        talk.until(lambda talk=talk: talk.board.steps >= 2099)  # type: ignore[misc]
        talk.run_to(talk.now_us + late_us)
        talk.eye(True)
        talk.until(lambda talk=talk: bool(talk.of(Ended)))  # type: ignore[misc]
        outcome = talk.of(Ended)[-1].outcome
        seen.add(outcome)
        (tally,) = talk.of(Tally)
        if outcome == COMPLETE:
            assert tally.made == talk.board.steps == PUSH
            assert talk.trips() == []
        else:
            assert [(t.interlock, t.value) for t in talk.of(Trip)] == [(9, 600)]
            assert tally.made == talk.board.steps < PUSH
    assert seen == {COMPLETE, TRIPPED}


@pytest.mark.slow
def test_a_gap_of_a_few_steps_slows_a_feed_that_sees_dough_and_stops_no_portion() -> None:
    talk = Talk().wake(gap=20, first_flow=ALLOWED)
    talk.eye(True)
    talk.plan(7, take_up=100, push=2000, draw_back=0)
    talk.start(7)
    assert talk.ended().outcome == COMPLETE
    assert talk.board.steps == 2100
