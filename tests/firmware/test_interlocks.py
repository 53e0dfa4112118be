"""Interlocks at rest, when their latches may be cleared, and what the board does alone."""

from __future__ import annotations

import pytest

from protocols.codes import INTERLOCKS, PHASES
from protocols.limits import NOT_FITTED
from protocols.messages import (
    Arm,
    Beat,
    Clear,
    Drive,
    Edge,
    Ended,
    Here,
    Move,
    Moved,
    Phase,
    Set,
    Stop,
    Trip,
)
from sim.board import Board, ram_bytes
from sim.machine import STOP_STEPS
from tests.firmware.talk import Talk


@pytest.fixture
def talk() -> Talk:
    return Talk().wake()


@pytest.mark.parametrize(("pin", "latch"), [("stop", 1), ("guard", 2), ("ends", 14)])
def test_a_pin_that_opens_at_rest_trips(talk: Talk, pin: str, latch: int) -> None:
    talk.pin(pin, False)
    opened_us = talk.now_us
    talk.run(10)
    (trip,) = talk.of(Trip)
    assert (trip.interlock, trip.t_us) == (latch, opened_us)
    assert talk.refused(Clear, latch) == (56, latch, 0)
    talk.pin(pin, True)
    talk.do(Clear, latch)
    assert talk.latches() == set()
    assert talk.is_on("known") == (pin != "ends")


def test_guard_open_when_limits_come_into_force_trips() -> None:
    talk = Talk()
    talk.pin("guard", False)
    talk.run(500)
    assert talk.latches() == {20}
    talk.load()
    assert talk.latches() == {2, 20}
    assert [e for e in talk.of(Edge) if e.signal == 0] == []


def test_il_08_needs_five_milliseconds_and_both_switches_apart(talk: Talk) -> None:
    talk.pin("far", True)
    talk.run(4)
    talk.pin("far", False)
    talk.run(20)
    assert talk.trips() == []
    talk.pin("far", True)
    talk.run(8)
    assert talk.trips() == [8]
    assert talk.refused(Clear, 8)[:2] == (56, 8)
    talk.pin("far", False)
    talk.run(5)
    talk.do(Clear, 8)


def test_il_08_far_on_with_the_valve_at_home(talk: Talk) -> None:
    talk.pin("home", False)
    talk.pin("far", True)
    talk.run(1045)
    assert talk.trips() == []
    talk.run(10)
    assert talk.trips() == [8]
    assert talk.refused(Clear, 8)[:2] == (56, 8)


def test_il_05_is_cleared_with_the_cutter_home(talk: Talk) -> None:
    talk.move(0, 20_000)
    talk.run(300)
    talk.pin("home", False)
    talk.moved()
    assert talk.refused(Clear, 5)[:2] == (56, 5)
    talk.pin("home", True)
    talk.run(60)
    talk.do(Clear, 5)


def test_il_07_home_switch_that_never_stays_on() -> None:
    """A loose wire: on whenever the main loop looks, off for a moment in between."""
    talk = Talk().wake()
    talk.plan(draw_back=0)
    talk.start()
    talk.until(lambda: PHASES[talk.beat().phase] == "return")
    talk.hang_cutter()
    while not talk.of(Ended):
        talk.board.hang(1)
        talk.pin("home", False)
        talk.pin("home", True)
        talk.run(20)
        assert talk.now_us < 5_000_000
    ended, back = talk.of(Ended)[0], talk.of(Phase)[-1]
    assert ended.outcome == 2
    assert 1100 <= (ended.t_us - back.t_us) / 1000 <= 1104
    assert talk.latches() == {7}


def test_il_07_waits_for_a_switch_that_came_at_the_last_moment() -> None:
    talk = Talk().wake()
    talk.plan(draw_back=0)
    talk.start()
    talk.until(lambda: PHASES[talk.beat().phase] == "return")
    talk.hang_cutter()
    talk.run_to(talk.of(Phase)[-1].t_us + 1_049_900)
    talk.pin("home", True)
    assert talk.ended().outcome == 0
    assert talk.latches() == set()


