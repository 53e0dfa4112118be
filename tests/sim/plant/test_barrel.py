"""The barrel against closed forms: gas law, stretch, rigid limit."""

from __future__ import annotations

import math

import pytest

from sim.plant.air import AMBIENT_PA
from sim.plant.barrel import Barrel, closed_pressure_pa
from sim.plant.flow import NozzleLaw

SOFT = NozzleLaw(0.012, 0.1, 1200.0, 1387.0, 0.38)
NO_CEILING_PA = 1e7


def filled(solids_m3: float, gas_m3: float, stretch_m3_pa: float) -> Barrel:
    barrel = Barrel(stretch_m3_pa)
    barrel.solids_m3 = solids_m3
    barrel.gas_m3 = gas_m3
    return barrel


def test_gas_law_half_the_air_room_doubles_the_absolute_pressure() -> None:
    # Boyle's law at constant temperature: p V is constant.
    assert closed_pressure_pa(3e-4, 2e-5, 3.1e-4, 0.0) == pytest.approx(AMBIENT_PA, rel=1e-9)
    assert closed_pressure_pa(3e-4, 2e-5, 3.05e-4, 0.0) == pytest.approx(3.0 * AMBIENT_PA, rel=1e-9)


def test_without_air_the_frame_alone_is_the_spring() -> None:
    # A linear spring: pressure is excess volume by stretch.
    assert closed_pressure_pa(3.001e-4, 0.0, 3e-4, 1e-12) == pytest.approx(1e5, rel=1e-9)


def test_air_and_frame_share_the_squeeze() -> None:
    pressure_pa = closed_pressure_pa(3e-4, 3e-5, 3.2e-4, 3e-12)
    air_m3 = 3e-5 * AMBIENT_PA / (AMBIENT_PA + pressure_pa)
    assert 3e-4 + air_m3 == pytest.approx(3.2e-4 + 3e-12 * pressure_pa, rel=1e-12)


def test_too_much_room_is_a_gap_without_pressure() -> None:
    assert closed_pressure_pa(3e-4, 2e-5, 3.3e-4, 3e-12) == 0.0
    assert closed_pressure_pa(3e-4, 2e-5, 3.2e-4, 3e-12) == pytest.approx(0.0, abs=1e-6)


def test_nothing_that_gives_is_without_limit() -> None:
    assert math.isinf(closed_pressure_pa(3.1e-4, 0.0, 3e-4, 0.0))


def test_rigid_barrel_gives_out_what_goes_in() -> None:
    barrel = filled(3e-4, 0.0, 0.0)
    room_m3 = 3e-4
    for step in range(1, 201):
        in_m3 = 1e-8 * (1.0 + 0.5 * math.sin(step))
        room_m3 -= in_m3
        out_m3, solids_m3, made_m3 = barrel.step(room_m3, 0.005, SOFT, 15_000.0, NO_CEILING_PA, 0.0)
        assert made_m3 == room_m3
        assert out_m3 == solids_m3
        assert out_m3 == pytest.approx(in_m3, rel=1e-4)
        assert barrel.solids_m3 == pytest.approx(room_m3, rel=1e-8)


def test_steady_push_meets_the_nozzle_law() -> None:
    # Long after start-up, what flows must be what the law gives at the pressure left for it.
    barrel = filled(3.6e-4, 3e-5, 3e-12)
    room_m3, flow_m3_s = 3.9e-4, 0.0
    for _ in range(600):
        room_m3 -= 1e-5 * 0.005
        flow_m3_s = barrel.step(room_m3, 0.005, SOFT, 15_000.0, NO_CEILING_PA, 0.08)[0] / 0.005
    assert flow_m3_s == pytest.approx(SOFT.flow(barrel.pressure_pa - 15_000.0)[0], rel=1e-9)
    squeezed = 0.92 + 0.08 * AMBIENT_PA / (AMBIENT_PA + barrel.pressure_pa)
    assert flow_m3_s * squeezed == pytest.approx(1e-5, rel=0.02)


def test_below_yield_nothing_leaves() -> None:
    barrel = filled(3.6e-4, 3e-5, 3e-12)
    out_m3, _, _ = barrel.step(3.86e-4, 0.005, SOFT, 15_000.0, NO_CEILING_PA, 0.08)
    assert out_m3 == 0.0
    assert 0.0 < barrel.pressure_pa < 15_000.0 + SOFT.yield_pressure_pa


def test_the_ceiling_stops_the_plunger_not_the_dough() -> None:
    barrel = filled(3.6e-4, 3e-5, 3e-12)
    asked_m3 = 3.6e-4
    out_m3, _, made_m3 = barrel.step(asked_m3, 0.005, SOFT, 15_000.0, 80_000.0, 0.08)
    assert barrel.pressure_pa == 80_000.0
    assert made_m3 > asked_m3
    assert out_m3 == pytest.approx(SOFT.flow(65_000.0)[0] * 0.005, rel=1e-12)
    held = closed_pressure_pa(barrel.solids_m3, barrel.gas_m3, made_m3, 3e-12)
    assert held == pytest.approx(80_000.0, rel=1e-6)


def test_a_drive_that_just_holds_what_does_not_flow_holds_it_on() -> None:
    # Pressure of closed dough a rounding above what the drive holds, both below the yield.
    closed_pa = held_pa = closed_pressure_pa(3.6e-4, 3e-5, 3.88e-4, 3e-12)
    for _ in range(50):
        barrel = filled(3.6e-4, 3e-5, 3e-12)
        barrel.step(3.88e-4, 0.005, SOFT, 15_000.0, held_pa, 0.08)
        assert barrel.pressure_pa == pytest.approx(closed_pa, abs=1e-3)
        held_pa = math.nextafter(held_pa, 0.0)


def test_a_leak_takes_solids_and_gas_in_their_proportion_and_no_more_than_there_is() -> None:
    barrel = Barrel(0.0)
    barrel.solids_m3, barrel.gas_m3 = 9.0e-5, 1.0e-5
    assert barrel.leak(1.0e-6, 1.0e9) == pytest.approx(9.0e-7)
    assert (barrel.solids_m3, barrel.gas_m3) == pytest.approx((8.91e-5, 9.9e-6))
    assert barrel.leak(1.0, 1.0e9) == pytest.approx(8.91e-5)
    assert (barrel.solids_m3, barrel.gas_m3) == (0.0, 0.0)
    assert barrel.leak(1.0, 1.0e9) == 0.0
