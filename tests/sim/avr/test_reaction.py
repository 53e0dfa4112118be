"""How soon the feed stops after a contact opens, at every cycle of a step at full speed.

The simulator lets an interrupt begin at once; the chip takes some 7 to 10 cycles more (its data
sheet: four for the response, three for the jump, two to three in the pin's synchroniser). That
shifts both the reading of the pins and the pulse, and so changes nothing between them.
"""

from __future__ import annotations

from functools import partial
from itertools import pairwise

import pytest

from protocols.codes import MOVE_ENDINGS, OUTCOMES, PHASES
from protocols.messages import Arm, Boot, Ended, Fire, Phase, Trip
from sim.avr.board import CYCLES_PER_US
from tests.sim.avr.avr_talk import AvrTalk
from tests.sim.avr.edges import (
    ALL,
    CYCLES_MAX,
    PULSES_MAX,
    STEP_CYCLES,
    WATCHED,
    after_edge,
    at_full_speed,
    branch,
    moments,
    worst,
)

pytestmark = pytest.mark.slow

VALVE_CYCLES_MAX = 800
"""From the guard's edge to the valve's: an interrupt under way, and the longest lock of the main
loop, come first."""


def test_the_feed_runs_at_full_speed() -> None:
    """The mean step is exact, and no step comes so soon that a drive would miss it."""
    board = at_full_speed().board
    board.trace_steps(400)
    board.run_until_cycle(board.cycle + 300 * STEP_CYCLES)
    cycles = board.traced_cycles()
    assert (cycles[-1] - cycles[0]) / (len(cycles) - 1) == pytest.approx(STEP_CYCLES, rel=0.005)
    assert min(b - a for a, b in pairwise(cycles)) > STEP_CYCLES / 2
    # Common drives want a pulse of 1 to 2.5 us.
    assert board.narrowest_step_cycles >= 2.5 * 16


@pytest.mark.parametrize(("pin", "link"), [("guard", "busy"), ("stop", "quiet")])
def test_every_cycle_of_a_step(pin: str, link: str) -> None:
    """The other two of pin and link: `make soak`."""
    pulses, cycles = worst(pin, link, ALL)
    assert pulses <= PULSES_MAX
    assert 0 < cycles <= CYCLES_MAX


@pytest.mark.parametrize("link", ["quiet", "busy"])
def test_no_step_follows_when_the_count_without_dough_runs_out(link: str) -> None:
    """Every thirteenth cycle of a step; every one: `make soak`."""
    assert worst("eye", link, ALL[::13]) == (0, 0)


@pytest.mark.parametrize("phase", ["take-up", "push", "draw-back"])
def test_it_stops_as_soon_in_each_phase_of_a_portion(phase: str) -> None:
    talk = AvrTalk(*WATCHED, speed_max=20_000, accel=500_000, stop_decel=500_000, draw_speed=20_000)
    talk.wake()
    talk.eye(dough=True)
    talk.plan(take_up=20_000, push=20_000, draw_back=20_000, speed=20_000)
    talk.start()
    talk.until(lambda: talk.of(Phase)[-1:] != [] and PHASES[talk.of(Phase)[-1].phase] == phase)
    talk.run(60)
    for at in moments(talk, "busy", ALL[::101]):
        pulses, cycles = after_edge(talk, "guard", at)
        assert pulses <= PULSES_MAX
        assert cycles <= CYCLES_MAX
    assert PHASES[talk.of(Phase)[-1].phase] == phase


AWAY_MS = 45
"""The main loop's absence: longer than its 20 ms, and shorter than the watchdog's 60."""

ROUND_MS = 10
"""The main loop comes round in at most this time at full speed."""


