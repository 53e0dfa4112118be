"""The plant as a whole: mass, spring, drool, spread, end of dough, sameness.

Numbers with "numeric model" beside them come from a one-dimensional model of a similar bench (bore
50 mm, 20 g portions): only their signs and ratios are held here.
"""

from __future__ import annotations

import functools
import itertools
import random
import statistics
import time
from dataclasses import replace

import pytest

from sim.faults import Faults
from sim.plant.air import AMBIENT_PA
from sim.plant.bench_plant import Plant
from sim.plant.spec import PlantSpec
from tests.sim.plant.rig import PLAIN, Program, Rig, noisy

PROGRAM = Program()
PORTIONS = 10
"""Whole portions of a tube after priming."""


def primed(
    spec: PlantSpec = PLAIN, *, seed: int = 1, dt_s: float = 0.02, program: Program = PROGRAM
) -> Rig:
    rig = Rig(spec, seed=seed, dt_s=dt_s)
    rig.prime(program)
    return rig


def closes(plant: Plant) -> float:
    """Relative error of the mass balance."""
    mass = plant.mass_balance()
    return abs(mass.loaded_kg - mass.out_kg - mass.waste_kg - mass.barrel_kg) / mass.loaded_kg


@functools.cache
def plain_tube() -> tuple[float, ...]:
    return tuple(primed().series(PROGRAM, PORTIONS))


@functools.cache
def noisy_tubes() -> tuple[tuple[float, ...], ...]:
    """Deviations [kg] from the plain tube, of 12 tubes where flow noise dominates (seeds 0 to 11).

    The plain tube's trend along the column is taken out, so that only chance is left.
    """
    tubes = []
    for seed in range(12):
        masses = primed(noisy(0.12, 0.02), seed=seed).series(PROGRAM, PORTIONS)
        tubes.append(tuple(a - b for a, b in zip(masses, plain_tube(), strict=True)))
    return tuple(tubes)


@pytest.mark.slow
def test_mass_closes_over_two_tubes_to_the_end() -> None:
    rig = primed(noisy(0.1, 0.03), seed=3)
    rig.series(PROGRAM, PORTIONS + 2)
    assert closes(rig.plant) < 1e-6
    first = rig.plant.mass_balance()
    rig.plant.load_tube()
    rig.prime(PROGRAM)
    rig.series(PROGRAM, 3, first=20)
    assert closes(rig.plant) < 1e-6
    second = rig.plant.mass_balance()
    assert second.loaded_kg == pytest.approx(2.0 * first.loaded_kg, rel=1e-9)
    assert second.waste_kg >= first.waste_kg + first.barrel_kg


def test_a_tube_changed_unused_is_not_counted() -> None:
    rig = Rig()
    before = rig.plant.mass_balance()
    rig.plant.load_tube()
    assert rig.plant.mass_balance() == before
    rig.plant.load_tube(column_m=0.1)
    assert rig.plant.mass_balance().loaded_kg == pytest.approx(0.5 * before.loaded_kg)
    with pytest.raises(ValueError, match="does not fit"):
        rig.plant.load_tube(column_m=0.3)


def test_a_new_tube_is_not_touched_yet() -> None:
    rig = Rig()
    seen = rig.tick()
    assert not seen.feed_end
    assert not seen.dough_at_nozzle
    assert rig.plant.quiet
    rig.move(0.9 * PLAIN.load_gap_m, 0.002)
    rig.run(0.3)
    assert rig.tick().thrust_n < 2.0


def test_a_slow_feed_drags_its_seal_between_two_steps_as_well() -> None:
    rig = Rig()
    seen = [rig.tick(10 * PLAIN.microstep_m, dt_s=0.002).thrust_n for _ in range(200)]
    after_first_step = seen[51:]
    assert min(after_first_step) > PLAIN.seal_n - 2.0
    rig.move(0.3 * PLAIN.load_gap_m, 0.002)
    assert rig.tick().thrust_n > 10.0