def test_il_11_is_cleared_below_the_limit() -> None:
    talk = Talk().wake(ease=0)
    talk.move(0, 20_000)
    talk.run(300)
    talk.thrust(3500)
    talk.moved()
    reason, interlock, value = talk.refused(Clear, 11)
    assert (reason, interlock) == (56, 11)
    assert abs(value - 3500) <= 6
    talk.thrust(2000)
    talk.do(Clear, 11)


def test_a_thrust_sensor_without_its_wire_is_too_much_thrust_and_no_low_reading() -> None:
    talk = Talk().wake(ease=0)
    talk.move(0, 20_000)
    talk.run(300)
    talk.wire_off(1)
    assert talk.moved().thrust == NOT_FITTED
    assert talk.latches() == {11}
    assert talk.refused(Clear, 11) == (56, 11, NOT_FITTED)
    talk.thrust(100)
    talk.do(Clear, 11)
    talk.move(0, 2_000)
    talk.moved()
    assert talk.latches() == set(), "its way back to a reading is no collapse"


def test_an_air_sensor_without_its_wire_lets_nothing_be_cut(talk: Talk) -> None:
    talk.wire_off(2)
    talk.run(50)
    reason, value, _ = talk.refused(Arm)
    assert (reason, value) == (16, NOT_FITTED)
    talk.air(2000)
    talk.run(50)
    talk.do(Arm)


def test_il_16_and_29_are_cleared_when_air_and_supply_are_back(talk: Talk) -> None:
    for set_low, set_good, latch in (
        (lambda: talk.air(500), lambda: talk.air(2000), 16),
        (lambda: talk.supply(4000), lambda: talk.supply(5000), 29),
    ):
        talk.plan(settle=300)
        talk.start()
        talk.until(lambda: talk.of(Beat)[-1].phase == 4)
        set_low()
        talk.ended()
        assert talk.refused(Clear, latch)[:2] == (56, latch)
        set_good()
        talk.do(Clear, latch)
        talk.do(Here, 0)


def test_il_29_stops_a_feed_too_where_the_valve_is_driven_home() -> None:
    talk = Talk().wake(valve_home=1)
    talk.move(0, 50_000, 4000)
    talk.run(400)
    talk.supply(4000)
    steps = talk.board.steps
    talk.moved()
    assert 100 <= talk.board.steps - steps <= 120
    assert (talk.trips(), talk.board.valve_on) == ([29], True)


def test_il_20_is_set_at_boot_and_cleared_by_the_host() -> None:
    talk = Talk()
    talk.run(300)
    assert talk.latches() == {20}
    assert talk.of(Trip) == []
    talk.do(Clear, 20)
    assert talk.latches() == set()


@pytest.mark.parametrize(("pin", "latch"), [("stop", 1), ("guard", 2), ("ends", 14)])
def test_a_cause_that_nobody_looks_at_is_not_gone(talk: Talk, pin: str, latch: int) -> None:
    talk.pin(pin, False)
    talk.run(5)
    talk.do(Set, 12, 400)
    assert talk.refused(Clear, latch) == (40, 0, 0)
    assert talk.latches() == {latch}


def test_a_latch_is_not_cleared_while_something_moves(talk: Talk) -> None:
    talk.move(0, 50_000, 8000)
    talk.run(500)
    talk.leasing = False
    talk.until(lambda: talk.trips() == [18])
    talk.leasing = True
    assert talk.refused(Clear, 18)[0] == 43
    talk.moved()
    talk.do(Clear, 18)


def test_numbers_that_are_not_the_boards_are_never_set(talk: Talk) -> None:
    """Clearing them does nothing and says yes."""
    for row in INTERLOCKS:
        if row.place == "daemon":
            talk.do(Clear, row.number)
    assert talk.latches() == set()


