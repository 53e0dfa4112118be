"""Steps of the feed: way and grams of one step, and how many steps a second a speed takes."""

from __future__ import annotations

from benchd.calc.sizing.base import Limit, Row, disc_area, positive


def step_way(lead_m: float, *, steps_per_turn: float, microsteps: float) -> float:
    """Return the way of the plunger in one microstep.

    l / (z m).

    Parameters:  lead_m : scalar, float [m], > 0. steps_per_turn : scalar, float [-], > 0; full
        steps. microsteps : scalar, float [-], > 0; per full step
    Returns:     way : scalar, float [m]
    Raises:      Impossible: names the argument that is not above zero
    Source:      geometry
    Example:     lead 8 mm, 200 steps, 16 microsteps: 2.5 um, 400 steps per mm, by hand.
    """
    positive(lead_m=lead_m, steps_per_turn=steps_per_turn, microsteps=microsteps)
    return lead_m / (steps_per_turn * microsteps)


def mass_per_way(bore_m: float, *, density_kg_m3: float) -> float:
    """Return the mass that leaves for each metre of feed.

    rho pi D^2 / 4.

    Parameters:  bore_m : scalar, float [m], > 0. density_kg_m3 : scalar, float [kg/m^3], > 0
    Returns:     mass per way : scalar, float [kg/m]
    Raises:      Impossible: names the argument that is not above zero
    Source:      mass is kept
    Example:     25 mm bore, 1 mm, 1.2 g/cm3: 0.58905 g, by hand.
    """
    positive(density_kg_m3=density_kg_m3)
    return disc_area(bore_m) * density_kg_m3


def step_rate(speed_m_s: float, *, way_m: float) -> float:
    """Return the steps a second of a feed speed.

    v / s.

    Parameters:  speed_m_s : scalar, float [m/s], > 0. way_m : scalar, float [m], > 0; of one step
    Returns:     rate : scalar, float [1/s]
    Raises:      Impossible: names the argument that is not above zero
    Source:      kinematics
    Example:     M8x1.25 at 100 rpm moves 2.08333 mm/s: 333.33 full steps of 200 a turn, by hand.
    """
    positive(speed_m_s=speed_m_s, way_m=way_m)
    return speed_m_s / way_m


ROWS = (
    Row("feed.step", "one microstep", "um", "way of a step: lead / (steps per turn x microsteps)",
        ("feed.lead", "feed.steps_per_turn", "feed.microsteps"),
        lambda lead, steps, micro: step_way(lead, steps_per_turn=steps, microsteps=micro),
        "So finely is a stroke divided."),
    Row("feed.mass_per_way", "dough for a mm of feed", "g/mm", "barrel: density x pi D^2 / 4",
        ("feed.bore", "density"), lambda bore, rho: mass_per_way(bore, density_kg_m3=rho),
        "So much leaves for each millimetre of the plunger, once the dough is packed."),
    Row("feed.mass_step", "smallest step of mass", "mg", "step x dough per way",
        ("feed.step", "feed.mass_per_way"), lambda step, per_way: step * per_way,
        "A stroke cannot be set finer than this.",
        Limit("most", "portion.tolerance_kg", "One step is more than a portion may be off: use "
              "more microsteps, a smaller lead or a narrower barrel.", 10.0)),
    Row("feed.speed", "speed of the push", "mm/s", "the dough card's push speed", ("push_speed",),
        lambda speed: speed, "Without a dough card it is the bench's top speed.",
        Limit("most", "feed.top_speed", "Faster than this bench was proven to feed without lost "
              "steps: push slower.")),
    Row("feed.rate", "microsteps a second", "1/s", "rate: push speed / step",
        ("push_speed", "feed.step"), lambda speed, way: step_rate(speed, way_m=way),
        "The board can make so many steps at the working speed.",
        Limit("most", "board.rate_max", "The board cannot make steps this fast: use fewer "
              "microsteps or a slower push.", 1.2)),
    Row("feed.full_rate", "full steps a second", "1/s", "rate / microsteps",
        ("feed.rate", "feed.microsteps"), lambda rate, micro: rate / micro,
        "The motor's torque at the working speed is read at this rate."),
)  # fmt: skip
"""Rows of the sheet."""