@pytest.mark.slow
def test_stroke_sets_the_mass() -> None:
    # m = rho A s with the density the dough has at the pressure of the cut: common practice. A long
    # settle without draw-back leaves about the same pressure each time, so that none of it is owed.
    program = replace(PROGRAM, draw_back_m=0.0, settle_s=4.0)
    rig = primed(program=program)
    rig.series(program, 2)
    masses = rig.series(program, 3, first=3)
    pressure_pa = rig.tick().thrust_n / PLAIN.bore_area_m2
    volume = 0.92 + 0.08 * AMBIENT_PA / (AMBIENT_PA + pressure_pa)
    expected = PLAIN.density_kg_m3 / volume * PLAIN.bore_area_m2 * PROGRAM.stroke_m
    assert masses == pytest.approx([expected] * 3, rel=0.01)


def test_rigid_bench_gives_out_what_the_plunger_pushes_in() -> None:
    rig = Rig(replace(PLAIN, air_fraction=0.0, stretch_m3_pa=0.0), dt_s=0.01)
    rig.move(PLAIN.load_gap_m, 0.005)
    rig.move(0.012, 0.005)
    mass = rig.plant.mass_balance()
    pushed = PLAIN.density_kg_m3 * PLAIN.bore_area_m2 * 0.012
    assert mass.waste_kg == pytest.approx(pushed, rel=1e-6)
    rig.run(1.0)
    assert rig.plant.mass_balance().waste_kg == pytest.approx(pushed, rel=1e-6)


def drool_g_s(draw_back_m: float, times_s: tuple[float, ...]) -> list[float]:
    """Flow [g/s] at these times after the feed stopped, in an almost full tube."""
    program = replace(PROGRAM, draw_back_m=draw_back_m)
    rig = primed(program=program)
    rig.move(draw_back_m + PROGRAM.stroke_m, PROGRAM.speed_m_s)
    if draw_back_m > 0.0:
        rig.move(-draw_back_m, PROGRAM.draw_back_speed_m_s)
    rates, start_s = [], rig.t_s
    for time_s in times_s:
        rig.run(start_s + time_s - 0.02 - rig.t_s)
        before = rig.plant.mass_balance().waste_kg
        rig.run(0.04)
        rates.append((rig.plant.mass_balance().waste_kg - before) / 0.04 * 1e3)
    return rates


@pytest.mark.slow
def test_draw_back_cuts_the_drool() -> None:
    # Numeric model, signs and ratios only: 4.6 g/s at 0.2 s without, 40 times less with 2 mm.
    without, small, usual = (drool_g_s(way_m, (0.2,))[0] for way_m in (0.0, 0.001, 0.002))
    assert without > small > usual > 0.0
    assert without > 10.0 * usual


@pytest.mark.slow
def test_drool_fades_and_more_slowly_the_longer_one_waits() -> None:
    # Numeric model, signs and ratios only: a power law, not an exponential, which would keep the
    # same ratio over equal waits.
    rates = drool_g_s(0.0, (0.2, 0.6, 1.0, 1.4))
    ratios = [b / a for a, b in itertools.pairwise(rates)]
    assert 0.0 < ratios[0] < ratios[1] < ratios[2] < 1.0


@pytest.mark.slow
def test_pressure_after_stop_decays_but_not_at_once() -> None:
    rig = primed()
    rig.move(PROGRAM.draw_back_m + PROGRAM.stroke_m, PROGRAM.speed_m_s)
    thrust_n = []
    for _ in range(5):
        rig.run(0.2)
        thrust_n.append(rig.tick().thrust_n)
    assert thrust_n == sorted(thrust_n, reverse=True)
    assert thrust_n[0] > 1.15 * thrust_n[-1]
    assert not rig.plant.quiet


