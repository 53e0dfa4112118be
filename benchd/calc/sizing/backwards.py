"""From the portion that is wanted back to nozzle, cutter travel, pressure and needle."""

from __future__ import annotations

from benchd.calc.sizing.base import (
    REFERENCE_PA,
    Limit,
    Row,
    disc_area,
    flow_share,
    not_negative,
    positive,
    ring_area,
)

REACH_SHARE = 0.6
"""Share of the cutter's stroke that a strand may be wide (common practice)."""

CUT_MARGIN = 2.0
"""Force of the cylinder over the force of the cut (common practice)."""


def nozzle_bore(thickness_m: float, *, swell: float) -> float:
    """Return the nozzle that gives a strand of a thickness.

    d / swell.

    Parameters:  thickness_m : scalar, float [m], > 0. swell : scalar, float [-], > 0
    Returns:     bore : scalar, float [m]
    Raises:      Impossible: names the argument that is not above zero
    Source:      definition of the swell
    Example:     25 mm at 1.1: 22.7 mm, by hand.
    """
    positive(thickness_m=thickness_m, swell=swell)
    return thickness_m / swell


def cutter_travel(thickness_m: float) -> float:
    """Return the stroke that a cutter needs for a strand.

    d / 0.6.

    Parameters:  thickness_m : scalar, float [m], > 0
    Returns:     stroke : scalar, float [m]
    Raises:      Impossible: names the argument that is not above zero
    Source:      common practice: a portion at most 0.6 of the blade's stroke wide
    Example:     30 mm: 50 mm, by hand.
    """
    positive(thickness_m=thickness_m)
    return thickness_m / REACH_SHARE


def working_pressure(cut_n: float, *, friction_n: float, bore_m: float) -> float:
    """Return the lowest pressure that cuts with twice the force of the cut to spare for doubt.

    (2 F_cut + F_friction) / (pi D^2 / 4).

    Parameters:  cut_n : scalar, float [N], > 0. friction_n : scalar, float [N], >= 0. bore_m :
        scalar, float [m], > 0
    Returns:     pressure : scalar, float [Pa], gauge
    Raises:      Impossible: names the argument
    Source:      balance of forces; the factor of two is common practice
    Example:     12.5 N, 4 N, 16 mm: 1.44 bar, by hand.
    """
    positive(cut_n=cut_n)
    not_negative(friction_n=friction_n)
    return (CUT_MARGIN * cut_n + friction_n) / disc_area(bore_m)


def needle_for(
    speed_m_s: float, *, back_pa: float, ambient_pa: float, area_m2: float, critical: float
) -> float:
    """Return the conductance of the needle that gives a blade its speed.

    v A2 / (p0 share): the even motion behind a needle, solved for C.

    Parameters:  speed_m_s : scalar, float [m/s], > 0. back_pa : scalar, float [Pa], > 0; gauge,
        on the rod's side. ambient_pa : scalar, float [Pa], > 0. area_m2 : scalar, float [m^2],
        > 0; of the rod's side. critical : scalar, float [-]; b
    Returns:     conductance : scalar, float [m^3/(s Pa)]
    Raises:      Impossible: names the argument
    Source:      ISO 6358-1; p0 is 100 kPa (ISO 8778)
    Example:     0.289 m/s on 173 mm2, choked: 5e-10, by hand.
    """
    positive(speed_m_s=speed_m_s, back_pa=back_pa, ambient_pa=ambient_pa, area_m2=area_m2)
    share = flow_share(ambient_pa / (ambient_pa + back_pa), critical=critical)
    return speed_m_s * area_m2 / (REFERENCE_PA * share)


def _needle(
    speed: float, pressure: float, ambient: float, bore: float, rod: float, drag: float, b: float
) -> float:
    back = ring_area(bore, rod_m=rod)
    back_pa = (pressure * disc_area(bore) - drag) / back
    return needle_for(speed, back_pa=back_pa, ambient_pa=ambient, area_m2=back, critical=b)


STRAND_ROWS = (
    Row("for.nozzle", "nozzle bore", "mm", "thickness / swell", ("thickness", "swell"),
        lambda thick, swell: nozzle_bore(thick, swell=swell),
        "Measure the swell on a strand, and the nozzle itself.",
        Limit("most", "feed.bore", "The nozzle would be wider than the barrel.", 1.2)),
    Row("strand.diameter", "diameter of the strand", "mm", "as wanted", ("thickness",),
        lambda thick: thick, "As it is wanted."),
)  # fmt: skip
"""First rows, of the strand."""

_PRESSURE = Row(
    "for.pressure", "pressure of the cutter", "bar", "(2 x cut + friction + spring) / area",
    ("cutter.needs", "cutter.friction", "cutter.against", "cutter.bore"),
    lambda cut, drag, spring, bore: working_pressure(cut, friction_n=drag + spring, bore_m=bore),
    "The lowest that cuts with twice the force; more only throws further.",
    Limit("most", "limits.air_max", "More than the card allows for a cut: a larger cylinder or "
          "a thinner strand."),
    safety="The blade cuts fingers at any of these pressures: guard first.",
    caution_above=0.0, only=(("air.least", "open"),),
)  # fmt: skip

PRESSURE_ROWS = (
    _PRESSURE,
    _PRESSURE._replace(
        formula=f"{_PRESSURE.formula}, at least limits.air_min",
        needs=(*_PRESSURE.needs, "limits.air_min"),
        compute=lambda cut, drag, spring, bore, least: max(
            least, working_pressure(cut, friction_n=drag + spring, bore_m=bore)
        ),
        says="The lowest that cuts with twice the force and that the card lets cut (IL-16); more "
        "only throws further.",
        only=(("air.least", "given"),),
    ),
)
"""The pressure to set: with and without a least one on the card."""

CUTTER_ROWS = (
    Row("for.travel", "cutter travel", "mm", "thickness / 0.6", ("thickness",), cutter_travel,
        "The blade passes the strand and has way to gather speed.",
        Limit("most", "cutter.stroke", "This cutter's stroke is shorter than it should be for such "
              "a strand.", soft=True)),
    *PRESSURE_ROWS,
    Row("for.needle", "needle", "l/s/bar", "v A2 / (p0 share), ISO 6358 solved for C",
        ("clean_speed", "for.pressure", "room.pressure", "cutter.bore", "cutter.rod",
         "cutter.friction", "valve.critical"), _needle,
        "Set it by the time of the stroke: this gives the slowest blade that cuts clean.",
        only=(("cutter.acting", "double"),)),
    Row("cutter.speed", "speed of the blade", "m/s", "slowest that cuts clean", ("clean_speed",),
        lambda speed: speed, "The slowest blade that cuts clean throws least.",
        only=(("cutter.acting", "double"),)),
    Row("for.time", "time of the way out", "ms", "stroke / speed", ("cutter.stroke", "clean_speed"),
        lambda way, speed: way / speed, "Close the needle until the stroke takes this long.",
        only=(("cutter.acting", "double"),)),
)  # fmt: skip
"""Rows of the cutter; the force of the cut comes before them, the throw after."""
