"""Two groups of weights beside each other: difference, ratio of spreads, and what n can show."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

from benchd.calc.spread import CONFIDENCE, Interval, mean_sd
from benchd.calc.stats import quantiles


class Comparison(NamedTuple):
    """Group B beside group A."""

    difference: Interval
    """Mean of B less mean of A, in the unit of the values."""
    ratio: Interval
    """Spread of B over spread of A [-]."""
    differ: bool
    """Whether the 95 % interval of the difference leaves out zero."""
    spreads_differ: bool
    """Whether the 95 % interval of the ratio leaves out one."""


def compare(a: Sequence[float], b: Sequence[float]) -> Comparison:
    """Return group B beside group A, without taking their spreads to be equal.

    Welch's t for the means, F for the ratio of spreads; for independent values near normal. The F
    interval is sensitive to odd values: look for those first.

    Parameters:  a : (n,), b : (m,), float [any unit], n and m >= 2, neither all equal
    Returns:     difference [unit], ratio [-], and whether each is shown
    Raises:      ValueError: fewer than two values, or a group without any spread
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 (unequal variances) and
        1.3.5.9
    Example:     two equal groups differ by 0 and have ratio 1.
    """
    (mean_a, sd_a), (mean_b, sd_b) = mean_sd(a), mean_sd(b)
    if sd_a == 0 or sd_b == 0:
        raise ValueError("Two groups cannot be compared when one of them has no spread at all.")
    return from_summary(len(a), mean_a, sd_a, len(b), mean_b, sd_b)


def from_summary(
    n_a: int, mean_a: float, sd_a: float, n_b: int, mean_b: float, sd_b: float
) -> Comparison:
    """Return the comparison from counts [1], means and standard deviations [unit] of both.

    Source:      as `compare`
    """
    error_a, error_b = sd_a**2 / n_a, sd_b**2 / n_b
    freedom = (error_a + error_b) ** 2 / (error_a**2 / (n_a - 1) + error_b**2 / (n_b - 1))
    share = (1 + CONFIDENCE) / 2
    half = quantiles.student(share, freedom) * sqrt(error_a + error_b)
    gap = mean_b - mean_a
    ratio = sd_b / sd_a
    low = ratio / sqrt(quantiles.fisher(share, n_b - 1, n_a - 1))
    high = ratio * sqrt(quantiles.fisher(share, n_a - 1, n_b - 1))
    return Comparison(
        Interval(gap, gap - half, gap + half),
        Interval(ratio, low, high),
        abs(gap) > half,
        not low <= 1 <= high,
    )


def least_ratio(n_a: int, n_b: int) -> float:
    """Return the ratio of two spreads [-] from which on so many values would call it a difference.

    Parameters:  n_a, n_b : scalars, int [1], >= 2
    Source:      F test of two variances, NIST/SEMATECH e-Handbook, 1.3.5.9
    Example:     10 and 10 values give 2.0, 20 and 20 give 1.6, 30 and 30 give 1.45.
    """
    share = (1 + CONFIDENCE) / 2
    up = sqrt(quantiles.fisher(share, n_b - 1, n_a - 1))
    down = sqrt(quantiles.fisher(share, n_a - 1, n_b - 1))
    return max(up, down)


def least_difference(n_a: int, n_b: int, sd: float, *, power: float = 0.8) -> float:
    """Return the difference of means that so many values would find 8 times in 10.

    Parameters:  n_a, n_b : scalars, int [1], n_a + n_b > 2. sd : scalar, float [any unit]; spread
        within a group. power : scalar, float [-]; how often
    Returns:     difference : scalar, float [the same unit]
    Source:      sample size for a difference of means with t in the place of z, NIST/SEMATECH
        e-Handbook, 7.2.2.2
    Example:     20 and 20 values of sd 1 find 0.91.
    """
    freedom = n_a + n_b - 2
    both = quantiles.student((1 + CONFIDENCE) / 2, freedom) + quantiles.student(power, freedom)
    return both * sd * sqrt(1 / n_a + 1 / n_b)
