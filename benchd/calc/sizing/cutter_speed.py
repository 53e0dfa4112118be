"""Speed of the blade behind a needle on the exhaust, and the time of its stroke."""

from __future__ import annotations

from benchd.calc.sizing.base import (
    REFERENCE_PA,
    Impossible,
    Limit,
    Row,
    disc_area,
    flow_share,
    not_negative,
    positive,
    ring_area,
)


def back_pressure(
    pressure_pa: float, *, area_out_m2: float, area_back_m2: float, load_n: float
) -> float:
    """Return the pressure on the rod's side while the blade moves evenly.

    (p1 A1 - F) / A2.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge, behind the piston. area_out_m2,
        area_back_m2 : scalars, float [m^2], > 0. load_n : scalar, float [N], >= 0
    Returns:     pressure : scalar, float [Pa], gauge
    Raises:      Impossible: names the argument; also where the load is more than the cylinder has
    Source:      balance of forces on the piston
    Example:     2 bar, 201 and 173 mm2, 6 N: 1.98 bar, by hand.
    """
    not_negative(pressure_pa=pressure_pa, load_n=load_n)
    positive(area_out_m2=area_out_m2, area_back_m2=area_back_m2)
    left_n = pressure_pa * area_out_m2 - load_n
    if left_n <= 0:
        raise Impossible("'load_n' (friction, spring) is more than the cylinder can push.")
    return left_n / area_back_m2


def speed(
    back_pa: float, *, ambient_pa: float, area_m2: float, conductance: float, critical: float
) -> float:
    """Return the even speed of a piston whose exhaust a needle throttles.

    C p0 / A2 times the share of `flow_share`: choked, it does not show the supply's pressure.

    Parameters:  back_pa : scalar, float [Pa], > 0; gauge, on the rod's side. ambient_pa : scalar,
        float [Pa], > 0. area_m2 : scalar, float [m^2], > 0; of the rod's side. conductance :
        scalar, float [m^3/(s Pa)], > 0; of the needle. critical : scalar, float [-]; b
    Returns:     speed : scalar, float [m/s]
    Raises:      Impossible: names the argument
    Validity:    even motion at one temperature. After an air dump there is no cushion and the
        first stroke is several times as fast.
    Source:      ISO 6358-1 and the mass that leaves a shrinking chamber; p0 is 100 kPa (ISO 8778)
    Example:     5e-10, 173 mm2, choked: 0.289 m/s, by hand.
    """
    positive(back_pa=back_pa, ambient_pa=ambient_pa, area_m2=area_m2, conductance=conductance)
    share = flow_share(ambient_pa / (ambient_pa + back_pa), critical=critical)
    return conductance * REFERENCE_PA * share / area_m2


def fill_bound_speed(
    pressure_pa: float, *, ambient_pa: float, area_m2: float, load_n: float, conductance: float,
    critical: float,
) -> float:  # fmt: skip
    """Return the even speed that the filling side allows, with an open exhaust.

    v = C p1s p0 share / (p A1), p = pa + F/A1 in the chamber, p1s the supply.

    Parameters:  pressure_pa : scalar, float [Pa], > 0; gauge, of the supply. ambient_pa : scalar,
        float [Pa], > 0. area_m2 : scalar, float [m^2], > 0. load_n : scalar, float [N], >= 0.
        conductance : scalar, float [m^3/(s Pa)], > 0; of valve and hose. critical : scalar [-]
    Returns:     speed : scalar, float [m/s]
    Raises:      Impossible: names the argument; also where the load is more than the cylinder has
    Source:      ISO 6358-1 and the mass that fills a growing chamber
    Example:     2 bar, 201 mm2, 6 N, 3e-9, b 0.3: 3.363 m/s, by hand.
    """
    positive(pressure_pa=pressure_pa, ambient_pa=ambient_pa, area_m2=area_m2)
    positive(conductance=conductance)
    not_negative(load_n=load_n)
    inside_pa = ambient_pa + load_n / area_m2
    supply_pa = ambient_pa + pressure_pa
    if inside_pa >= supply_pa:
        raise Impossible("'load_n' (friction, spring) is more than the cylinder can push.")
    share = flow_share(inside_pa / supply_pa, critical=critical)
    return conductance * supply_pa * REFERENCE_PA * share / (inside_pa * area_m2)


def _speed(
    p: float, ambient: float, bore: float, rod: float, drag: float, needle: float, needle_b: float,
    fill: float, fill_b: float,
) -> float:  # fmt: skip
    out, back = disc_area(bore), ring_area(bore, rod_m=rod)
    back_pa = back_pressure(p, area_out_m2=out, area_back_m2=back, load_n=drag)
    behind = speed(back_pa, ambient_pa=ambient, area_m2=back, conductance=needle, critical=needle_b)
    # Whichever side passes less sets the pace.
    return min(
        behind,
        fill_bound_speed(
            p, ambient_pa=ambient, area_m2=out, load_n=drag, conductance=fill, critical=fill_b
        ),
    )


ROWS = (
    Row("cutter.speed", "speed of the blade", "m/s", "meter-out by ISO 6358: C p0 share / A2",
        ("cutter.pressure", "room.pressure", "cutter.bore", "cutter.rod", "cutter.friction",
         "needle.conductance", "valve.critical", "air.conductance", "air.critical"), _speed,
        "Even motion behind the needle; the first stroke after an air dump is far faster.",
        Limit("least", "clean_speed", "Slower than what cuts clean: open the needle a little, at "
              "the same pressure; where that does nothing, valve or hose are too narrow.",
              soft=True),
        safety="The first stroke after venting has no cushion: re-fill with the blade held home, "
               "stand clear, and make one dry stroke first.", caution_above=0.5,
        only=(("cutter.acting", "double"),)),
    Row("cutter.speed", "speed of the blade", "m/s", "filling by ISO 6358: C p1 p0 share / (p A1)",
        ("cutter.pressure", "room.pressure", "cutter.bore", "cutter.spring", "cutter.friction",
         "air.conductance", "air.critical"),
        lambda p, pa, bore, spring, drag, c, b: fill_bound_speed(
            p, ambient_pa=pa, area_m2=disc_area(bore), load_n=spring + drag, conductance=c,
            critical=b),
        "Even motion that valve and hose allow, as no needle holds a single-acting cylinder back.",
        Limit("least", "clean_speed", "Slower than what cuts clean.", soft=True),
        safety="Nothing slows this blade: stand clear of the throw, and keep the pressure low.",
        caution_above=0.5, only=(("cutter.acting", "single"),)),
    Row("cutter.time", "time of the way out", "ms", "stroke / speed",
        ("cutter.stroke", "cutter.speed"), lambda way, v: way / v,
        "With a needle it hardly shows the supply's pressure; the start delay does.",
        Limit("most", "cutter.cut_time", "Longer than the card's usual time of a cut: measure it "
              "at the bench.", 1.0, soft=True)),
)  # fmt: skip
"""Rows of the sheet."""
