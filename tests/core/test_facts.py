"""Steps and metres, and how long a portion takes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from benchd.core.facts import portion_time_s, ramp_time_s
from tests.core.script import MASA, bench


@given(steps=st.integers(-200_000, 200_000))
def test_whole_steps_come_back_from_metres(steps: int) -> None:
    facts = bench()
    assert facts.steps(facts.metres(steps)) == steps


def test_a_long_move_is_a_trapezoid_and_a_short_one_a_triangle() -> None:
    # By hand: 1000 steps/s at 10000 steps/s2 takes 0.1 s and 50 steps each way.
    assert ramp_time_s(1100, speed=1000, accel=10_000) == pytest.approx(1.2)
    assert ramp_time_s(100, speed=1000, accel=10_000) == pytest.approx(0.2)
    assert ramp_time_s(25, speed=1000, accel=10_000) == pytest.approx(0.1)
    assert ramp_time_s(0, speed=1000, accel=10_000) == 0.0


@pytest.mark.slow
@given(
    steps=st.integers(0, 10**6),
    more=st.integers(0, 1000),
    speed=st.floats(10, 20_000),
    accel=st.floats(100, 500_000),
)
def test_a_longer_move_never_takes_less_time(
    steps: int, more: int, speed: float, accel: float
) -> None:
    short = ramp_time_s(steps, speed=speed, accel=accel)
    assert ramp_time_s(steps + more, speed=speed, accel=accel) >= short - 1e-9


def test_a_portion_takes_its_phases_by_the_cards_usual_times() -> None:
    facts = bench("home", accel=500_000)
    dough = replace(MASA, push_speed_m_s=0.004)
    # By hand at 3200 and 8000 steps/s: 0.5064 + 3.2564 + 0.216 + 0.3 + 0.35 + 0.05 + 0.35 + 0.05.
    assert portion_time_s(facts, dough) == pytest.approx(5.0788)


def test_settle_is_never_shorter_than_the_feed_must_rest() -> None:
    facts = bench(still_ms=500)
    quick = portion_time_s(facts, replace(MASA, settle_s=0.0))
    assert quick == pytest.approx(portion_time_s(facts, replace(MASA, settle_s=0.5)))


def test_without_a_home_switch_nothing_waits_for_it_to_be_steady() -> None:
    with_switch, without = portion_time_s(bench("home"), MASA), portion_time_s(bench(), MASA)
    assert with_switch - without == pytest.approx(0.05)
