"""Benches and dough cards unlike the example's, drawn at random: bore, nozzle, lead, how stiff the
dough is, its density and air, and so aim, stroke, speed and the limit of thrust.

A bench follows from its seed alone. What a person would set by a look at the bench is set so: the
limit of thrust stands as far above the usual as on the example's card.
"""

from __future__ import annotations

import random
from dataclasses import replace
from math import pi
from typing import NamedTuple

from benchd.config import BenchCard, bench_card, dough, read_card
from benchd.core.facts import shortest_period_s
from sim.plant.spec import PlantSpec
from sim.rig_spec import RigSpec, rig_spec
from tests.scenarios.conftest import EXAMPLES, MASA, example_card

CARDS = {False: "bench.yaml", True: "smallest.yaml"}
"""Bench card of the examples: every sensor fitted, or none but the eye."""

EVERY_S = 6.0
LEADS_MM = (1.5, 2.0, 2.5)
"""Leads that a screw of 10 mm holds by its friction, as the example's does."""

PACKED = 12.7 / 13.29
"""Stroke over what aim, density and bore say, as on the example's dough card."""

THRUST_N = 400
"""Limit of thrust on the example's card."""


class Place(NamedTuple):
    """Where tubes are made: bench card, dough card, the simulated bench, and the time between
    portions. words: what was drawn."""

    card: BenchCard
    dough: str
    spec: RigSpec
    every_s: float
    words: str = "the example's"


def example(smallest: bool) -> Place:
    """Return the bench and dough of the examples."""
    card = example_card(CARDS[smallest])
    return Place(card, MASA, rig_spec(card), EVERY_S)


def drawn(seed: int, smallest: bool) -> Place:
    """Return a bench and a dough card of their own."""
    rng = random.Random(f"bench {seed} {smallest}")
    bore_m = rng.uniform(0.040, 0.060)
    nozzle_m = bore_m * rng.uniform(0.42, 0.54)
    lead_mm = rng.choice(LEADS_MM)
    stiff = rng.uniform(0.7, 1.4)
    density, air = rng.uniform(1050.0, 1250.0), rng.uniform(0.05, 0.12)
    stroke_m, speed_mm_s = rng.uniform(0.0095, 0.0127), rng.uniform(4.5, 6.5)
    usual = PlantSpec()
    plant = {
        "density_kg_m3": density,
        "air_fraction": air,
        "yield_stress_pa": stiff * usual.yield_stress_pa,
        "consistency_pa_sn": stiff * usual.consistency_pa_sn,
    }
    changes = [
        ("bore: 50 mm", f"bore: {bore_m * 1e3:.2f} mm"),
        ("lead: 2 mm", f"lead: {lead_mm:g} mm"),
        ("bore: 24 mm", f"bore: {nozzle_m * 1e3:.2f} mm"),
    ]
    if not smallest:
        mine = replace(usual, bore_m=bore_m, nozzle_m=nozzle_m, **plant)  # type: ignore[arg-type]
        ratio = _thrust_n(mine, speed_mm_s / 1e3) / _thrust_n(usual, 0.006)
        changes.append(("thrust: 400 N", f"thrust: {THRUST_N * ratio:.0f} N"))
        changes.append(("full: 500 N", f"full: {1.25 * THRUST_N * ratio:.0f} N"))
    card = bench_card(_with(read_card(EXAMPLES / CARDS[smallest]), changes), f"bench {seed}")
    aim_kg = density * pi / 4 * bore_m**2 * stroke_m / PACKED
    text = _with(
        MASA,
        [
            ("aim: 30 g", f"aim: {aim_kg * 1e3:.2f} g"),
            ("density: 1.15 g/cm3", f"density: {density / 1e3:.4f} g/cm3"),
            ("stroke: 12.7 mm", f"stroke: {stroke_m * 1e3:.2f} mm"),
            ("push_speed: 6 mm/s", f"push_speed: {speed_mm_s:.2f} mm/s"),
        ],
    )
    spec = rig_spec(card)
    shortest_s = shortest_period_s(card.facts, dough(text, "drawn", card.facts))
    words = (
        f"bore {bore_m * 1e3:.1f} mm, nozzle {nozzle_m * 1e3:.1f} mm, lead {lead_mm:g} mm, dough "
        f"{stiff:.2f} times as stiff, {density:.0f} kg/m3, {air * 100:.0f} % air, aim "
        f"{aim_kg * 1e3:.1f} g, stroke {stroke_m * 1e3:.1f} mm at {speed_mm_s:.1f} mm/s"
    )
    return Place(
        card,
        text,
        replace(spec, plant=replace(spec.plant, **plant)),  # type: ignore[arg-type]
        max(EVERY_S, shortest_s + 1.0),
        words,
    )


def stroke_mm(text: str) -> str:
    """Return the stroke that a dough card gives, as it is written."""
    (line,) = [line for line in text.splitlines() if line.startswith("stroke: ")]
    return line.removeprefix("stroke: ").partition(" mm")[0]


def _with(text: str, changes: list[tuple[str, str]]) -> str:
    for before, after in changes:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    return text


def _thrust_n(plant: PlantSpec, speed_m_s: float) -> float:
    """Return about what pushing dough through the nozzle takes [N]: a power law in a tube."""
    n, d = plant.flow_exponent, plant.nozzle_m
    shear_s = 8 * speed_m_s * (plant.bore_m / d) ** 2 / d
    stress_pa = plant.yield_stress_pa + plant.consistency_pa_sn * shear_s**n
    return 4 * plant.nozzle_length_m / d * stress_pa * pi / 4 * plant.bore_m**2