def test_the_emergency_stop_takes_power_at_once(talk: Talk) -> None:
    talk.board.edges()
    talk.pin("stop", False)
    assert not talk.board.drive_on
    talk.run(10)
    assert not talk.is_on("drive")
    assert talk.is_on("known")  # at rest, and the screw holds


def test_several_trips_at_once_are_all_told(talk: Talk) -> None:
    talk.move(0, 20_000)
    talk.run(300)
    talk.pins(guard=False, stop=False, ends=False)
    talk.moved()
    assert talk.trips() == [1, 2, 14]
    assert len(talk.of(Moved)) == 1


# Time.


@pytest.mark.parametrize("before_ms", [100, 700, 1500, 2600, 3300])
def test_a_portion_across_the_wrap_of_the_boards_time(before_ms: int) -> None:
    """2**32 us after boot the board's clock begins again at 0; nothing else does."""
    talk = Talk(board_us=2**32 - (400 + before_ms) * 1000)
    talk.wake()
    talk.plan(push=4000)
    talk.start()
    ended = talk.ended()
    assert ended.outcome == 0
    assert talk.trips() == []
    talk.run(4000)
    assert talk.beat().t_us < 2**31
    talk.move(1, 3000)
    assert talk.moved().reason == 0


@pytest.mark.slow
def test_an_hour_of_rest_changes_nothing() -> None:
    """Ages stop growing instead of wrapping: what was long ago stays long ago."""
    talk = Talk().wake()
    talk.say(Stop(0))
    for _ in range(80):
        talk.run(60_000)
        del talk.heard[:-50]
    assert talk.trips() == []
    assert talk.is_on("home")
    talk.plan()
    talk.start()
    assert talk.ended().outcome == 0


def test_a_main_loop_that_is_away_gets_no_steps(talk: Talk) -> None:
    talk.move(0, 20_000, 4000)
    talk.run(400)
    steps = talk.board.steps
    talk.board.hang(60)
    talk.run(60)
    assert 70 <= talk.board.steps - steps <= 90  # 20 ms
    talk.until(lambda: bool(talk.of(Moved)))
    (moved,) = talk.of(Moved)
    assert moved.position == talk.board.steps
    assert not talk.is_on("known")


def test_a_main_loop_that_is_away_gets_no_slow_steps_either(talk: Talk) -> None:
    talk.move(0, 1000, 10)
    talk.board.stop_every_steps(1)
    talk.board.run_until(talk.now_us + 500_000, STOP_STEPS)
    talk.run(1)
    steps = talk.board.steps
    talk.board.hang(150)
    talk.run(150)
    assert talk.board.steps == steps
    talk.until(lambda: bool(talk.of(Moved)))
    assert not talk.is_on("known")


def test_guard_and_stop_act_while_the_main_loop_is_away(talk: Talk) -> None:
    talk.plan(draw_back=0)
    talk.start()
    talk.until(lambda: talk.board.valve_on)
    talk.board.hang(60)
    talk.board.set_inputs(0b11110, (100, 102, 286), 5000)
    assert not talk.board.valve_on
    talk.run(70)
    assert talk.trips()[0] == 2


# Memory.


def test_the_state_fits_the_ledger() -> None:
    """1,171 bytes on the board; padding and a wider pointer make more of it here."""
    assert ram_bytes() <= 1240


def test_two_boards_share_nothing() -> None:
    first, second = Talk().wake(), Talk()
    second.run(100)
    first.move(0, 500, 4000)
    first.moved()
    assert (first.board.steps, second.board.steps) == (500, 0)
    assert second.refused(Move, 0, 1, 1000, 0)[0] == 40
    assert isinstance(second.board, Board)


def test_power_comes_back_only_by_command(talk: Talk) -> None:
    talk.say(Stop(1))
    talk.run(50)
    assert not talk.is_on("drive")
    talk.run(1000)
    assert not talk.is_on("drive")
    talk.do(Drive, 1)
    assert talk.is_on("drive")
