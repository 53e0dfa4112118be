"""How far the blade throws a piece, and how wide the landings spread."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import GRAVITY_M_S2, Limit, Row, not_negative

SHARES = (0.2, 0.6)
"""Least and most of the blade's speed that a piece takes along (common practice)."""


def throw_distance(speed_m_s: float, *, drop_m: float) -> float:
    """Return how far a piece lands that leaves level.

    v sqrt(2 h / g): no drag, no roll.

    Parameters:  speed_m_s : scalar, float [m/s], >= 0; of the piece. drop_m : scalar, float [m],
        >= 0
    Returns:     distance : scalar, float [m]
    Raises:      Impossible: names the argument
    Validity:    round pieces roll on by up to as much again (common practice).
    Source:      free fall in vacuum
    Example:     0.3 m/s from 100 mm: 43 mm (4 cm in common practice).
    """
    not_negative(speed_m_s=speed_m_s, drop_m=drop_m)
    return speed_m_s * math.sqrt(2 * drop_m / GRAVITY_M_S2)


def landing_spread(blade_m_s: float, *, drop_m: float) -> float:
    """Return the distance between the shortest and the longest throw.

    (0.6 - 0.2) v sqrt(2 h / g).

    Parameters:  blade_m_s : scalar, float [m/s], >= 0; of the blade. drop_m : scalar, float [m],
        >= 0
    Returns:     distance : scalar, float [m]
    Raises:      Impossible: names the argument
    Source:      free fall, with the shares of the blade's speed of common practice
    Example:     1 m/s from 100 mm: 57 mm, by hand.
    """
    low, high = SHARES
    return throw_distance((high - low) * blade_m_s, drop_m=drop_m)


ROWS = (
    Row("throw.distance", "a piece is thrown", "mm", "v sqrt(2 h / g), v = share x blade speed",
        ("cutter.speed", "throw", "cutter.drop"),
        lambda blade, share, drop: throw_distance(share * blade, drop_m=drop),
        "Higher pressure or an open needle throws further; round pieces roll on.",
        Limit("most", "cutter.tray", "Pieces are thrown past the tray: close the needle, lower the "
              "pressure or the height.", 1.5)),
    Row("throw.spread", "landings spread over", "mm", "(0.6 - 0.2) v sqrt(2 h / g)",
        ("cutter.speed", "cutter.drop"),
        lambda blade, drop: landing_spread(blade, drop_m=drop),
        "Between the shortest and the longest throw of common practice."),
)  # fmt: skip
"""Rows of the sheet."""
