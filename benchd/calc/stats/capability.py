"""How a spread sits within limits: capability indices with their intervals, or nothing."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from benchd.calc.spread import CONFIDENCE, Interval
from benchd.calc.stats import quantiles

N_LEAST, TUBES_LEAST = 25, 2
"""Fewer weights, or one tube only, allow no index (common practice)."""


class Capability(NamedTuple):
    """Room for the spread, and how much of it the mean's place leaves; share outside by them."""

    room: Interval
    """Width of the limits over six standard deviations (Cp of the sigma used)."""
    placed: Interval
    """Distance from the mean to the nearer limit over three standard deviations (Cpk)."""
    outside: float
    """Share of portions outside the limits, were they normal [-]."""


def capability(n: int, *, mean: float, sd: float, low: float, high: float) -> Capability:
    """Return the capability indices of a mean and a standard deviation within limits.

    The caller says which standard deviation it is: within tubes or of all.

    Parameters:  n : scalar, int [1], >= 2. mean, sd, low, high : scalars [any unit], sd > 0
    Returns:     room, placed [-] with 95 % intervals, share outside [-]
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6 (its intervals too)
    Example:     limits 8 to 20, mean 16, sd 2 have room 1.0 and placed 0.6667 (there).
    """
    room = (high - low) / (6 * sd)
    placed = min(high - mean, mean - low) / (3 * sd)
    tail = (1 - CONFIDENCE) / 2
    half = quantiles.normal(1 - tail) * sqrt(1 / (9 * n) + placed**2 / (2 * (n - 1)))
    outside = quantiles.normal_share((low - mean) / sd) + quantiles.normal_share((mean - high) / sd)
    return Capability(
        Interval(
            room,
            room * sqrt(quantiles.chi_square(tail, n - 1) / (n - 1)),
            room * sqrt(quantiles.chi_square(1 - tail, n - 1) / (n - 1)),
        ),
        Interval(placed, placed - half, placed + half),
        outside,
    )


def withheld(n: int, tubes: int) -> str:
    """Return why no index is given for n weights [1] of so many tubes [1]; empty when one is.

    Source:      common practice
    Example:     withheld(20, 1) names both the weights and the tube.
    """
    lacks = []
    if n < N_LEAST:
        more = N_LEAST - n
        lacks.append(f"{more} more weight{'s' if more > 1 else ''}")
    if tubes < TUBES_LEAST:
        lacks.append("a second tube")
    return " and ".join(lacks)