@pytest.mark.slow
def test_a_held_drive_keeps_its_pressure_and_a_released_one_springs_back() -> None:
    # Common practice.
    rig = primed()
    rig.make(PROGRAM, 1)
    held_n = rig.tick().thrust_n
    rig.run(0.5)
    assert rig.tick().thrust_n == pytest.approx(held_n, abs=4.0)
    rig.drive_on = False
    rig.run(0.5)
    assert rig.tick().thrust_n < held_n - 10.0
    rig.plant.take_pieces()
    rig.drive_on = True
    light, after = rig.series(PROGRAM, 2, first=2)
    normal = plain_tube()[1]
    assert light < 0.985 * normal
    assert after == pytest.approx(normal, rel=0.01)


def test_steps_do_nothing_while_the_drive_is_off() -> None:
    rig = Rig()
    rig.drive_on = False
    rig.move(0.02, 0.005)
    assert rig.tick().thrust_n < 2.0


@pytest.mark.slow
def test_a_weak_drive_stalls_and_loses_steps() -> None:
    weak, strong = (
        Rig(replace(PLAIN, motor_n_m=PLAIN.screw_torque_n_m(150.0)), dt_s=0.02),
        Rig(dt_s=0.02),
    )
    for rig in (weak, strong):
        rig.move(0.030, 0.005)
    assert weak.tick().thrust_n < 152.0
    lost = strong.plant.mass_balance().waste_kg - weak.plant.mass_balance().waste_kg
    assert lost > 0.005
    assert closes(weak.plant) < 1e-6


@pytest.mark.slow
def test_peak_pressure_falls_along_the_tube() -> None:
    # Numeric model, signs and ratios only: 99 to 87 kPa.
    rig, peaks = primed(), []
    for portion in range(1, PORTIONS + 1):
        thrust_n: list[float] = []
        rig.watch = lambda seen, into=thrust_n: into.append(seen.thrust_n)  # type: ignore[misc]
        rig.make(PROGRAM, portion)
        peaks.append(max(thrust_n))
    assert all(later < earlier + 1.0 for earlier, later in itertools.pairwise(peaks))
    assert 0.75 < peaks[-1] / peaks[0] < 0.97


@pytest.mark.slow
def test_neighbours_lean_against_each_other() -> None:
    # Numeric model, signs and ratios only: lag-1 correlation of about -0.4 where flow noise rules.
    tubes = noisy_tubes()
    pairs = [(a, b) for tube in tubes for a, b in itertools.pairwise(tube)]
    covariance = statistics.fmean(a * b for a, b in pairs)
    variance = statistics.fmean(a * a for tube in tubes for a in tube)
    assert -0.5 < covariance / variance < -0.2


@pytest.mark.slow
def test_a_moving_range_overstates_the_spread_of_such_neighbours() -> None:
    # Numeric model, signs and ratios only: by about 18 %; sqrt(1 - r) for a lag-1 correlation r.
    # 1.128 is the mean range of two of a normal distribution of spread 1 (NIST e-Handbook).
    tubes = noisy_tubes()
    ranges = statistics.fmean(abs(a - b) for tube in tubes for a, b in itertools.pairwise(tube))
    spread = statistics.fmean(a * a for tube in tubes for a in tube) ** 0.5
    assert 1.05 < ranges / 1.128 / spread < 1.3


@pytest.mark.slow
def test_spread_falls_along_the_tube() -> None:
    # Numeric model, signs and ratios only: 1.6 % in the first half, 1.0 % in the second.
    half = PORTIONS // 2
    first = statistics.pstdev(a for tube in noisy_tubes() for a in tube[:half])
    second = statistics.pstdev(a for tube in noisy_tubes() for a in tube[half:])
    assert second < 0.85 * first
    assert 0.005 < first / plain_tube()[0] < 0.05


@pytest.mark.slow
def test_air_noise_is_lost_and_not_moved() -> None:
    tubes = []
    for seed in range(6):
        masses = primed(noisy(0.0, 0.10), seed=seed).series(PROGRAM, PORTIONS)
        tubes.append([a - b for a, b in zip(masses, plain_tube(), strict=True)])
    covariance = statistics.fmean(a * b for tube in tubes for a, b in itertools.pairwise(tube))
    variance = statistics.fmean(a * a for tube in tubes for a in tube)
    assert abs(covariance / variance) < 0.35


