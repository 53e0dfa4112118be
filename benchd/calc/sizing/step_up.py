"""Current of the valve's coil, and what its step-up asks from the port."""

from __future__ import annotations

from benchd.calc.sizing.base import Impossible, Limit, Row, positive


def coil_current(power_w: float, *, voltage_v: float) -> float:
    """Return the current of a coil.

    P / U.

    Parameters:  power_w : scalar, float [W], > 0. voltage_v : scalar, float [V], > 0
    Returns:     current : scalar, float [A]
    Raises:      Impossible: names the argument that is not above zero
    Source:      electric power
    Example:     4.8 W at 24 V: 0.2 A, by hand.
    """
    positive(power_w=power_w, voltage_v=voltage_v)
    return power_w / voltage_v


def input_current(power_w: float, *, supply_v: float, efficiency: float) -> float:
    """Return what a step-up takes from its supply.

    P / (eta U).

    Parameters:  power_w : scalar, float [W], > 0; of the coil. supply_v : scalar, float [V], > 0.
        efficiency : scalar, float [-], above 0 to 1
    Returns:     current : scalar, float [A]; inrush comes on top
    Raises:      Impossible: names the argument
    Source:      energy is kept
    Example:     4.8 W from 5 V at 85 %: 1.13 A (common practice; computed by hand).
    """
    positive(power_w=power_w, supply_v=supply_v, efficiency=efficiency)
    if efficiency > 1:
        raise Impossible(f"'efficiency' is {efficiency:g}; it cannot be above 1.")
    return power_w / (supply_v * efficiency)


ROWS = (
    Row("coil.current", "current of the coil", "A", "P / U", ("coil.power", "coil.voltage"),
        lambda power, u: coil_current(power, voltage_v=u),
        "The switch and its suppressor must carry it."),
    Row("coil.input", "the step-up takes", "A", "P / (efficiency x U)",
        ("coil.power", "coil.supply", "coil.efficiency"),
        lambda power, u, eta: input_current(power, supply_v=u, efficiency=eta),
        "From the logic side, in rest; the inrush of the first moment comes on top.",
        Limit("most", "coil.port", "More than the port gives: the board resets when the valve "
              "fires. Feed the valve from a supply of its own, fused and with a suppressor.", 1.5)),
)  # fmt: skip
"""Rows of the sheet."""
