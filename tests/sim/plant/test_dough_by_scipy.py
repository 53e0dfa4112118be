"""All that happens to the dough in the barrel, against scipy's integrator on ten random benches.

The plant makes turns of 20 ms, implicit and of first order; the integrator takes what steps it
needs. Written out here a second time: room and pressure, wall friction by the length of the column,
stress that relaxes in a rest and grows again after it, and the leak past the plunger.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from sim.plant.air import AMBIENT_PA
from sim.plant.flow import NozzleLaw
from sim.plant.spec import PlantSpec
from tests.sim.plant.rig import PLAIN, Rig

TURN_S = 0.020
CELL_M_S = PLAIN.microstep_m / 0.001
"""A speed that makes whole microsteps in each ms, so that no way is owed at the end of a turn."""


class Leg(NamedTuple):
    """A part of the run: speed of the plunger [m/s] and how long it lasts [s]."""

    speed_m_s: float
    time_s: float


class Seen(NamedTuple):
    """Dough in the barrel [kg] and its pressure [Pa, gauge] at the end of a leg."""

    barrel_kg: float
    pressure_pa: float


NEAR = Seen(5.0e-5, 500.0)
"""How near turns of 20 ms come: 0.05 g of a portion of 30 g, and 1 N of thrust at 50 mm."""


def legs(chance: random.Random) -> list[Leg]:
    """Up to the dough, a push, a rest, a draw-back and its rest, and a push with its rest."""
    speed = CELL_M_S * chance.randint(2, 5)
    return [
        Leg(speed, 2.0 + PLAIN.load_gap_m / speed),
        Leg(0.0, 1.4),
        Leg(-8.0 * CELL_M_S, 0.2),
        Leg(0.0, 0.6),
        Leg(speed, 1.6),
        Leg(0.0, 1.0),
    ]


def random_bench(chance: random.Random) -> PlantSpec:
    """A bench without chance in its dough, and so strong that its motor never stalls."""
    return replace(
        PLAIN,
        bore_m=chance.uniform(0.04, 0.06),
        nozzle_m=chance.uniform(0.020, 0.028),
        nozzle_length_m=chance.uniform(0.05, 0.15),
        air_fraction=chance.uniform(0.03, 0.15),
        stretch_m3_pa=chance.uniform(1e-12, 2e-11),
        wall_stress_pa=chance.uniform(500.0, 2000.0),
        leak_m3_s_pa=chance.uniform(0.5e-11, 3e-11),
        yield_kept=chance.uniform(0.2, 0.6),
        relax_s=chance.uniform(0.1, 0.6),
        stiffening=chance.uniform(0.05, 0.30),
        yield_stress_pa=chance.uniform(500.0, 2000.0),
        consistency_pa_sn=chance.uniform(800.0, 2400.0),
        flow_exponent=chance.uniform(0.3, 0.6),
        motor_n_m=50.0,
    )


def by_plant(spec: PlantSpec, run: Iterable[Leg], turn_s: float) -> list[Seen]:
    """What the plant says at the end of each leg, asked for turns of turn_s [s]."""
    rig, seen = Rig(spec, dt_s=turn_s), []
    for leg in run:
        rig.run(leg.time_s, leg.speed_m_s)
        seen.append(Seen(rig.plant.mass_balance().barrel_kg, rig.plant.pressure_pa))
    assert rig.plant.lost_m == 0.0
    return seen


def pressure_pa(solids_m3: float, gas_m3: float, room_m3: float, stretch_m3_pa: float) -> float:
    """Pressure [Pa] at which solids, gas and the stretched room are one."""

    def over(p: float) -> float:
        squeezed = gas_m3 * AMBIENT_PA / (AMBIENT_PA + p)
        return solids_m3 + squeezed - room_m3 - stretch_m3_pa * p

    return 0.0 if over(0.0) <= 0.0 else float(brentq(over, 0.0, 1e9, xtol=1e-3, rtol=1e-12))


class Reference:
    """The same bench by scipy; `without` names a law that it shall not have."""

    def __init__(self, spec: PlantSpec, without: str = "") -> None:
        self.spec, self.without = spec, without
        self.law = NozzleLaw(
            0.5 * spec.nozzle_m,
            spec.nozzle_length_m,
            spec.yield_stress_pa,
            spec.consistency_pa_sn,
            spec.flow_exponent,
        )
        dough_m3 = spec.bore_area_m2 * spec.tube_m
        self.y = [dough_m3 * (1.0 - spec.air_fraction), dough_m3 * spec.air_fraction, 0.0]
        self.room_m3 = dough_m3 + spec.bore_area_m2 * spec.load_gap_m
        self.rest_s = 0.0
        self.stiff = 1.0

    def times(self, leg: Leg, t_s: float, out_m: float) -> float:
        """Multiple of its yield stress [-] that the dough holds up after t_s [s] of a leg."""
        spec = self.spec
        if leg.speed_m_s > 0.0:
            fades = math.exp(-out_m / spec.stiff_m)
            return 1.0 + (self.stiff - 1.0) * fades if self.without != "stiffening" else 1.0
        if self.without == "relaxation":
            return 1.0
        kept = spec.yield_kept
        return kept + (1.0 - kept) / math.sqrt(1.0 + (self.rest_s + t_s) / spec.relax_s)

    def run(self, leg: Leg) -> Seen:
        """Moves on by a leg."""
        spec, begin_m3 = self.spec, self.room_m3
        if leg.speed_m_s > 0.0:
            self.stiff = 1.0 + spec.stiffening * math.log10(1.0 + self.rest_s)
        friction_pa_m3 = 4.0 * spec.wall_stress_pa / (spec.bore_m * spec.bore_area_m2)

        def pressure(t_s: float, solids: float, gas: float) -> float:
            room_m3 = begin_m3 - spec.bore_area_m2 * leg.speed_m_s * t_s
            return pressure_pa(solids, gas, room_m3, spec.stretch_m3_pa)

        def slopes(t_s: float, y: list[float]) -> list[float]:
            solids, gas, out_m = y
            p = pressure(t_s, solids, gas)
            self.law.yield_by(self.times(leg, t_s, out_m))
            friction_pa = friction_pa_m3 * (solids + gas) if self.without != "friction" else 0.0
            out = self.law.flow(p - friction_pa)[0]
            air, lost = spec.air_fraction, max(0.0, p - spec.leak_from_pa) * spec.leak_m3_s_pa
            share = lost / (solids + gas) if self.without != "leak" else 0.0
            out_m_s = out / spec.nozzle_area_m2
            return [-out * (1.0 - air) - share * solids, -out * air - share * gas, out_m_s]

        got = solve_ivp(
            slopes,
            (0.0, leg.time_s),
            [*self.y[:2], 0.0],
            method="LSODA",
            rtol=1e-9,
            atol=[1e-14, 1e-14, 1e-9],
            max_step=0.01,
        )
        self.y = [float(part[-1]) for part in got.y]
        self.room_m3 -= spec.bore_area_m2 * leg.speed_m_s * leg.time_s
        self.rest_s = 0.0 if leg.speed_m_s > 0.0 else self.rest_s + leg.time_s
        p = pressure_pa(self.y[0], self.y[1], self.room_m3, spec.stretch_m3_pa)
        return Seen(self.y[0] * spec.density_kg_m3 / (1.0 - spec.air_fraction), p)


def run_of(seed: int) -> tuple[PlantSpec, list[Leg], list[Seen]]:
    """A random bench, what is done with it, and what scipy says of it."""
    chance = random.Random(seed)
    spec, run = random_bench(chance), legs(chance)
    exact = Reference(spec)
    return spec, run, [exact.run(leg) for leg in run]


@pytest.mark.parametrize(
    ("turn_s", "near"),
    [
        (TURN_S, NEAR),
        pytest.param(0.001, Seen(*(0.1 * most for most in NEAR)), marks=pytest.mark.slow),
    ],
)
@pytest.mark.parametrize("seed", range(10))
def test_ten_random_benches_move_dough_as_scipy_says(seed: int, turn_s: float, near: Seen) -> None:
    # Turns of a twentieth come ten times nearer: the error is of first order.
    spec, run, exact = run_of(seed)
    for number, (seen, wanted) in enumerate(zip(by_plant(spec, run, turn_s), exact, strict=True)):
        where = f"seed {seed}, leg {number}"
        assert seen.barrel_kg == pytest.approx(wanted.barrel_kg, abs=near.barrel_kg), where
        assert seen.pressure_pa == pytest.approx(wanted.pressure_pa, abs=near.pressure_pa), where


@pytest.mark.parametrize("law", ["friction", "leak", "relaxation", "stiffening"])
def test_each_law_would_be_missed(law: str) -> None:
    spec, run, exact = run_of(3)
    short = Reference(spec, law)
    away_kg = max(
        abs(short.run(leg).barrel_kg - seen.barrel_kg) for leg, seen in zip(run, exact, strict=True)
    )
    assert away_kg > 2.0 * NEAR.barrel_kg
