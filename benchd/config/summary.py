"""What a checked card means at the bench: grams and steps per millimetre, stroke, shortest period.

Each line is one that a person can hold against the bench with a rule, a scale or a watch.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from benchd.config.bench import BenchCard
from benchd.config.bench_checks import runs_back
from benchd.config.bench_keys import DENSITY_KG_M3
from benchd.config.keys import in_unit
from benchd.core.facts import BenchFacts, Dough, portion_time_s, shortest_period_s
from benchd.core.watched import not_watched

RESTS_FAR = (
    "; it comes out when power fails or the guard opens, and goes home by 'benchd cut' after a "
    "start"
)
"""What a cutter does that rests far."""


class Meaning(NamedTuple):
    """One line for a person, the name of its number for a program, and that number (SI)."""

    label: str
    text: str
    name: str = ""
    value: Any = None


def of_bench(card: BenchCard, density_kg_m3: float = DENSITY_KG_M3) -> list[Meaning]:
    """Return what a bench card means, for a dough of this density."""
    facts, limits, values = card.facts, card.facts.limits, card.read
    area_m2 = math.pi * facts.bore_m**2 / 4
    kg_per_m = area_m2 * density_kg_m3
    useful_m = facts.travel_m - facts.heel_m
    unwatched = not_watched(facts.fitted)
    found = [
        Meaning("bench", facts.name + (" (simulated)" if facts.simulated else ""), "bench",
                facts.name),
        Meaning("not watched", ", ".join(unwatched) or "nothing", "not_watched", list(unwatched)),
        Meaning("feed", f"{facts.steps_per_m / 1e3:.6g} steps per mm", "steps_per_m",
                facts.steps_per_m),
        Meaning("barrel", f"{kg_per_m:.3g} g per mm at {density_kg_m3 / 1e3:g} g/cm3; one step is "
                f"{kg_per_m / facts.steps_per_m * 1e6:.2g} mg", "kg_per_m", kg_per_m),
        Meaning("useful travel", f"{in_unit(useful_m, 'mm')}, {useful_m * kg_per_m * 1e3:.0f} g",
                "useful_travel_m", useful_m),
        Meaning("strand", f"{(facts.bore_m / facts.nozzle_bore_m) ** 2:.3g} mm for each mm of feed",
                "strand_per_feed", (facts.bore_m / facts.nozzle_bore_m) ** 2),
        Meaning("cutter", f"goes {values.text('cutter.rest')} without power; stops waiting after "
                f"{limits['cut_max_ms']} ms out, {limits['return_max_ms']} ms back"
                + (RESTS_FAR if limits["valve_home"] else "")),
        _drive(card),
    ]  # fmt: skip
    if "limits.thrust" in values:
        pressure_pa = values.number("limits.thrust") / area_m2
        found.append(
            Meaning(
                "thrust limit",
                f"{values.written('limits.thrust')} is {pressure_pa / 1e5:.2g} bar in the barrel",
                "thrust_limit_pa",
                pressure_pa,
            )
        )
    return found


def _drive(card: BenchCard) -> Meaning:
    values = card.read
    held = values.text("feed.after_stop") == "held"
    text = "held after a stop" if held else "released after a stop"
    why = runs_back(values)
    if why:
        text += f"; {why}: expect loss of pressure then"
    elif not values.number("feed.keeps_position"):
        text += "; its position is doubted once it was released"
    return Meaning("drive", text, "runs_back", bool(why))


def of_dough(dough: Dough, facts: BenchFacts) -> list[Meaning]:
    """Return what a dough card means on this bench."""
    area_m2 = math.pi * facts.bore_m**2 / 4
    net_m = dough.stroke_m + dough.take_up_m - dough.draw_back_m
    kg = net_m * area_m2 * dough.density_kg_m3
    portions = int((facts.travel_m - facts.heel_m) / net_m + 1e-9) if net_m > 0 else 0
    shortest_s = shortest_period_s(facts, dough)
    return [
        Meaning("dough", dough.name, "dough", dough.name),
        Meaning("portion", f"aim {dough.aim_kg * 1e3:g} g, right within "
                f"{dough.aim_kg * dough.tolerance * 1e3:.2g} g", "aim_kg", dough.aim_kg),
        Meaning("stroke", f"{in_unit(dough.stroke_m, 'mm')} a portion, net {in_unit(net_m, 'mm')}: "
                f"{kg * 1e3:.3g} g by the density", "stroke_m", dough.stroke_m),
        Meaning("portion time", f"{portion_time_s(facts, dough):.1f} s by the usual times",
                "portion_s", portion_time_s(facts, dough)),
        Meaning("shortest period", f"{shortest_s:.1f} s in a series", "shortest_period_s",
                shortest_s),
        Meaning("portions", f"{portions} in the useful travel", "portions", portions),
    ]  # fmt: skip


def numbers(meanings: list[Meaning]) -> dict[str, Any]:
    """Return the numbers of what a card means, for a program."""
    return {meaning.name: meaning.value for meaning in meanings if meaning.name}
