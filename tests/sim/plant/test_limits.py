"""The plant in limits with closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from sim.plant.barrel import Barrel
from sim.plant.flow import NozzleLaw
from sim.plant.throw import throw_m
from tests.sim.plant.rig import PLAIN, Rig

STEP_S = 0.001


def test_pressure_after_a_stop_is_a_power_law_of_time() -> None:
    # A power-law fluid behind a linear spring C: C dp/dt = -k p^(1/n), whose solution is
    # p^(1 - 1/n) = p0^(1 - 1/n) + (1/n - 1) k t / C; late, p goes as t^(-n/(1 - n)).
    n, stretch = 0.38, 1.0e-10
    law = NozzleLaw(0.012, 0.1, 0.0, 1387.0, n)
    k = law.flow(1.0e4)[0] / 1.0e4 ** (1.0 / n)
    barrel, start_pa = Barrel(stretch), 1.0e5
    barrel.solids_m3 = 3.0e-4
    room_m3 = barrel.solids_m3 - stretch * start_pa
    seen, time_s = {}, 0.0
    for step in range(1, 20001):
        barrel.step(room_m3, STEP_S, law, 0.0, math.inf, 0.0)
        time_s += STEP_S
        if step in (200, 2000, 20000):
            seen[time_s] = barrel.pressure_pa
    over = 1.0 / n - 1.0
    for at_s, pressure_pa in seen.items():
        exact = (start_pa**-over + over * k * at_s / stretch) ** (-1.0 / over)
        assert pressure_pa == pytest.approx(exact, rel=0.01)
    (t0, p0), (t1, p1) = list(seen.items())[1:]
    assert math.log(p1 / p0) / math.log(t1 / t0) == pytest.approx(-n / (1.0 - n), abs=0.03)


def test_newtonian_pressure_after_a_stop_is_an_exponential() -> None:
    # Hagen-Poiseuille: Q = pi R^4 p / (8 mu L), so p falls with the time constant C / (Q / p).
    law = NozzleLaw(0.012, 0.1, 0.0, 50.0, 1.0)
    per_pa = math.pi * 0.012**4 / (8.0 * 50.0 * 0.1)
    assert law.flow(1.0e4)[0] == pytest.approx(per_pa * 1.0e4)
    barrel = Barrel(1.0e-9)
    barrel.solids_m3 = 3.0e-4
    tau_s = 1.0e-9 / per_pa
    steps = 2000
    for _ in range(steps):
        barrel.step(3.0e-4 - 1.0e-4, tau_s / steps, law, 0.0, math.inf, 0.0)
    assert barrel.pressure_pa == pytest.approx(1.0e5 / math.e, rel=1e-3)


def test_a_thrown_piece_falls_freely() -> None:
    # Common practice, rounded: from 0.10 m at 0.1, 0.3, 0.6, 1.0 m/s to 1.4, 4, 9, 14 cm.
    for speed, way_m in ((0.1, 0.014), (0.3, 0.04), (0.6, 0.09), (1.0, 0.14)):
        assert throw_m(speed, 0.10, 1.0) == pytest.approx(way_m, abs=0.005)
    assert throw_m(1.0, 0.40, 0.5) == pytest.approx(throw_m(1.0, 0.10, 1.0))


def test_the_film_of_a_bought_tube_makes_the_last_portions_hard_to_push() -> None:
    peaks = []
    for film_m in (0.0, 0.05):
        rig = Rig(replace(PLAIN, film_m=film_m), dt_s=0.02)
        rig.plant.load_tube(column_m=0.07)
        rig.portion = 1
        rig.move(PLAIN.load_gap_m + 0.03, 0.005)
        rig.portion = 2
        rig.move(0.01, 0.005)
        peaks.append(rig.tick(0.005).thrust_n)
    assert peaks[1] > 1.4 * peaks[0]


def test_a_sleeve_narrows_the_bore_and_nothing_else() -> None:
    # So its inside diameter on the bench card is all that a simulated bench with a sleeve needs.
    lined, narrow = replace(PLAIN, sleeve_m=0.001), replace(PLAIN, bore_m=0.048)
    assert lined.bore_area_m2 == pytest.approx(math.pi / 4.0 * 0.048**2)
    left_kg = []
    for spec in (lined, narrow):
        rig = Rig(spec, dt_s=0.02)
        rig.move(PLAIN.load_gap_m + 0.02, 0.005)
        left_kg.append(rig.plant.mass_balance())
    assert left_kg[0] == left_kg[1]
    assert left_kg[0].loaded_kg < 0.93 * Rig(PLAIN).plant.mass_balance().loaded_kg
