"""Flow of air through valve and hose by ISO 6358, and how long it takes to fill the cylinder."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import (
    REFERENCE_PA,
    Impossible,
    Row,
    disc_area,
    flow_share,
    not_negative,
    positive,
)

REFERENCE_K = 293.15
"""Temperature of the reference atmosphere of ISO 8778 [K]."""

REFERENCE_KG_M3 = 1.185
"""Its density [kg/m^3]."""


def mass_flow(
    supply_pa: float, *, behind_pa: float, conductance: float, critical: float, supply_k: float
) -> float:
    """Return the mass flow of air through a component.

    C p1 rho0 sqrt(T0/T1) times the share of `flow_share`.

    Parameters:  supply_pa : scalar, float [Pa], > 0; absolute. behind_pa : scalar, float [Pa],
        >= 0; absolute. conductance : scalar, float [m^3/(s Pa)], > 0; sonic, C. critical : scalar,
        float [-], 0 to below 1; b. supply_k : scalar, float [K], > 0
    Returns:     flow : scalar, float [kg/s]; 0 where nothing drives it
    Raises:      Impossible: names the argument
    Source:      ISO 6358-1
    Example:     1e-8, b 0.35, 700 to 500 kPa at 293.15 K: 0.00686988 kg/s, computed elsewhere.
    """
    positive(supply_pa=supply_pa, conductance=conductance, supply_k=supply_k)
    not_negative(behind_pa=behind_pa)
    choked = conductance * supply_pa * REFERENCE_KG_M3 * math.sqrt(REFERENCE_K / supply_k)
    return choked * flow_share(behind_pa / supply_pa, critical=critical)


def fill_time(
    to_pa: float,
    *,
    from_pa: float,
    supply_pa: float,
    volume_m3: float,
    conductance: float,
    critical: float,
) -> float:
    """Return how long a volume takes to fill at one temperature.

    Choked up to b of the supply: V (r - r0) / (C p0), then
    V (1-b)/(C p0) (asin((r-b)/(1-b)) - asin((r0-b)/(1-b))); r is pressure over supply.

    Parameters:  to_pa, from_pa, supply_pa : scalars, float [Pa], > 0; absolute, from <= to <=
        supply. volume_m3 : scalar, float [m^3], > 0. conductance : scalar, float [m^3/(s Pa)],
        > 0. critical : scalar, float [-], 0 to below 1
    Returns:     time : scalar, float [s]
    Raises:      Impossible: names the argument
    Validity:    isothermal at 20 C; a quick, adiabatic fill takes about 1/1.4 of it.
    Source:      ISO 6358-1 and the ideal gas law, integrated; p0 is 100 kPa (ISO 8778)
    Example:     10 cm3 from 1 to 3 bar of 3 bar, C 3e-9, b 0.3: 35.5 ms (scipy's solve_ivp).
    """
    positive(to_pa=to_pa, from_pa=from_pa, supply_pa=supply_pa, volume_m3=volume_m3)
    positive(conductance=conductance)
    if not from_pa <= to_pa <= supply_pa * (1 + 1e-12):
        raise Impossible("'to_pa' does not lie between 'from_pa' and 'supply_pa'.")
    flow_share(0.0, critical=critical)  # Refuses an impossible ratio.
    begin, end = from_pa / supply_pa, min(1.0, to_pa / supply_pa)
    choked = max(0.0, min(end, critical) - begin)
    rest = 1 - critical
    begin_angle = math.asin((max(begin, critical) - critical) / rest)
    end_angle = math.asin((max(end, critical, begin) - critical) / rest)
    share = choked + rest * (end_angle - begin_angle)
    return share * volume_m3 / (conductance * REFERENCE_PA)


def in_series(first: float, *, second: float, critical: float) -> float:
    """Return the conductance of two components, the first one's outlet feeding the second.

    C2 x with the second choked, x the pressure between over the supply's: C1/C2 where that is at
    most b, so that the first is choked too, else what C1^2 (1 - ((x-b)/(1-b))^2) = C2^2 x^2 gives,
    (b + (1-b) sqrt(1 + k^2 (1-2b))) / (1 + k^2 (1-b)^2), k = C2/C1.

    Parameters:  first, second : scalars, float [m^3/(s Pa)], > 0; in the direction of the flow.
        critical : scalar, float [-], 0 to below 1; b of either
    Returns:     conductance : scalar, float [m^3/(s Pa)]; at most either
    Raises:      Impossible: names the argument
    Validity:    one temperature, and no pressure won back between the two.
    Source:      ISO 6358-1, its equations for both, the same mass through either
    Example:     two alike, b 0.3: 0.757 of one, and 0.707 at b 0, by hand.
    """
    positive(first=first, second=second)
    flow_share(0.0, critical=critical)  # Refuses an impossible ratio.
    k = second / first
    if k * critical >= 1:
        return first
    rest = 1 - critical
    between = (critical + rest * math.sqrt(1 + k**2 * (1 - 2 * critical))) / (1 + (k * rest) ** 2)
    return second * between


def critical_in_series(
    series: float, *, upstream: float, downstream: float, critical: float
) -> float:
    """Return the critical ratio of two components one behind the other.

    1 - C^2 (1-b) (1/C1^2 + 1/C2^2): the drops of pressure of small flows add.

    Parameters:  series : scalar, float [m^3/(s Pa)], > 0; C, as `in_series` gives it.
        upstream, downstream : scalars, float [m^3/(s Pa)], > 0. critical : scalar, float [-], 0 to
        below 1; b of either
    Returns:     ratio : scalar, float [-], 0 to b
    Raises:      Impossible: names the argument
    Validity:    filling times by it and `in_series` are within 1 % of the two equations of
        ISO 6358-1 worked out step by step (tests).
    Source:      common practice of makers of air components, after ISO 6358; from memory
    Example:     two alike, b 0.3: 0.197, by hand.
    """
    positive(series=series, upstream=upstream, downstream=downstream)
    flow_share(0.0, critical=critical)  # Refuses an impossible ratio.
    drops = series**2 * (1 - critical) * (upstream**-2 + downstream**-2)
    return max(0.0, 1 - drops)


def _starts(
    p: float, ambient: float, bore: float, dead: float, fill: float, b: float, breakaway: float,
    spring: float, shift: float,
) -> float:  # fmt: skip
    starts_pa = (breakaway + spring) / disc_area(bore)
    if starts_pa >= p:
        raise Impossible("'cutter.breakaway' and spring are more than the cylinder can push.")
    return shift + fill_time(
        ambient + starts_pa, from_pa=ambient, supply_pa=ambient + p, volume_m3=dead,
        conductance=fill, critical=b,
    )  # fmt: skip


_PARTS = ("valve.conductance", "hose.conductance", "valve.critical")

ROWS = (
    Row("air.conductance", "valve and hose together", "l/s/bar",
        "ISO 6358 for both, the hose choked", _PARTS,
        lambda valve, hose, b: in_series(valve, second=hose, critical=b),
        "What fills the cylinder; the makers' own figures are better than common practice."),
    Row("air.critical", "their critical ratio", "", "1 - C^2 (1-b) (1/C1^2 + 1/C2^2)",
        ("air.conductance", *_PARTS),
        lambda both, valve, hose, b: critical_in_series(
            both, upstream=valve, downstream=hose, critical=b),
        "Up to this ratio of pressures the flow is the most there is."),
    Row("air.flow", "flow of air at its most", "l/min", "ISO 6358, choked, as free air (ANR)",
        ("cutter.pressure", "room.pressure", "air.conductance", "air.critical"),
        lambda p, pa, c, b: mass_flow(
            p + pa, behind_pa=0.0, conductance=c, critical=b, supply_k=REFERENCE_K
        ) / REFERENCE_KG_M3,
        "Hose and regulator must pass this while the cylinder fills."),
    Row("air.dead", "dead volume with its hose", "cm3", "dead volume + pi d^2/4 x hose",
        ("cutter.dead", "hose.length", "hose.bore"),
        lambda dead, hose, bore: dead + disc_area(bore) * hose,
        "Of one end; it is filled before the blade moves, and again in each cut."),
    Row("air.volume", "volume of cylinder and hose", "cm3", "A S + dead volume with its hose",
        ("cutter.bore", "cutter.stroke", "air.dead"),
        lambda bore, stroke, dead: disc_area(bore) * stroke + dead,
        "It holds air at pressure until it is vented."),
    Row("air.fill", "time to fill it", "ms", "isothermal fill by ISO 6358, to 95 %",
        ("cutter.pressure", "room.pressure", "air.volume", "air.conductance", "air.critical"),
        lambda p, pa, volume, c, b: fill_time(
            pa + 0.95 * p, from_pa=pa, supply_pa=p + pa, volume_m3=volume, conductance=c,
            critical=b),
        "Without the needle; the force of a cut is there after this."),
    Row("cutter.delay", "start delay", "ms", "filling by ISO 6358, and the valve's shift",
        ("cutter.pressure", "room.pressure", "cutter.bore", "air.dead", "air.conductance",
         "air.critical", "cutter.breakaway", "cutter.spring", "valve.shift"), _starts,
        "From command to first motion; it grows when the supply sinks.",
        only=(("cutter.acting", "single"),)),
)  # fmt: skip
"""Rows of the sheet."""
