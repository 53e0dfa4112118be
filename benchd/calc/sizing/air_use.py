"""Air that the cutter uses: free air a cycle, and how long the compressor runs for it."""

from __future__ import annotations

from benchd.calc.sizing.base import (
    REFERENCE_PA,
    Limit,
    Row,
    disc_area,
    not_negative,
    positive,
    ring_area,
)


def air_per_cycle(
    pressure_pa: float,
    *,
    ambient_pa: float,
    bore_m: float,
    rod_m: float,
    stroke_m: float,
    dead_m3: float,
) -> float:
    """Return the free air of one stroke out and back of a double-acting cylinder.

    ((A1 + A2) S (p + pa) + V p) / 100 kPa: filled at one temperature; V is never emptied of pa.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge. ambient_pa : scalar, float [Pa],
        > 0. bore_m, rod_m, stroke_m : scalars, float [m], > 0; the rod below the bore,
        0 is allowed. dead_m3 : scalar, float [m^3], >= 0; V, of both ends with their hoses
    Returns:     volume : scalar, float [m^3] at the reference atmosphere (ISO 8778, ANR)
    Raises:      Impossible: names the argument
    Source:      ISO 8778 (reference: 100 kPa, 20 C) and Boyle's law
    Example:     20/8 mm, 50 mm, 2 bar, 1.01325 bar, no dead volume: 0.087091 l.
    """
    swept_m2 = disc_area(bore_m) + ring_area(bore_m, rod_m=rod_m)
    return _free_air(pressure_pa, ambient_pa, swept_m2, stroke_m=stroke_m, dead_m3=dead_m3)


def air_single(
    pressure_pa: float, *, ambient_pa: float, bore_m: float, stroke_m: float, dead_m3: float
) -> float:
    """Return the free air of one stroke of a single-acting cylinder, which a spring brings back.

    (A S (p + pa) + V p) / 100 kPa.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge. ambient_pa : scalar, float [Pa],
        > 0. bore_m, stroke_m : scalars, float [m], > 0. dead_m3 : scalar, float [m^3], >= 0; V,
        of the end with its hose
    Returns:     volume : scalar, float [m^3] at the reference atmosphere (ISO 8778, ANR)
    Raises:      Impossible: names the argument
    Source:      ISO 8778 and Boyle's law
    Example:     20 mm, 50 mm, 2 bar, 1.01325 bar, no dead volume: 0.04733 l, by hand.
    """
    swept_m2 = disc_area(bore_m)
    return _free_air(pressure_pa, ambient_pa, swept_m2, stroke_m=stroke_m, dead_m3=dead_m3)


def _free_air(
    pressure_pa: float, ambient_pa: float, swept_m2: float, *, stroke_m: float, dead_m3: float
) -> float:
    not_negative(pressure_pa=pressure_pa, dead_m3=dead_m3)
    positive(ambient_pa=ambient_pa, stroke_m=stroke_m)
    swept_m3 = swept_m2 * stroke_m
    return (swept_m3 * (pressure_pa + ambient_pa) + dead_m3 * pressure_pa) / REFERENCE_PA


def duty(air_m3: float, *, period_s: float, delivery_m3_s: float) -> float:
    """Return which share of the time a compressor runs.

    air / (period x free-air delivery).

    Parameters:  air_m3 : scalar, float [m^3], >= 0; free air a cycle. period_s : scalar, float
        [s], > 0. delivery_m3_s : scalar, float [m^3/s], > 0; free air at the working pressure
    Returns:     share : scalar, float [-]; above 1 the pressure falls
    Raises:      Impossible: names the argument
    Source:      mass is kept
    Example:     0.09 l every 4 s from 25 l/min: 5.4 %, by hand.
    """
    not_negative(air_m3=air_m3)
    positive(period_s=period_s, delivery_m3_s=delivery_m3_s)
    return air_m3 / (period_s * delivery_m3_s)


_AIR = ("cutter.pressure", "room.pressure", "cutter.bore")

ROWS = (
    Row("air.cycle", "free air of a cut", "l", "((A1+A2) S (p+pa) + 2 V p) / 100 kPa (ISO 8778)",
        (*_AIR, "cutter.rod", "cutter.stroke", "air.dead"),
        lambda p, pa, bore, rod, way, dead: air_per_cycle(
            p, ambient_pa=pa, bore_m=bore, rod_m=rod, stroke_m=way, dead_m3=2 * dead),
        "Out and back, with dead volumes and a hose at either end.",
        only=(("cutter.acting", "double"),)),
    Row("air.cycle", "free air of a cut", "l", "(A S (p+pa) + V p) / 100 kPa (ISO 8778)",
        (*_AIR, "cutter.stroke", "air.dead"),
        lambda p, pa, bore, way, dead: air_single(
            p, ambient_pa=pa, bore_m=bore, stroke_m=way, dead_m3=dead),
        "The way out, with dead volume and hose; the spring brings the rod home.",
        only=(("cutter.acting", "single"),)),
    Row("compressor.duty", "compressor runs", "%", "air / (period x delivery)",
        ("air.cycle", "period.shortest", "compressor.delivery"),
        lambda air, period, gives: duty(air, period_s=period, delivery_m3_s=gives),
        "Share of the time in a series at its shortest period; leaks come on top.",
        Limit("most", 1.0, "The compressor cannot keep up: the pressure falls during a series.",
              2.0)),
)  # fmt: skip
"""Rows of the sheet."""
