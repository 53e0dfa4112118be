"""The cutter: start delay and stroke time by air pressure, switches, one cut per stroke.

Times are from a numeric model of such a bench: trust signs and ratios only.
"""

from __future__ import annotations

import math

import pytest

from sim.plant.cutter import Cutter
from sim.plant.spec import PlantSpec

SPEC = PlantSpec()
TICK_S = 0.0005


def go(cutter: Cutter, *, until_far: bool, limit_s: float = 2.0) -> tuple[float, float]:
    """Advances; answers the times [s] when home changed and when the wanted end came."""
    home, home_s, time_s = cutter.home, math.inf, 0.0
    while time_s < limit_s:
        cutter.advance(TICK_S)
        time_s += TICK_S
        if cutter.home != home and math.isinf(home_s):
            home_s = time_s
        if cutter.far if until_far else cutter.home:
            return home_s, time_s
    return home_s, math.inf


def stroke(air_pa: float) -> tuple[float, float]:
    cutter = Cutter(SPEC)
    assert cutter.switch(True, air_pa, {})
    return go(cutter, until_far=True)


@pytest.mark.parametrize(("bar", "delay_s"), [(1.0, 0.044), (2.0, 0.019), (4.0, 0.013)])
def test_start_delay_shows_the_supply_pressure(bar: float, delay_s: float) -> None:
    # Numeric model, signs and ratios only.
    assert stroke(bar * 1e5)[0] == pytest.approx(delay_s, abs=0.0015)


def test_stroke_time_hides_the_supply_pressure() -> None:
    # Numeric model, signs and ratios only: 311 ms at 2 bar, 283 ms at 4 bar.
    at_2, at_4 = stroke(2e5), stroke(4e5)
    assert 0.0 < 1.0 - at_4[1] / at_2[1] < 0.15
    assert 1.0 - at_4[0] / at_2[0] > 0.25


def test_switches_are_on_at_their_ends_only() -> None:
    cutter = Cutter(SPEC)
    assert cutter.home
    assert cutter.at_rest
    cutter.switch(True, 2e5, {})
    seen = set()
    while not cutter.at_rest:
        cutter.advance(TICK_S)
        seen.add((cutter.home, cutter.far))
    assert seen == {(True, False), (False, False), (False, True)}
    cutter.switch(False, 2e5, {})
    go(cutter, until_far=False)
    assert cutter.home


def test_one_cut_on_the_way_out_and_none_on_the_way_back() -> None:
    cutter = Cutter(SPEC)
    cutter.switch(True, 2e5, {})
    time_s = cutter.to_cut_s
    cutter.advance(time_s)
    assert cutter.position_m == pytest.approx(SPEC.cut_at_m)
    cutter.switch(False, 2e5, {})
    assert math.isinf(cutter.to_cut_s)
    go(cutter, until_far=False)
    assert cutter.home


def test_valve_let_go_before_the_cut_does_not_cut() -> None:
    cutter = Cutter(SPEC)
    cutter.switch(True, 2e5, {})
    cutter.advance(0.1)
    assert cutter.switch(False, 2e5, {})
    assert not cutter.switch(False, 2e5, {})
    assert math.isinf(cutter.to_cut_s)
    assert 0.0 < cutter.position_m < SPEC.cut_at_m


def test_too_little_air_does_not_move_it() -> None:
    cutter = Cutter(SPEC)
    assert cutter.switch(True, 0.9 * SPEC.air_least_pa, {})
    cutter.advance(5.0)
    assert cutter.home
    assert cutter.at_rest


def test_one_long_step_equals_many_short_ones() -> None:
    long, short = Cutter(SPEC), Cutter(SPEC)
    long.switch(True, 2e5, {})
    short.switch(True, 2e5, {})
    long.advance(0.2)
    for _ in range(400):
        short.advance(0.0005)
    assert long.position_m == pytest.approx(short.position_m, rel=1e-9)
