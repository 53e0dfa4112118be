"""Dough that stands: what it holds up relaxes by a power law, and it begins to flow again later."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import replace

import pytest

from sim.plant.readings import Readings
from sim.plant.rest import relaxed, stiffened
from tests.sim.plant.rig import PLAIN, Program, Rig

PROGRAM = Program()


@pytest.mark.parametrize("rest_s", [0.0, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0])
def test_relaxation_is_near_the_three_exponentials_of_the_trade(rest_s: float) -> None:
    # Common practice: weights 0.4, 0.35, 0.25 and times 0.3, 3, 30 s.
    parts = ((0.4, 0.3), (0.35, 3.0), (0.25, 30.0))
    trade = math.fsum(weight * math.exp(-rest_s / tau_s) for weight, tau_s in parts)
    assert relaxed(rest_s, 0.3, 0.0) == pytest.approx(trade, abs=0.06)
    assert relaxed(rest_s, 0.3, 0.6) == pytest.approx(0.6 + 0.4 * relaxed(rest_s, 0.3, 0.0))


def test_stiffening_grows_by_the_decade() -> None:
    assert stiffened(0.0, 0.2) == 1.0
    assert stiffened(9.0, 0.2) == pytest.approx(1.2)
    assert stiffened(999.0, 0.2) == pytest.approx(1.6)


def straightness(x: Sequence[float], y: Sequence[float]) -> float:
    """Share of the variance of y that a straight line over x leaves [-]."""
    return 1.0 - statistics.correlation(x, y) ** 2


@pytest.mark.slow
@pytest.mark.parametrize("yield_pa", [0.0, 1200.0])
def test_pressure_of_the_whole_bench_after_a_stop_is_a_power_law(yield_pa: float) -> None:
    # Common practice: the tail is a power law and not an exponential. On paper with two logarithms
    # the pressure above its end is straight, on paper with one it is not.
    rig = Rig(replace(PLAIN, yield_stress_pa=yield_pa))
    rig.prime(PROGRAM)
    rig.move(PROGRAM.draw_back_m + PROGRAM.stroke_m, PROGRAM.speed_m_s)
    start_s = rig.t_s
    times_s = [0.5 * 2.0**octave for octave in range(7)]
    above_pa = []
    for time_s in times_s:
        rig.run(start_s + time_s - rig.t_s)
        end_pa = rig.plant.friction_pa + PLAIN.yield_kept * yield_pa * 2.0 * 0.1 / 0.012
        above_pa.append(math.log(rig.plant.pressure_pa - end_pa))
    power = straightness([math.log(time_s) for time_s in times_s], above_pa)
    exponential = straightness(times_s, above_pa)
    assert power < 0.01
    assert exponential > 10.0 * power


@pytest.mark.slow
def test_standing_dough_drips_as_it_relaxes_and_more_draw_back_stops_it() -> None:
    def dripped_kg(draw_back_m: float, kept: float) -> float:
        rig = Rig(replace(PLAIN, yield_kept=kept))
        program = replace(PROGRAM, draw_back_m=draw_back_m)
        rig.prime(program)
        rig.make(program, 1)
        before_kg = rig.plant.mass_balance().barrel_kg
        rig.run(20.0)
        return before_kg - rig.plant.mass_balance().barrel_kg

    usual, stays, drawn = dripped_kg(0.002, 0.5), dripped_kg(0.002, 1.0), dripped_kg(0.004, 0.5)
    assert usual > 1.5 * stays > 0.0
    assert drawn < 0.02 * usual


@pytest.mark.slow
def test_the_first_push_after_a_pause_is_harder_and_only_that() -> None:
    # Common practice: 5 to 30 % more for each tenfold of seconds.
    peaks_n: list[float] = []

    def note(seen: Readings) -> None:
        peaks_n[-1] = max(peaks_n[-1], seen.thrust_n)

    rig = Rig(replace(PLAIN, stiffening=0.30), watch=note)
    peaks_n.append(0.0)
    rig.prime(PROGRAM)
    for portion, pause_s in enumerate((0.0, 0.0, 100.0, 0.0), 1):
        for _ in range(round(pause_s / 0.1)):
            rig.tick(dt_s=0.1)
        peaks_n.append(0.0)
        rig.make(PROGRAM, portion)
    _, _, before, after, next_one = peaks_n
    assert after > 1.03 * before
    assert next_one == pytest.approx(before, rel=0.03)


@pytest.mark.slow
def test_a_pause_costs_no_mass_while_the_drip_hangs_on() -> None:
    # Numeric model, signs and ratios only: a pause of 60 s between cycles changes nothing.
    rig = Rig(PLAIN, dt_s=0.01)
    rig.prime(PROGRAM)
    before_kg = rig.series(PROGRAM, 2)[1]
    rig.run(60.0)
    after_kg, next_kg = rig.series(PROGRAM, 2, first=3)
    assert after_kg == pytest.approx(before_kg, rel=0.015)
    assert next_kg == pytest.approx(before_kg, rel=0.015)


def test_a_worn_plunger_goes_on_leaking_while_the_dough_stands() -> None:
    # It stops where the seal holds, above which it was said to leak.
    rig = Rig(replace(PLAIN, leak_m3_s_pa=2.0e-11, yield_kept=1.0), dt_s=0.02)
    rig.move(PLAIN.load_gap_m + 0.004, 0.005)
    pushed_pa, pushed_kg = rig.plant.pressure_pa, rig.plant.mass_balance().barrel_kg
    rig.run(60.0)
    assert pushed_pa > 1.3 * PLAIN.leak_from_pa
    assert rig.plant.pressure_pa == pytest.approx(PLAIN.leak_from_pa, rel=0.02)
    balance = rig.plant.mass_balance()
    assert pushed_kg - balance.barrel_kg > 1.0e-4
    whole_kg = balance.out_kg + balance.waste_kg + balance.barrel_kg
    assert whole_kg == pytest.approx(balance.loaded_kg, rel=1.0e-6)


def test_a_leak_of_dough_that_hardly_gives_stops_at_its_pressure_in_long_turns_as_well() -> None:
    stiff = replace(PLAIN, air_fraction=0.0, stretch_m3_pa=1.0e-12, yield_kept=1.0)
    rig = Rig(replace(stiff, leak_m3_s_pa=1.0e-10), dt_s=0.02)
    rig.move(PLAIN.load_gap_m + 0.010, 0.005)
    assert rig.plant.pressure_pa > 1.2 * PLAIN.leak_from_pa
    least_pa = math.inf
    for _ in range(50):
        rig.tick()
        least_pa = min(least_pa, rig.plant.pressure_pa)
    assert least_pa == pytest.approx(PLAIN.leak_from_pa, rel=0.02)


def test_what_comes_over_standing_dough_is_felt_at_once() -> None:
    # Warmth lowers what it holds up, and it drips; a screw that runs back lets its pressure fall.
    for fault, drips in (("warm-dough@1:30", True), ("springback@1:0.5", False)):
        rig = Rig(replace(PLAIN, yield_kept=1.0), faults=(fault,), dt_s=0.02)
        rig.move(PLAIN.load_gap_m + 0.0035, 0.005)
        rig.run(60.0)
        stood_pa, stood_kg = rig.plant.pressure_pa, rig.plant.mass_balance().barrel_kg
        rig.portion = 1
        rig.run(1.0)
        assert rig.plant.pressure_pa < 0.95 * stood_pa, fault
        assert (rig.plant.mass_balance().barrel_kg < stood_kg) == drips, fault


def test_dough_that_rises_presses_while_it_stands() -> None:
    rig = Rig(PLAIN, faults=("rising-dough@1:0.05",), dt_s=0.02)
    rig.move(PLAIN.load_gap_m + 0.002, 0.005)
    rig.portion = 1
    rig.run(10.0)
    before_pa = rig.plant.pressure_pa
    rig.run(10.0)
    assert 500.0 < rig.plant.pressure_pa - before_pa < 2.0e3
