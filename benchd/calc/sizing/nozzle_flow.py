"""Pressure that drives dough through a nozzle: Newton, Bingham, power law, Herschel-Bulkley."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import Limit, Row, disc_area, not_negative, positive


def newton_pressure(
    flow_m3_s: float, *, viscosity_pa_s: float, bore_m: float, length_m: float
) -> float:
    """Return the pressure over a round passage for a fluid of one viscosity.

    Hagen-Poiseuille: 8 mu L Q / (pi R^4).

    Parameters:  flow_m3_s : scalar, float [m^3/s], >= 0. viscosity_pa_s : scalar, float [Pa s],
        > 0. bore_m : scalar, float [m], > 0. length_m : scalar, float [m], > 0
    Returns:     pressure : scalar, float [Pa]
    Raises:      Impossible: names the argument
    Validity:    laminar, steady, without entry loss.
    Source:      Hagen-Poiseuille equation
    Example:     100 Pa s, R 10 mm, L 0.2 m, 1e-6 m3/s: 5092.958 Pa (library fluids 1.3.1).
    """
    not_negative(flow_m3_s=flow_m3_s)
    positive(viscosity_pa_s=viscosity_pa_s, bore_m=bore_m, length_m=length_m)
    return 8 * viscosity_pa_s * length_m * flow_m3_s / (math.pi * (bore_m / 2) ** 4)


def bingham_flow(
    wall_stress_pa: float, *, yield_pa: float, viscosity_pa_s: float, bore_m: float
) -> float:
    """Return the flow of a Bingham dough at a stress on the wall.

    Buckingham-Reiner: pi R^3 tw / (4 mu) (1 - 4 f/3 + f^4/3), f = t0/tw.

    Parameters:  wall_stress_pa : scalar, float [Pa], >= 0. yield_pa : scalar, float [Pa], >= 0.
        viscosity_pa_s : scalar, float [Pa s], > 0; plastic. bore_m : scalar, float [m], > 0
    Returns:     flow : scalar, float [m^3/s]; 0 up to the yield stress
    Raises:      Impossible: names the argument
    Source:      Buckingham-Reiner equation
    Example:     100 Pa, 20 Pa s, R 10 mm at 200 Pa: 2.781618e-6 m3/s, computed elsewhere.
    """
    not_negative(wall_stress_pa=wall_stress_pa, yield_pa=yield_pa)
    positive(viscosity_pa_s=viscosity_pa_s, bore_m=bore_m)
    if wall_stress_pa <= yield_pa:
        return 0.0
    part = yield_pa / wall_stress_pa
    newton = math.pi * (bore_m / 2) ** 3 * wall_stress_pa / (4 * viscosity_pa_s)
    return newton * (1 - 4 * part / 3 + part**4 / 3)


def herschel_bulkley_flow(
    wall_stress_pa: float, *, yield_pa: float, consistency: float, index: float, bore_m: float
) -> float:
    """Return the flow of a dough with yield stress and power law at a stress on the wall.

    pi R^3 n (tw-t0)^((n+1)/n) / (tw^3 K^(1/n))
    ((tw-t0)^2/(3n+1) + 2 t0 (tw-t0)/(2n+1) + t0^2/(n+1)).

    Parameters:  wall_stress_pa : scalar, float [Pa], >= 0. yield_pa : scalar, float [Pa], >= 0; 0
        is the power law. consistency : scalar, float [Pa s^n], > 0. index : scalar, float [-],
        > 0; n, 1 is Bingham. bore_m : scalar, float [m], > 0
    Returns:     flow : scalar, float [m^3/s]; 0 up to the yield stress
    Raises:      Impossible: names the argument
    Source:      Herschel-Bulkley model in a round pipe, integrated over the section
    Example:     200 Pa, 800 Pa s^0.4, R 10 mm at 2000 Pa: 4.082245e-6 m3/s (scipy's quad).
    """
    not_negative(wall_stress_pa=wall_stress_pa, yield_pa=yield_pa)
    positive(consistency=consistency, index=index, bore_m=bore_m)
    over = wall_stress_pa - yield_pa
    if over <= 0:
        return 0.0
    # Divided by the wall stress throughout, so that small indices do not overflow.
    part, core = over / wall_stress_pa, yield_pa / wall_stress_pa
    shear: float = (over / consistency) ** (1 / index)
    shape = part**2 / (3 * index + 1) + 2 * core * part / (2 * index + 1) + core**2 / (index + 1)
    return float(math.pi * (bore_m / 2) ** 3 * index * part * shear * shape)


def herschel_bulkley_pressure(
    flow_m3_s: float,
    *,
    yield_pa: float,
    consistency: float,
    index: float,
    bore_m: float,
    length_m: float,
) -> float:
    """Return the pressure over a round passage for a dough with yield stress and power law.

    2 L tw / R, with tw found by halving between the yield stress and a bound above it.

    Parameters:  flow_m3_s : scalar, float [m^3/s], >= 0. yield_pa, consistency, index, bore_m : as
        in herschel_bulkley_flow [Pa], [Pa s^n], [-], [m]. length_m : scalar, float [m], > 0
    Returns:     pressure : scalar, float [Pa]; that of the yield stress for no flow
    Raises:      Impossible: names the argument
    Validity:    steady, without entry loss; published dough data are for 5 to 10^4 1/s at the wall.
    Source:      Herschel-Bulkley model in a round pipe
    Example:     500 Pa, 1387 Pa s^0.38, R 10 mm, L 0.1 m, 2e-6 m3/s: 57098.28 Pa (scipy).
    """
    not_negative(flow_m3_s=flow_m3_s, yield_pa=yield_pa)
    positive(consistency=consistency, index=index, bore_m=bore_m, length_m=length_m)
    radius_m = bore_m / 2
    # The power law's stress without yield, and more than enough on top.
    rate = (3 * index + 1) / (4 * index) * 4 * flow_m3_s / (math.pi * radius_m**3)
    low, high = yield_pa, yield_pa * 2 + consistency * rate**index * 2
    while high > 0 and _flow(high, yield_pa, consistency, index, bore_m) < flow_m3_s:
        high *= 2
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if _flow(middle, yield_pa, consistency, index, bore_m) < flow_m3_s:
            low = middle
        else:
            high = middle
    return 2 * length_m * (yield_pa if flow_m3_s == 0 else high) / radius_m


def _flow(
    wall_pa: float, yield_pa: float, consistency: float, index: float, bore_m: float
) -> float:
    return herschel_bulkley_flow(
        wall_pa, yield_pa=yield_pa, consistency=consistency, index=index, bore_m=bore_m
    )


def wall_rate(flow_m3_s: float, *, bore_m: float, index: float) -> float:
    """Return the shear rate at the wall of a round passage.

    Rabinowitsch: (3n+1)/(4n) 4 Q / (pi R^3).

    Parameters:  flow_m3_s : scalar, float [m^3/s], >= 0. bore_m : scalar, float [m], > 0. index :
        scalar, float [-], > 0
    Returns:     rate : scalar, float [1/s]
    Raises:      Impossible: names the argument
    Source:      Weissenberg-Rabinowitsch correction for the power law
    Example:     2e-6 m3/s, R 10 mm, n 0.38: 3.585 1/s, computed independently.
    """
    not_negative(flow_m3_s=flow_m3_s)
    positive(bore_m=bore_m, index=index)
    return (3 * index + 1) / (4 * index) * 4 * flow_m3_s / (math.pi * (bore_m / 2) ** 3)


def _by_law(
    flow: float, stress: float, consistency: float, index: float, bore: float, land: float
) -> float:
    return herschel_bulkley_pressure(
        flow, yield_pa=stress, consistency=consistency, index=index, bore_m=bore, length_m=land
    )


_PASSAGE = ("nozzle.bore", "nozzle.land")
_SAYS = "The dough needs this along the nozzle's bore, before entry and barrel are added."

ROWS = (
    Row("flow", "flow of dough", "cm3/s", "push speed x barrel area", ("push_speed", "feed.bore"),
        lambda speed, bore: speed * disc_area(bore),
        "So much passes the nozzle in the push."),
    Row("nozzle.pressure", "pressure along the nozzle", "kPa", "Newton: 8 mu L Q / (pi R^4)",
        ("flow", "flow.consistency", *_PASSAGE),
        lambda flow, mu, bore, land: newton_pressure(
            flow, viscosity_pa_s=mu, bore_m=bore, length_m=land),
        _SAYS, only=(("flow.law", "newton"),)),
    Row("nozzle.pressure", "pressure along the nozzle", "kPa", "Bingham (Buckingham-Reiner)",
        ("flow", "flow.yield", "flow.consistency", *_PASSAGE),
        lambda flow, stress, mu, bore, land: _by_law(flow, stress, mu, 1.0, bore, land),
        _SAYS, only=(("flow.law", "bingham"),)),
    Row("nozzle.pressure", "pressure along the nozzle", "kPa", "Herschel-Bulkley",
        ("flow", "flow.yield", "flow.consistency", "flow.index", *_PASSAGE), _by_law,
        _SAYS, only=(("flow.law", "herschel-bulkley"),)),
    Row("nozzle.wall_rate", "shear rate in the nozzle", "1/s", "Rabinowitsch: 4Q/(pi R^3)(3n+1)/4n",
        ("flow", "nozzle.bore", "flow.index"),
        lambda flow, bore, index: wall_rate(flow, bore_m=bore, index=index),
        "Published dough data hold for 5 1/s and more; below, the pressure is extrapolated.",
        Limit("least", 5.0, "This lies below what dough was measured at (5 1/s): the pressure is "
              "extrapolated.", soft=True), only=(("flow.law", "herschel-bulkley"),)),
)  # fmt: skip
"""Rows of the sheet."""