@pytest.mark.slow
def test_longer_draw_back_keeps_the_mean() -> None:
    # Numeric model, signs and ratios only.
    means = []
    for way_m in (0.0015, 0.0025):
        program = replace(PROGRAM, draw_back_m=way_m)
        means.append(statistics.fmean(primed(program=program).series(program, 6)))
    assert means[1] == pytest.approx(means[0], rel=0.01)


@pytest.mark.slow
def test_result_hardly_depends_on_the_step_of_time() -> None:
    coarse, middle, fine = (primed(dt_s=dt_s).series(PROGRAM, 2) for dt_s in (0.1, 0.005, 0.0025))
    assert middle == pytest.approx(fine, rel=5e-4)
    assert coarse == pytest.approx(fine, rel=5e-3)


@pytest.mark.slow
def test_same_seed_same_numbers_and_asking_does_not_matter() -> None:
    def story(seed: int) -> tuple[list[object], list[float]]:
        seen: list[object] = []
        rig = Rig(PlantSpec(), seed=seed, dt_s=0.02, watch=seen.append)
        rig.prime(PROGRAM)
        return seen, rig.series(PROGRAM, 2)

    assert story(4) == story(4)
    assert story(4)[1] != story(5)[1]
    deaf, nosy = (Plant(PlantSpec(), random.Random(8), Faults()) for _ in range(2))
    for tick in range(1500):
        for plant in (deaf, nosy):
            plant.advance(0.005, steps=20, drive_on=True, valve_on=False, portion=1 + tick // 800)
        nosy.readings()
    assert deaf.mass_balance() == nosy.mass_balance()


@pytest.mark.slow
def test_dough_runs_out_to_a_heel() -> None:
    # Common practice: a plunger never empties a tube.
    rig = primed()
    while not rig.tick(PROGRAM.speed_m_s).feed_end:
        pass
    rig.move(0.010, PROGRAM.speed_m_s)
    heel_m3 = (PLAIN.heel_m - PLAIN.end_margin_m) * PLAIN.bore_area_m2
    barrel_kg = rig.plant.mass_balance().barrel_kg
    assert barrel_kg == pytest.approx(heel_m3 * PLAIN.density_kg_m3, rel=0.06)
    assert closes(rig.plant) < 1e-6


@pytest.mark.slow
def test_quiet_means_that_long_steps_change_nothing() -> None:
    rig = primed(replace(PLAIN, stretch_m3_pa=1e-12))
    rig.make(replace(PROGRAM, draw_back_m=0.004, stroke_m=0.0153), 1)
    assert rig.plant.quiet
    before = rig.plant.mass_balance()
    for _ in range(600):
        rig.tick(dt_s=0.1)
    after = rig.plant.mass_balance()
    assert after.waste_kg - before.waste_kg < 1e-4
    rig.tick(valve_on=True)
    assert not rig.plant.quiet


def test_valve_edge_dips_the_supply_and_eye_sees_the_strand() -> None:
    rig = Rig(dt_s=0.005)
    while not rig.tick(0.005).dough_at_nozzle:
        pass
    assert rig.tick(0.005).eye_counts > 500
    rest_v = statistics.fmean(rig.tick().supply_v for _ in range(20))
    assert rest_v == pytest.approx(PLAIN.supply_v, abs=0.01)
    assert rig.tick(valve_on=True).supply_v < PLAIN.supply_v - 0.08
    rig.cut()
    assert rig.tick().eye_counts < 300


@pytest.mark.slow
def test_runs_much_faster_than_the_bench() -> None:
    # The aim is 300 simulated seconds a second; the floor is low, for busy machines.
    rig = primed(dt_s=0.005)
    plant, start_s = rig.plant, time.process_time()
    for tick in range(8000):
        steps = 20 if tick % 1200 < 600 else 0
        plant.advance(0.005, steps=steps, drive_on=True, valve_on=False, portion=1 + tick // 1200)
    assert 40.0 / (time.process_time() - start_s) > 60.0
