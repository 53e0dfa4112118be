"""What a bench card says about the simulated bench that stands in for the real one."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from benchd.config import BenchCard
from benchd.config.dough import dough_values
from benchd.config.errors import Problems
from benchd.config.keys import Value, Values
from sim.plant.paste import PasteSpec
from sim.plant.spec import PlantSpec

REAR_MARGIN_M = 0.001
"""Way from the soft limits to the end switches behind them [m], so that a full way back hits none.
Common practice."""

LOAD_GAP_M = 0.005
"""Way from the plunger, backed out to the soft limit, to the dough of a full tube [m]."""

_USUAL_AIR_PA = 2.0e5
_IN_TIME = 0.97
"""A sound cutter takes this share of the usual times on the card, which people write down rounded
up."""


@dataclass(frozen=True)
class RigSpec:
    """The simulated bench of one card: its plant, and how its sensors are wired.

    fitted: parts that are connected; the others read 0. valve_home: valve level at which the blade
    goes home, 0 or 1. forward_is_low: the motor is wired so that it feeds forward while the
    direction line is low. thrust_zero, air_zero [counts]: reading at nothing; thrust_full_n [N],
    air_full_pa [Pa, gauge]: what 1023 counts mean. readability_kg [kg]: smallest step of the scale.
    """

    plant: PlantSpec
    fitted: frozenset[str]
    valve_home: int
    forward_is_low: bool
    thrust_zero: int
    thrust_full_n: float
    air_zero: int
    air_full_pa: float
    readability_kg: float


def rig_spec(card: BenchCard, dough: Values | None = None) -> RigSpec:
    """Return the simulated bench of a card.

    Bore, nozzle, screw, travel and cutter are the card's; dough, friction and noise are those of
    `PlantSpec`, but for what a dough card gives. The plunger starts backed out to where the board's
    position is 0.
    Raises ValueError with one sentence where plunger and tube leave the simulation no room.
    """
    limits = card.facts.limits
    plant = _plant(card.values)
    return RigSpec(
        plant=plant if dough is None else _of_dough(plant, dough, card.values),
        fitted=frozenset(card.facts.fitted),
        valve_home=limits["valve_home"],
        forward_is_low=limits["direction"] == 1,
        thrust_zero=limits["thrust_zero"],
        thrust_full_n=limits["thrust_full"] / 10.0,
        air_zero=limits["air_zero"],
        air_full_pa=limits["air_full"] * 100.0,
        readability_kg=card.facts.scale_readability_kg,
    )


def dough_of(text: str, name: str, card: BenchCard) -> Values:
    """Return the values of a dough card, for `rig_spec`.

    Raises CardError with one sentence a mistake.
    """
    problems = Problems(name)
    values = dough_values(text, problems, card.facts)
    problems.raise_if_any()
    return values


_OF_DOUGH = {
    "density": "density_kg_m3",
    "air": "air_fraction",
    "swell": "swell",
    "wall_stress": "wall_stress_pa",
    "film": "film_m",
    "throw": "thrown",
}
_OF_FLOW = ("flow.law", "flow.yield", "flow.consistency", "flow.index", "flow.entry")
_OF_PASTE = ("entry", "entry_rise", "entry_index", "wall", "wall_rise", "wall_index")


def _of_dough(plant: PlantSpec, dough: Values, bench: dict[str, Value]) -> PlantSpec:
    """What the dough card gives, and no more: its usual values are not those of this plant."""
    law = dough.text("flow.law") if any(dough.given(key) for key in _OF_FLOW) else ""
    land_m = _number(bench, "nozzle.land")
    if law == "paste":
        units = {"entry": "entry_pa", "wall": "wall_pa"}
        terms = {
            units.get(word, word): dough.number(f"paste.{word}")
            for word in _OF_PASTE
            if f"paste.{word}" in dough
        }
        plant = replace(plant, paste=PasteSpec(land_m=land_m, **terms))
    elif law:
        # What the entry takes stands as yield stress along the land.
        along = plant.nozzle_m / (4.0 * land_m)
        stress_pa = 0.0 if law == "newton" else dough.number("flow.yield")
        plant = replace(
            plant,
            nozzle_length_m=land_m,
            yield_stress_pa=stress_pa + along * dough.number("flow.entry"),
            flow_exponent=dough.number("flow.index") if law == "herschel-bulkley" else 1.0,
            consistency_pa_sn=dough.number("flow.consistency"),
        )
    given: dict[str, Any] = {
        field: dough.number(key) for key, field in _OF_DOUGH.items() if dough.given(key)
    }
    return replace(plant, **given)


def _plant(values: dict[str, Value]) -> PlantSpec:
    usual = PlantSpec()
    travel_m, heel_m = _number(values, "feed.travel"), _number(values, "feed.heel")
    gap_m = min(LOAD_GAP_M, 0.5 * (travel_m - heel_m))
    air_pa = _air_pa(values)
    start_s = usual.start_floor_s + usual.start_air_s * (1.0e5 / air_pa) ** 2
    stroke_s = usual.stroke_floor_s + usual.stroke_air_s * 1.0e5 / air_pa
    cut_s, return_s = (
        _IN_TIME * _number(values, key) for key in ("cutter.cut_time", "cutter.return_time")
    )
    slower = cut_s / (start_s + stroke_s)
    stroke_m = _number(values, "cutter.stroke")
    lead_m = _number(values, "feed.lead")
    with_screw = replace(usual, lead_m=lead_m, **_screw(values))
    # A motor that stalls below the limit could never show IL-11.
    least_n_m = with_screw.screw_torque_n_m(1.5 * _number(values, "limits.thrust", 0.0))
    return replace(
        with_screw,
        bore_m=_number(values, "feed.bore"),
        # One margin lies behind each soft limit, and the board's position 0 at the rear one.
        tube_m=travel_m + REAR_MARGIN_M - gap_m,
        clearance_m=REAR_MARGIN_M + gap_m,
        load_gap_m=gap_m,
        heel_m=heel_m,
        nozzle_m=_number(values, "nozzle.bore"),
        steps_per_turn=round(_number(values, "feed.steps_per_turn")),
        microsteps=round(_number(values, "feed.microsteps")),
        # People set the rise that means contact well above what the seal drags.
        seal_n=min(usual.seal_n, 0.5 * _number(values, "limits.contact")),
        springback_m=0.0 if values["feed.keeps_position"] else usual.springback_m,
        motor_n_m=max(usual.motor_n_m, least_n_m),
        stroke_m=stroke_m,
        cut_at_m=0.6 * stroke_m,
        start_floor_s=usual.start_floor_s * slower,
        start_air_s=usual.start_air_s * slower,
        stroke_floor_s=usual.stroke_floor_s * slower,
        stroke_air_s=usual.stroke_air_s * slower,
        return_ratio=max(0.1, (return_s / slower - start_s) / stroke_s),
        air_pa=air_pa,
    )


_THREADS = {"trapezoidal": (0.5, 15.0), "metric": (0.65, 30.0), "square": (0.5, 0.0),
            "acme": (0.5, 14.5)}  # fmt: skip
"""Kind of thread to the pitches between its outside and its pitch diameter, and half its flank
angle [degrees]. Source: ISO 2904 and ISO 68-1, as in textbooks of machine design."""


def _screw(values: dict[str, Value]) -> dict[str, Any]:
    """What decides how much a motor pushes and whether the screw runs back; a card without the
    screw's diameter leaves it as it is usual."""
    if "feed.screw" not in values:
        return {}
    pitches, flank_deg = _THREADS[str(values["screw.thread"])]
    pitch_m = _number(values, "feed.lead") / _number(values, "feed.starts")
    return {
        "screw_diameter_m": _number(values, "feed.screw") - pitches * pitch_m,
        "screw_friction": _number(values, "screw.friction"),
        "screw_flank_rad": math.radians(flank_deg),
    }


def _air_pa(values: dict[str, Value]) -> float:
    """The air that the card's limits are made for: the usual one where it fits, else their
    middle."""
    low = _number(values, "limits.air_min", 0.0)
    high = _number(values, "limits.air_max", 2.0 * _USUAL_AIR_PA)
    return _USUAL_AIR_PA if low < _USUAL_AIR_PA < high else 0.5 * (low + high)


def _number(values: dict[str, Value], path: str, default: float | None = None) -> float:
    value = values.get(path, default)
    if not isinstance(value, int | float):
        raise ValueError(f"The bench card has no number under '{path}'; add it there.")
    return value
