"""Screw and stepper: textbook torque, run-back, pull-out, stalls in whole rounds of the coils."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from sim.plant.drive import ELECTRICAL_STEPS, pull_out, runs_back, screw_torque_n_m, whole_rounds_m
from sim.plant.feed import Feed
from sim.plant.spec import PlantSpec
from tests.sim.plant.rig import PLAIN, Rig

FLANK = math.radians(15.0)
FULL_STEP_M = PLAIN.lead_m / PLAIN.steps_per_turn
START_M = PLAIN.barrel_m - PLAIN.tube_m - PLAIN.load_gap_m


@pytest.mark.parametrize(
    ("lead_m", "thrust_n", "torque_n_m"),
    [(0.002, 200.0, 0.17), (0.002, 1000.0, 0.87), (0.008, 200.0, 0.39), (0.008, 1000.0, 1.93)],
)
def test_torque_of_a_trapezoidal_screw(lead_m: float, thrust_n: float, torque_n_m: float) -> None:
    # Common practice: pitch diameter 7 mm, friction 0.15, printed to two digits.
    got = screw_torque_n_m(thrust_n, lead_m, 0.007, 0.15, FLANK)
    assert got == pytest.approx(torque_n_m, abs=0.006)


def test_torque_of_a_published_example() -> None:
    # Shigley, Mechanical Engineering Design, Example 8-1: square thread, two starts, 15.937 N m.
    assert screw_torque_n_m(6400.0, 0.008, 0.030, 0.08, 0.0) == pytest.approx(15.937, abs=0.005)


def test_torque_without_friction_is_the_work_of_a_turn() -> None:
    # Energy: 2 pi T = F lead.
    assert screw_torque_n_m(100.0, 0.004, 0.010, 0.0, 0.0) * 2.0 * math.pi == pytest.approx(0.4)
    assert math.isinf(screw_torque_n_m(1.0, 0.03, 0.004, 0.5, 0.0))


def test_steep_screws_run_back_unless_the_detent_holds_them() -> None:
    assert not runs_back(0.002, 0.007, 0.15, FLANK)
    assert runs_back(0.008, 0.007, 0.15, FLANK)
    assert not runs_back(0.008, 0.007, 0.15, FLANK, detent=0.6)
    # At the friction angle it just holds.
    edge_m = math.pi * 0.007 * 0.15 / math.cos(FLANK)
    assert not runs_back(0.999 * edge_m, 0.007, 0.15, FLANK)
    assert runs_back(1.001 * edge_m, 0.007, 0.15, FLANK)


def test_pull_out_falls_to_nothing() -> None:
    assert [pull_out(v, 0.04) for v in (0.0, 0.01, -0.01, 0.05)] == [1.0, 0.75, 0.75, 0.0]


@pytest.mark.parametrize(("steps", "rounds"), [(0.0, 0), (0.2, 0), (4.0, 1), (4.1, 1), (9.0, 2)])
def test_a_stall_loses_whole_rounds(steps: float, rounds: int) -> None:
    lost_m = whole_rounds_m(steps * FULL_STEP_M, FULL_STEP_M)
    assert lost_m == pytest.approx(rounds * 4 * FULL_STEP_M)


def test_a_released_steep_screw_goes_back_until_the_pressure_is_gone() -> None:
    steep, flat = (Feed(replace(PlantSpec(), lead_m=lead), 0.1) for lead in (0.008, 0.002))
    for feed in (steep, flat):
        for _ in range(400):
            if feed.springing(50_000.0):
                feed.spring_back(0.005)
    assert 0.1 - flat.position_m == pytest.approx(PlantSpec().springback_m)
    assert 0.1 - steep.position_m > 5.0 * PlantSpec().springback_m
    assert not steep.springing(0.0)


def test_play_is_lost_at_each_reversal_and_only_there() -> None:
    feed = Feed(replace(PLAIN, backlash_m=0.0003), 0.1)
    feed.travel(0.001)
    assert feed.position_m == pytest.approx(0.1007)
    feed.travel(0.001)
    assert feed.position_m == pytest.approx(0.1017)
    feed.travel(-0.0002)
    assert feed.position_m == pytest.approx(0.1017)
    feed.travel(-0.0005)
    assert feed.position_m == pytest.approx(0.1013)


def test_one_step_in_a_very_short_slice_is_no_stall() -> None:
    rig = Rig()
    rig.move(PLAIN.load_gap_m + 0.004, 0.005)
    pressed_n = rig.tick().thrust_n
    for _ in range(5):
        rig.plant.advance(2.0e-5, steps=1, drive_on=True, valve_on=False, portion=0)
    assert rig.plant.lost_m == 0.0
    assert rig.plant.readings().thrust_n > pressed_n - 5.0


@pytest.mark.slow
def test_a_fast_push_stalls_where_a_slow_one_does_not() -> None:
    thrusts = []
    for speed in (0.002, 0.020):
        rig = Rig(
            replace(PLAIN, motor_n_m=PLAIN.screw_torque_n_m(320.0), pull_out_m_s=0.030), dt_s=0.01
        )
        rig.move(0.012, speed)
        rig.move(0.012, speed)
        thrusts.append((rig.tick(speed).thrust_n, rig.plant.lost_m))
    assert thrusts[0][1] == 0.0
    assert thrusts[1][1] > 0.0
    assert thrusts[1][1] / (4 * FULL_STEP_M) == pytest.approx(
        round(thrusts[1][1] / (4 * FULL_STEP_M)), abs=1e-6
    )


@pytest.mark.slow
def test_a_stalled_rotor_loses_whole_rounds_and_makes_up_the_rest_whatever_the_turns() -> None:
    lost_m = []
    for turn_s in (0.0005, 0.002, 0.020, 0.100):
        rig = Rig(replace(PLAIN, motor_n_m=0.15), dt_s=turn_s)
        rig.move(0.040, 0.010)
        rig.run(1.0)
        behind_m = 0.040 - (rig.plant._feed.position_m - START_M)
        assert behind_m == pytest.approx(rig.plant.lost_m, abs=1e-9)
        lost_m.append(rig.plant.lost_m)
    assert min(lost_m) > 0.010
    assert max(lost_m) - min(lost_m) < 1.5 * ELECTRICAL_STEPS * FULL_STEP_M


def test_a_stall_pushes_nothing_and_lets_nothing_back() -> None:
    # Faster than the motor can pull, against loaded dough: a screw that locks stays where it is,
    # and the thrust fades as it does at rest.
    rig, seen = Rig(dt_s=0.02), []
    rig.move(PLAIN.load_gap_m + 0.010, 0.005)
    start_m, start_pa = rig.plant._feed.position_m, rig.plant.pressure_pa
    for _ in range(25):
        rig.tick(2.0 * PLAIN.pull_out_m_s)
        seen.append(rig.plant._feed.position_m)
    assert min(seen) >= start_m
    assert rig.plant.lost_m < 25 * 0.02 * 2.0 * PLAIN.pull_out_m_s
    assert rig.plant.pressure_pa > 0.5 * start_pa


def test_the_same_motor_pushes_less_by_a_steeper_or_rougher_screw() -> None:
    """Held to the printed formula, not to that of the plant: Shigley, power screws, with collar
    left out; T = F dm/2 (l + pi f dm sec a) / (pi dm - f l sec a)."""
    assert PlantSpec().stall_thrust_n == pytest.approx(700.0, rel=1e-3)
    steep, rough = replace(PLAIN, lead_m=0.008), replace(PLAIN, screw_friction=0.25)
    assert steep.stall_thrust_n < PLAIN.stall_thrust_n
    assert rough.stall_thrust_n < PLAIN.stall_thrust_n
    for spec in (PLAIN, steep, rough):
        sec = 1.0 / math.cos(spec.screw_flank_rad)
        d, lead, f = spec.screw_diameter_m, spec.lead_m, spec.screw_friction
        way = math.pi * d
        per_n = 0.5 * d * (lead + f * way * sec) / (way - f * lead * sec)
        assert spec.stall_thrust_n == pytest.approx(spec.motor_n_m / per_n, rel=1e-9)
