"""Time from the valve's command until the blade leaves its home: it shows the supply's pressure."""

from __future__ import annotations

from benchd.calc.sizing.base import (
    REFERENCE_PA,
    Impossible,
    Row,
    disc_area,
    flow_share,
    not_negative,
    positive,
    ring_area,
)

STEP_SHARE = 0.002
"""Step of the integration, as a share of the quicker chamber's time."""

NEARLY = 1e-4
"""Share of the pressure that is left where a chamber counts as full or empty."""

STEPS_MAX = 20_000


def start_delay(
    pressure_pa: float,
    *,
    ambient_pa: float,
    area_out_m2: float,
    area_back_m2: float,
    volume_out_m3: float,
    volume_back_m3: float,
    fill: float,
    fill_critical: float,
    needle: float,
    needle_critical: float,
    breakaway_n: float,
) -> float:
    """Return how long the piston rests while one side fills and the other empties.

    dp1/dt = C1 ps p0 share / V1 and dp2/dt = -C2 p2 p0 share / V2, until p1 A1 - p2 A2 (gauge) is
    the force of breaking away; middle-point rule.

    Parameters:  pressure_pa : scalar, float [Pa], > 0; gauge, of the supply. ambient_pa : scalar,
        float [Pa], > 0. area_out_m2, area_back_m2 : scalars, float [m^2], > 0. volume_out_m3,
        volume_back_m3 : scalars, float [m^3], > 0; at rest, with dead volume and hose. fill,
        needle : scalars, float [m^3/(s Pa)], > 0. fill_critical, needle_critical : scalars, float
        [-]; b of each. breakaway_n : scalar, float [N], >= 0
    Returns:     time : scalar, float [s]
    Raises:      Impossible: names the argument; also where the piston never moves
    Validity:    isothermal; the valve's own shift time comes on top.
    Source:      ISO 6358-1 and the ideal gas law; p0 is 100 kPa (ISO 8778)
    Example:     scipy's solve_ivp gives the same to 1e-4 (tests).
    """
    positive(pressure_pa=pressure_pa, ambient_pa=ambient_pa, area_out_m2=area_out_m2)
    positive(area_back_m2=area_back_m2, volume_out_m3=volume_out_m3, volume_back_m3=volume_back_m3)
    positive(fill=fill, needle=needle)
    not_negative(breakaway_n=breakaway_n)
    supply_pa = ambient_pa + pressure_pa
    if pressure_pa * area_out_m2 <= breakaway_n:
        raise Impossible("'breakaway_n' is more than the cylinder can push; the blade stays.")
    rate_out = fill * REFERENCE_PA / volume_out_m3
    rate_back = needle * REFERENCE_PA / volume_back_m3

    def rise(p_pa: float) -> float:
        return rate_out * supply_pa * flow_share(p_pa / supply_pa, critical=fill_critical)

    def fall(p_pa: float) -> float:
        return -rate_back * p_pa * flow_share(ambient_pa / p_pa, critical=needle_critical)

    def over(out_pa: float, back_pa: float) -> float:
        return (
            (out_pa - ambient_pa) * area_out_m2
            - (back_pa - ambient_pa) * area_back_m2
            - breakaway_n
        )

    out_pa, back_pa, t_s = ambient_pa, supply_pa, 0.0
    for _ in range(STEPS_MAX):
        # A chamber that has its last pressure no longer sets the step.
        busy = rate_back if out_pa == supply_pa else max(rate_out, rate_back)
        step_s = STEP_SHARE / (rate_out if back_pa == ambient_pa else busy)
        before = over(out_pa, back_pa)
        out_next = out_pa + step_s * rise(min(supply_pa, out_pa + step_s / 2 * rise(out_pa)))
        back_next = back_pa + step_s * fall(max(ambient_pa, back_pa + step_s / 2 * fall(back_pa)))
        if supply_pa - out_next < NEARLY * pressure_pa:
            out_next = supply_pa
        if back_next - ambient_pa < NEARLY * pressure_pa:
            back_next = ambient_pa
        after = over(out_next, back_next)
        if after >= 0:
            return t_s + step_s * (-before / (after - before) if before < 0 else 0.0)
        out_pa, back_pa, t_s = out_next, back_next, t_s + step_s
    raise Impossible("'needle' is so tight that the blade does not leave its home in time.")


def _delay(
    p: float, ambient: float, bore: float, rod: float, stroke: float, dead: float, filled: float,
    fill: float, fill_b: float, needle: float, needle_b: float, breakaway: float, shift: float,
) -> float:  # fmt: skip
    back = ring_area(bore, rod_m=rod)
    return shift + start_delay(
        p, ambient_pa=ambient, area_out_m2=disc_area(bore), area_back_m2=back,
        volume_out_m3=filled, volume_back_m3=back * stroke + dead, fill=fill, fill_critical=fill_b,
        needle=needle, needle_critical=needle_b, breakaway_n=breakaway,
    )  # fmt: skip


ROWS = (
    Row("cutter.delay", "start delay", "ms", "two chambers by ISO 6358, and the valve's shift",
        ("cutter.pressure", "room.pressure", "cutter.bore", "cutter.rod", "cutter.stroke",
         "cutter.dead", "air.dead", "air.conductance", "air.critical", "needle.conductance",
         "valve.critical", "cutter.breakaway", "valve.shift"), _delay,
        "From command to first motion; it grows when the supply sinks, the stroke hardly does.",
        only=(("cutter.acting", "double"),)),
)  # fmt: skip
"""Rows of the sheet."""
