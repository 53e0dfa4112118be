"""Closed forms and step-by-step solutions against scipy's integrators and distributions."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad, solve_ivp
from scipy.stats import t as student_t

from benchd.calc.sizing import air_flow, nozzle_flow, start_delay, throw, weighing
from benchd.calc.sizing.base import REFERENCE_PA

pytestmark = pytest.mark.slow


def iso_6358(before_pa: float, behind_pa: float, conductance: float, b: float) -> float:
    """Free-air flow of a component times 100 kPa, written out apart from the code under test."""
    ratio = min(1.0, behind_pa / before_pa)
    factor = 1.0 if ratio <= b else math.sqrt(max(0.0, 1 - ((ratio - b) / (1 - b)) ** 2))
    return conductance * before_pa * REFERENCE_PA * factor


@pytest.mark.parametrize(
    ("from_bar", "to_bar", "supply_bar", "b"),
    [(1.0, 2.85, 3.0, 0.3), (1.0, 6.5, 7.0, 0.2), (2.0, 2.4, 2.5, 0.45), (0.2, 0.8, 3.0, 0.5)],
)
def test_filling_a_volume(from_bar: float, to_bar: float, supply_bar: float, b: float) -> None:
    volume_m3, conductance = 1e-5, 3e-9

    def slope(_: float, p: list[float]) -> list[float]:
        return [iso_6358(supply_bar * 1e5, p[0], conductance, b) / volume_m3]

    def arrived(_: float, p: list[float]) -> float:
        return p[0] - to_bar * 1e5

    arrived.terminal = True  # type: ignore[attr-defined]
    theirs = solve_ivp(
        slope, (0, 0.2), [from_bar * 1e5], events=arrived, rtol=1e-10, atol=1e-3, max_step=1e-4
    )
    ours_s = air_flow.fill_time(
        to_bar * 1e5,
        from_pa=from_bar * 1e5,
        supply_pa=supply_bar * 1e5,
        volume_m3=volume_m3,
        conductance=conductance,
        critical=b,
    )
    assert ours_s == pytest.approx(theirs.t_events[0][0], rel=1e-6)


@pytest.mark.parametrize("bar", [1.0, 1.5, 2.0, 4.0])
@pytest.mark.parametrize("needle", [2e-11, 3e-10, 2e-9])
def test_start_delay_of_two_chambers(bar: float, needle: float) -> None:
    ambient_pa, b, fill, breakaway_n = 101_325.0, 0.3, 2e-9, 6.0
    supply_pa = ambient_pa + bar * 1e5
    out_m2, back_m2, out_m3, back_m3 = 2.01e-4, 1.73e-4, 8e-6, 11.6e-6

    def slope(_: float, p: list[float]) -> list[float]:
        return [
            iso_6358(supply_pa, p[0], fill, b) / out_m3,
            -iso_6358(p[1], ambient_pa, needle, b) / back_m3,
        ]

    def leaves(_: float, p: list[float]) -> float:
        return (p[0] - ambient_pa) * out_m2 - (p[1] - ambient_pa) * back_m2 - breakaway_n

    leaves.terminal = True  # type: ignore[attr-defined]
    theirs = solve_ivp(
        slope, (0, 5), [ambient_pa, supply_pa], events=leaves, rtol=1e-9, atol=1e-2, max_step=1e-3
    )
    ours_s = start_delay.start_delay(
        bar * 1e5,
        ambient_pa=ambient_pa,
        area_out_m2=out_m2,
        area_back_m2=back_m2,
        volume_out_m3=out_m3,
        volume_back_m3=back_m3,
        fill=fill,
        fill_critical=b,
        needle=needle,
        needle_critical=b,
        breakaway_n=breakaway_n,
    )
    assert ours_s == pytest.approx(theirs.t_events[0][0], rel=1e-3)


@pytest.mark.parametrize(
    ("yield_pa", "consistency", "index"),
    [(0.0, 1387.0, 0.38), (500.0, 2395.0, 0.34), (200.0, 50.0, 1.0), (1000.0, 300.0, 0.7)],
)
def test_flow_of_a_dough_is_the_integral_over_its_section(
    yield_pa: float, consistency: float, index: float
) -> None:
    radius_m, wall_pa = 0.012, 3500.0

    def shell(r_m: float) -> float:
        """Flow by parts: pi r^2 times the shear rate at r."""
        over = wall_pa * r_m / radius_m - yield_pa
        rate: float = (over / consistency) ** (1 / index) if over > 0 else 0.0
        return math.pi * r_m**2 * rate

    core_m = radius_m * yield_pa / wall_pa
    theirs, _ = quad(shell, core_m, radius_m, epsabs=0, epsrel=1e-11)
    ours = nozzle_flow.herschel_bulkley_flow(
        wall_pa, yield_pa=yield_pa, consistency=consistency, index=index, bore_m=2 * radius_m
    )
    assert ours == pytest.approx(theirs, rel=1e-8)
    pressure_pa = nozzle_flow.herschel_bulkley_pressure(
        theirs,
        yield_pa=yield_pa,
        consistency=consistency,
        index=index,
        bore_m=2 * radius_m,
        length_m=0.03,
    )
    assert pressure_pa == pytest.approx(2 * 0.03 * wall_pa / radius_m, rel=1e-8)


@pytest.mark.parametrize(("certainty", "share"), [("90 %", 0.95), ("95 %", 0.975), ("99 %", 0.995)])
def test_student_is_scipys(certainty: str, share: float) -> None:
    for freedom in (5, 7, 10, 20, 50, 1000):
        theirs = float(student_t.ppf(share, freedom))
        assert weighing.student(certainty, freedom) == pytest.approx(theirs, rel=3e-3)


def test_a_thrown_piece_falls_as_scipy_says() -> None:
    def fall(_: float, y: list[float]) -> list[float]:
        return [0.4, y[2], -9.80665]

    def lands(_: float, y: list[float]) -> float:
        return y[1]

    lands.terminal = True  # type: ignore[attr-defined]
    lands.direction = -1  # type: ignore[attr-defined]
    theirs = solve_ivp(fall, (0, 1), [0.0, 0.1, 0.0], events=lands, rtol=1e-10, atol=1e-12)
    ours_m = throw.throw_distance(0.4, drop_m=0.1)
    assert ours_m == pytest.approx(theirs.y_events[0][0][0], rel=1e-6)
