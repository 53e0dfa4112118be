"""The paste form of the nozzle against balances of forces, its slope, and a whole portion."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from sim.plant.paste import PasteLaw, PasteSpec
from tests.sim.plant.rig import PLAIN, Program, Rig

WORKED = PasteSpec(0.012, 5.0e4, 1.0e6, 1.0, 5.0e3, 2.0e5, 1.0)


def law(spec: PasteSpec, harder: float = 1.0, at_rest: float = 1.0) -> PasteLaw:
    return PasteLaw(0.025, 0.003, spec, harder, at_rest)


def slice_by_slice_pa(spec: PasteSpec, speed_m_s: float, barrel_m: float, bore_m: float) -> float:
    """Pressure of a paste from balances of forces [Pa]: of rings of a cone whose stress across is
    the entry's, 2 s dD/D each, and of a plug in the land, on whose wall the other one drags."""
    entry_pa = spec.entry_pa + spec.entry_rise * speed_m_s**spec.entry_index
    wall_pa = spec.wall_pa + spec.wall_rise * speed_m_s**spec.wall_index
    cone_pa = quad(lambda d: 2.0 * entry_pa / d, bore_m, barrel_m, epsrel=1e-12)[0]
    drag_n = quad(lambda _: wall_pa * math.pi * bore_m, 0.0, spec.land_m)[0]
    return float(cone_pa + drag_n / (math.pi * bore_m**2 / 4.0))


@pytest.mark.parametrize(("m", "n"), [(1.0, 1.0), (0.5, 0.4), (0.3, 0.8)])
@pytest.mark.parametrize("speed_m_s", [0.001, 0.01, 0.1])
def test_the_speed_at_a_pressure_that_was_added_up_slice_by_slice(
    m: float, n: float, speed_m_s: float
) -> None:
    # No worked example of the form with units was found published; scipy's quad is the other way.
    spec = replace(WORKED, entry_index=m, wall_index=n)
    flow_m3_s = law(spec).flow(slice_by_slice_pa(spec, speed_m_s, 0.025, 0.003))[0]
    assert flow_m3_s / (math.pi * 0.003**2 / 4.0) == pytest.approx(speed_m_s, rel=1e-7)


def test_flow_and_slope_are_those_of_a_root_finder() -> None:
    spec = PasteSpec()
    paste = law(spec, harder=1.3)
    narrows, long = 2.0 * math.log(25.0 / 3.0), 4.0 * spec.land_m / 0.003

    def over_pa(speed: float, wanted_pa: float) -> float:
        entry_pa = spec.entry_pa + spec.entry_rise * speed**spec.entry_index
        wall_pa = spec.wall_pa + spec.wall_rise * speed**spec.wall_index
        return 1.3 * (narrows * entry_pa + long * wall_pa) - wanted_pa

    area_m2 = math.pi * 0.003**2 / 4.0
    for times in (1.001, 1.5, 5.0):
        pressure_pa = times * paste.yield_pressure_pa
        flow, slope = paste.flow(pressure_pa)
        exact = brentq(over_pa, 0.0, 1e3, args=(pressure_pa,), xtol=1e-14)
        assert flow == pytest.approx(exact * area_m2, rel=1e-6)
        step_pa = 1e-4 * (pressure_pa - paste.yield_pressure_pa)
        up, down = (paste.flow(pressure_pa + way * step_pa)[0] for way in (1.0, -1.0))
        assert slope == pytest.approx((up - down) / (2.0 * step_pa), rel=1e-4)


def test_nothing_flows_up_to_the_yield_and_relaxing_lowers_it() -> None:
    paste = law(WORKED, at_rest=2.0)
    assert paste.yield_pressure_pa == pytest.approx(2.0 * law(WORKED).yield_pressure_pa)
    assert paste.flow(paste.yield_pressure_pa) == (0.0, 0.0)
    paste.yield_by(0.5)
    assert paste.flow(law(WORKED).yield_pressure_pa * 1.01)[0] > 0.0


@pytest.mark.slow
def test_portions_of_paste_are_as_heavy_as_others_and_close() -> None:
    masses = {}
    for spec in (PLAIN, replace(PLAIN, paste=PasteSpec())):
        rig = Rig(spec, dt_s=0.02)
        rig.prime(Program())
        masses[spec.paste is None] = rig.series(Program(), 4)[2:]
        mass = rig.plant.mass_balance()
        closes_kg = mass.loaded_kg - mass.out_kg - mass.waste_kg - mass.barrel_kg
        assert abs(closes_kg) < 1e-6 * mass.loaded_kg
    assert masses[False] == pytest.approx(masses[True], rel=0.02)
    # Of a longer land the same push takes more pressure.
    peaks = []
    for land_m in (0.02, 0.06):
        rig = Rig(replace(PLAIN, paste=PasteSpec(land_m=land_m)), dt_s=0.02)
        rig.move(PLAIN.load_gap_m + 0.02, 0.005)
        peaks.append(rig.plant.pressure_pa)
    assert peaks[1] > 1.05 * peaks[0]
