"""Small lasting shifts, which single points do not show: CUSUM and EWMA."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

CUSUM_SLACK = 0.5
"""Half of the shift that is looked for, in standard deviations."""

CUSUM_LIMIT = 5.0
"""A false alarm once in 465 points, with slack 0.5 (Hawkins, 1993; Montgomery, table 9.3)."""

EWMA_WEIGHT, EWMA_LIMIT = 0.2, 2.962
"""A false alarm once in 500 points (Lucas and Saccucci, Technometrics 32 (1990) 1)."""


class Sums(NamedTuple):
    """The two one-sided sums at each point, and the first place where one goes over its limit."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    at: int | None


def cusum(
    values: Sequence[float],
    *,
    target: float,
    slack: float,
    limit: float,
) -> Sums:
    """Return the tabular CUSUM of values.

    Parameters:  values : (n,), float [any unit]. target : scalar [unit]. slack : scalar [unit],
        half the shift looked for. limit : scalar [unit]
    Returns:     high, low : (n,), float [unit], >= 0; place of the first alarm [1] or None
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3
    Example:     its twenty values about 325 with slack 0.3175 and limit 4.1959 alarm at the 14th.
    """
    high, low, first = [0.0], [0.0], None
    for at, value in enumerate(values):
        high.append(max(0.0, high[-1] + value - target - slack))
        low.append(max(0.0, low[-1] + target - value - slack))
        if first is None and max(high[-1], low[-1]) > limit:
            first = at
    return Sums(tuple(high[1:]), tuple(low[1:]), first)


class Averages(NamedTuple):
    """The moving average at each point, its limits for a long series, and the first place out."""

    values: tuple[float, ...]
    low: float
    high: float
    at: int | None


def ewma(
    values: Sequence[float],
    *,
    target: float,
    sigma: float,
    weight: float = EWMA_WEIGHT,
    limit: float = EWMA_LIMIT,
) -> Averages:
    """Return the exponentially weighted moving average of values, with the limits it settles to.

    Parameters:  values : (n,), float [any unit]. target, sigma : scalars [unit]. weight : scalar
        [-], 0 to 1, of the newest value. limit : scalar [-]; in spreads of the average
    Returns:     averages : (n,), low, high [unit]; place of the first one outside [1] or None
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4
    Example:     its twenty values about 50, sigma 2.0539, weight 0.3, limit 3: 47.41 to 52.59.
    """
    half = limit * sigma * sqrt(weight / (2 - weight))
    average, first, all_values = target, None, []
    for at, value in enumerate(values):
        average = weight * value + (1 - weight) * average
        all_values.append(average)
        if first is None and abs(average - target) > half:
            first = at
    return Averages(tuple(all_values), target - half, target + half, first)