def test_a_main_loop_that_is_away_for_20_ms_gets_no_pulse_any_more() -> None:
    talk = at_full_speed()
    board = talk.board
    start = board.cycle
    board.trace_steps(2000)
    board.hang(AWAY_MS)
    board.run_until_cycle(start + AWAY_MS * 1000 * CYCLES_PER_US)
    last_ms = (board.traced_cycles()[-1] - start) / CYCLES_PER_US / 1000
    assert 20 - ROUND_MS <= last_ms <= 20 + ROUND_MS
    assert talk.moved().position == board.steps
    assert not talk.is_on("known")
    assert not talk.of(Boot)[1:]


def test_a_contact_stops_the_feed_while_the_main_loop_is_away() -> None:
    talk = at_full_speed()
    begun = talk.board.cycle + ROUND_MS * 1000 * CYCLES_PER_US
    talk.board.hang(AWAY_MS)
    for number in range(8):
        edge = begun + number * (STEP_CYCLES + 101)
        talk.board.run_until_cycle(edge - STEP_CYCLES)
        pulses, cycles = after_edge(talk, "guard", edge)
        assert pulses <= PULSES_MAX
        assert cycles <= CYCLES_MAX


def test_a_cut_under_way_ends_within_its_limit() -> None:
    """The guard opens somewhere in the cut: the valve falls at once, and nothing goes on."""
    talk = AvrTalk("guard", "stop", "home", "far", "eye", "local", cut_max_ms=1050)
    talk.wake()
    talk.do(Arm)
    talk.do(Fire, talk.beat().nonce)
    talk.hang_cutter()
    talk.run(20)

    def open_guard(at: int) -> tuple[float, list[int]]:
        board = talk.board
        board.edges()
        board.pin_at(at, "guard", False)
        talk.run(200)
        fell = board.edges()[0]
        assert not fell.valve_on
        return (fell.t_us * CYCLES_PER_US) - at, [ended.outcome for ended in talk.of(Ended)]

    for at in moments(talk, "busy", ALL[::101]):
        cycles, outcomes = branch(partial(open_guard, at))
        assert 0 < cycles <= VALVE_CYCLES_MAX
        assert outcomes == [OUTCOMES.index("tripped")]
    assert not talk.of(Ended)


@pytest.mark.parametrize(("speed", "accel"), [(20_000, 500_000), (8000, 20_000)])
def test_a_silent_host_stops_the_feed_within_the_lease_and_the_ramp(speed: int, accel: int) -> None:
    lease_ms, late_ms = 500, 2  # a turn of the main loop
    talk = AvrTalk(*WATCHED, speed_max=20_000, accel=accel, lease_ms=lease_ms)
    talk.wake()
    talk.move(0, 90_000, speed)
    talk.run(600)
    talk.leasing = False
    talk.board.trace_steps(30_000)
    assert MOVE_ENDINGS[talk.moved().reason] == "lapsed"
    last_us = talk.board.traced_cycles()[-1] / CYCLES_PER_US
    after_ms = (last_us - talk.beat().lease_t_us) / 1000
    ramp_ms = 1000 * speed / accel
    assert lease_ms + 0.9 * ramp_ms <= after_ms <= lease_ms + ramp_ms + late_ms
    assert talk.trips() == [18]


@pytest.mark.parametrize("speed", [1000, 8000, 20_000])
def test_missing_dough_is_counted_to_the_step_of_a_reading(speed: int) -> None:
    """The eye is read, and the count of steps looked at, each millisecond or as often as the main
    loop comes round."""
    gap = 1500
    talk = AvrTalk(*WATCHED, speed_max=20_000, accel=500_000, gap=gap)
    talk.wake()
    talk.eye(dough=True)
    talk.plan(push=60_000, speed=speed, take_up=0)
    talk.start()
    talk.run(300)
    gone_at = abs(talk.board.steps)
    talk.eye(dough=False)
    talk.until(lambda: bool(talk.of(Trip)))
    (trip,) = talk.of(Trip)
    assert (trip.interlock, trip.bound) == (9, gap)
    slack = 2 + 3 * speed // 1000
    assert gap <= trip.value <= gap + slack
    assert gone_at + gap - slack <= trip.position <= gone_at + gap + 2 * slack
