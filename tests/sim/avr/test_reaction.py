"""How soon the feed stops after a contact opens, at every cycle of a step at full speed.

The simulator lets an interrupt begin at once; the chip takes some 7 to 10 cycles more (its data
sheet: four for the response, three for the jump, two to three in the pin's synchroniser). That
shifts both the reading of the pins and the pulse, and so changes nothing between them.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from protocols.framing import frame
from protocols.messages import Trip
from tests.sim.avr.avr_talk import STEP_CYCLES, AvrTalk, after_edge, at_full_speed

pytestmark = pytest.mark.slow

PULSES_MAX = 1
CYCLES_MAX = 48
WATCHED = ("guard", "stop", "eye", "local")
BUSY = frame(b"hello") * 5 + frame(b"x")
"""What fills the window: greetings go out while more come in."""


@pytest.fixture(scope="module")
def running() -> AvrTalk:
    """A bench at full speed, for four seconds more; edges are for branches."""
    return at_full_speed(*WATCHED)


def worst(talk: AvrTalk, pin: str, offsets: range) -> tuple[int, int]:
    """Most pulses after the edge, and the longest time to the last of them [cycles]."""
    found = [after_edge(talk, pin, offset) for offset in offsets]
    assert len(found) == len(offsets)
    return max(pulses for pulses, _ in found), max(cycles for _, cycles in found)


def test_the_feed_runs_at_full_speed(running: AvrTalk) -> None:
    """The mean step is exact, and no step comes so soon that a drive would miss it."""
    board = running.board
    board.trace_steps(400)
    board.run_until_cycle(board.cycle + 300 * STEP_CYCLES)
    cycles = board.traced_cycles()
    assert (cycles[-1] - cycles[0]) / (len(cycles) - 1) == pytest.approx(STEP_CYCLES, rel=0.005)
    assert min(b - a for a, b in pairwise(cycles)) > STEP_CYCLES / 2
    # Common drives want a pulse of 1 to 2.5 us.
    assert board.narrowest_step_cycles >= 2.5 * 16


@pytest.mark.parametrize("pin", ["guard", "stop"])
def test_every_fifth_cycle_of_a_step(running: AvrTalk, pin: str) -> None:
    pulses, cycles = worst(running, pin, range(0, STEP_CYCLES, 5))
    assert pulses <= PULSES_MAX
    assert 0 < cycles <= CYCLES_MAX


def test_every_fifth_cycle_with_a_busy_link(running: AvrTalk) -> None:
    pulses, cycles = worst(busy(running), "guard", range(2, STEP_CYCLES, 5))
    assert pulses <= PULSES_MAX
    assert cycles <= CYCLES_MAX


def busy(talk: AvrTalk) -> AvrTalk:
    """The same bench while greetings and events go out and lines come in."""
    talk.board.rx(BUSY)
    talk.board.run_until_cycle(talk.board.cycle + 20_000)
    assert talk.board.rx_waiting > 0
    return talk


@pytest.mark.parametrize("pin", ["guard", "stop"])
@pytest.mark.parametrize("link", ["quiet", "busy"])
def test_every_cycle_of_a_step(pin: str, link: str) -> None:
    talk = at_full_speed(*WATCHED)
    pulses, cycles = worst(busy(talk) if link == "busy" else talk, pin, range(STEP_CYCLES + 10))
    assert pulses <= PULSES_MAX
    assert 0 < cycles <= CYCLES_MAX


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
