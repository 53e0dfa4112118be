"""The spread of a few weights with its interval, without scipy: for the daemon, which must start
fast and stay small."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import exp, lgamma, log, sqrt

from benchd.calc.spread import CONFIDENCE, Interval, mean_sd

HALVINGS = 60


def share_below(x: float, freedom: float) -> float:
    """Return the share of a chi-square variable below x.

    Parameters:  x : scalar, float [-], >= 0; freedom : scalar, float [-], > 0
    Returns:     share : scalar, float [-], 0 to 1
    Source:      Abramowitz and Stegun, 6.5.29 (series of the incomplete gamma function), 26.4.19
    Example:     share_below(19.023, 9) is 0.975 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
    """
    if x <= 0:
        return 0.0
    a, half = freedom / 2, x / 2
    term = total = 1 / a
    n = a
    while term > total * 1e-15:
        n += 1
        term *= half / n
        total += term
    return min(total * exp(a * log(half) - half - lgamma(a)), 1.0)


@lru_cache(maxsize=512)
def chi_square(share: float, freedom: float) -> float:
    """Return the value that a chi-square variable stays below with this share, by halving.

    Parameters:  share : scalar, float [-], above 0 and below 1; freedom : scalar, float [-], > 0
    Returns:     x : scalar, float [-]
    Source:      the inverse of `share_below`
    Example:     chi_square(0.025, 9) is 2.700 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
    """
    low, high = 0.0, freedom + 20 * sqrt(2 * freedom) + 40
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if share_below(middle, freedom) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def spread(values: Sequence[float]) -> Interval:
    """Return the standard deviation of a sample with its 95 % interval.

    Parameters:  values : (n,), float [any unit], n >= 2
    Returns:     value, low, high : scalars, float [the same unit]
    Raises:      ValueError: fewer than two values
    Source:      as `benchd.calc.spread.sd_interval`, which takes its quantiles from scipy
    Example:     ten values with a deviation of 1 give 0.688 to 1.826.
    """
    _, sd = mean_sd(values)
    tail, freedom = (1 - CONFIDENCE) / 2, len(values) - 1
    low = sd * sqrt(freedom / chi_square(1 - tail, freedom))
    return Interval(sd, low, sd * sqrt(freedom / chi_square(tail, freedom)))
