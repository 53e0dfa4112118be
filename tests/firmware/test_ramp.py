"""Step intervals against D. Austin, "Generate stepper-motor speed profiles in real time", 2004."""

from __future__ import annotations

import csv
import math
import random
from itertools import pairwise
from pathlib import Path

import pytest

from protocols.messages import Clear, Drive, Here, Stop
from sim.board import ramp_ticks
from tests.firmware.talk import Talk

# Recurrence with factor 0.676 and exact series, computed from the article's equations for 1 MHz,
# 200 steps a turn and 50 rad/s2; f here is 2 MHz, and accelerations are whole steps/s2.
SERIES = Path(__file__).parents[1] / "data" / "stepper-austin-ramp.csv"
EXACT_ACCEL = 50 * 200 / (2 * math.pi)
ACCEL = 1592
SCALE = 2 * math.sqrt(EXACT_ACCEL / ACCEL)


def _series() -> list[tuple[int, float, float]]:
    with SERIES.open(encoding="ascii") as file:
        return [
            (int(row["n"]), float(row["c_recurrence_0.676"]), float(row["c_exact"]))
            for row in csv.DictReader(file)
        ]


def test_intervals_follow_the_published_recurrence() -> None:
    """Within two ticks: whole numbers, and a remainder that passes from divisor to divisor."""
    ticks = ramp_ticks(1000, 20_000, ACCEL)
    for n, recurrence, _ in _series():
        assert ticks[n] == pytest.approx(recurrence * SCALE, abs=2.0), n


def test_intervals_come_to_the_exact_series() -> None:
    """The factor 0.676 makes up for the recurrence's error in its first steps."""
    ticks = ramp_ticks(1000, 20_000, ACCEL)
    for n, _, exact in _series()[20:]:
        assert ticks[n] == pytest.approx(exact * SCALE, rel=1e-3, abs=1.0), n


def test_300_turns_a_minute_take_a_count_of_1000() -> None:
    """The article's own check: f 1 MHz, 200 steps a turn, 300 turns a minute; 2000 ticks here."""
    assert min(ramp_ticks(2000, 1000, ACCEL)) == 2000


@pytest.mark.parametrize("accel", [100, 4095, 4096, 20_000, 65_535, 65_536, 500_000])
def test_first_interval_over_the_whole_range(accel: int) -> None:
    first = 0.676 * 2e6 * math.sqrt(2 / accel)
    assert ramp_ticks(2, 20_000, accel)[0] == pytest.approx(first, rel=1.3e-4, abs=1.0)


@pytest.mark.parametrize("steps", [1, 2, 3, 4, 5, 10, 99, 100, 5000])
@pytest.mark.parametrize(("speed", "accel"), [(10, 100), (4000, 20_000), (20_000, 500_000)])
def test_trapezoid_is_even_and_never_too_fast(steps: int, speed: int, accel: int) -> None:
    ticks = ramp_ticks(steps, speed, accel)
    assert len(ticks) == steps - 1
    assert all(t >= 2e6 / speed for t in ticks)
    half = len(ticks) // 2
    # Each step down inverts the step up; only the remainders differ.
    for n in range(half):
        assert ticks[-1 - n] == pytest.approx(ticks[n], rel=0.02, abs=3.0), n
    assert all(b <= a for a, b in pairwise(ticks[: half + 1]))


def test_no_acceleration_beyond_the_limit() -> None:
    """v = sqrt(2 a n), from the tenth step on, within the half percent that a tick is at 8000/s."""
    accel = 20_000
    ticks = ramp_ticks(4000, 8000, accel)
    for n, interval in enumerate(ticks[:1600]):
        if n >= 10:
            assert 2e6 / interval <= math.sqrt(2 * accel * (n + 0.5)) * 1.005, n


@pytest.mark.parametrize("decel", [20_000, 80_000, 5_000])
@pytest.mark.parametrize("after", [1, 2, 10, 100, 500, 2000, 3990])
def test_stop_from_any_step(after: int, decel: int) -> None:
    accel, speed = 20_000, 8000
    whole = ramp_ticks(4000, speed, accel)
    ticks = ramp_ticks(4000, speed, accel, stop_after=after, decel=decel)
    assert ticks[: after - 1] == whole[: after - 1]
    speed_then = 2e6 / whole[max(after - 2, 0)] if after > 1 else 0.0
    needed = speed_then**2 / (2 * decel)
    assert len(ticks) - after <= needed * 1.03 + 3
    # It never gains speed after the stop.
    assert all(b >= a - 1 for a, b in pairwise(ticks[after:]))


def test_the_timer_gets_these_intervals(seed: int) -> None:
    """The pulses that leave the board, in half us."""
    rng = random.Random(seed)
    talk = Talk().wake()
    for _ in range(5):
        steps, speed = rng.randrange(1, 3000), rng.randrange(10, 8001)
        if steps / speed > 5:
            continue
        talk.board.trace_steps(steps)
        talk.move(0, steps, speed)
        talk.moved()
        times = talk.board.traced_half_us()
        assert [b - a for a, b in pairwise(times)] == ramp_ticks(steps, speed, talk.limits["accel"])


@pytest.mark.slow
def test_position_is_the_count_of_pulses_whatever_ended_the_move(seed: int) -> None:
    """1,000 random moves, ended by themselves, by both stops, by a lapsed lease or by the guard."""
    rng = random.Random(seed)
    talk = Talk(travel_min=-9_000_000, travel_max=90_000_000).wake()
    start = talk.board.steps
    for number in range(1000):
        distance = rng.choice((-1, 1)) * rng.randrange(1, 4000)
        talk.move(0, distance, rng.randrange(200, 8001))
        talk.run(rng.random() * 400)
        end = rng.randrange(5)
        if end in (1, 2):
            talk.say(Stop(end - 1))
        elif end == 3:
            talk.leasing = False
        elif end == 4:
            talk.board.run_until(talk.now_us + rng.randrange(1000))
            talk.pin("guard", False)
        talk.until(lambda: talk.mode != "moving" and _rests(talk), 30_000)
        talk.leasing = True
        talk.pin("guard", True)
        assert talk.beat().position == talk.board.steps - start, (number, end)
        _ready_again(talk, talk.board.steps - start)


def _rests(talk: Talk) -> bool:
    before = talk.board.steps
    talk.run(120)
    return talk.board.steps == before


def _ready_again(talk: Talk, position: int) -> None:
    for interlock in talk.latches():
        talk.do(Clear, interlock)
    if not talk.is_on("drive"):
        talk.do(Drive, 1)
    if not talk.is_on("known"):
        talk.do(Here, position)
