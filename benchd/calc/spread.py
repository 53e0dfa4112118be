"""Mean and spread of a few values, each with the interval that so few values can support."""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum, sqrt
from typing import NamedTuple

from benchd.calc.stats import quantiles

CONFIDENCE = 0.95
"""Share of such intervals that hold the true value."""


class Interval(NamedTuple):
    """A value and the interval around it, in the unit of the value."""

    value: float
    low: float
    high: float


def mean_sd(values: Sequence[float]) -> tuple[float, float]:
    """Return mean and standard deviation of a sample.

    Parameters:  values : (n,), float [any unit], n >= 2
    Returns:     mean, sd : scalars, float [the same unit]; sd with n - 1
    Raises:      ValueError: fewer than two values
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.1 and 1.3.5.6
    Example:     mean_sd([1.0, 2.0, 3.0]) is (2.0, 1.0).
    """
    n = len(values)
    if n < 2:
        raise ValueError("A spread takes at least two values.")
    # Exact sums: values that differ in their last digits only would else lose their spread.
    mean = fsum(values) / n
    return mean, sqrt(fsum((value - mean) ** 2 for value in values) / (n - 1))


def mean_interval(n: int, *, mean: float, sd: float) -> Interval:
    """Return the mean of a sample with its 95 % interval.

    mean -+ t(0.975, n - 1) sd / sqrt(n); holds for independent values that are near normal.

    Parameters:  n : scalar, int [1], >= 2; how many values
        mean : scalar, float [any unit]; their mean
        sd : scalar, float [the same unit], >= 0; their standard deviation
    Returns:     value, low, high : scalars, float [the same unit]
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2
    Example:     n 195, mean 9.261460, sd 0.02278881 give 9.258242 to 9.264679 (ZARR13, there).
    """
    half = quantiles.student((1 + CONFIDENCE) / 2, n - 1) * sd / sqrt(n)
    return Interval(mean, mean - half, mean + half)


def sd_interval(n: int, *, sd: float) -> Interval:
    """Return the standard deviation of a sample with its 95 % interval.

    sd sqrt((n - 1) / chi2); holds for independent values that are near normal.

    Parameters:  n : scalar, int [1], >= 2; how many values
        sd : scalar, float [any unit], >= 0; their standard deviation
    Returns:     value, low, high : scalars, float [the same unit]
    Source:      NIST/SEMATECH e-Handbook, 1.3.5.8; critical values of chi2 in its table 1.3.6.7.4
    Example:     n 10, sd 1 give 0.688 to 1.826 (chi2 19.023 and 2.700 for 9 degrees of freedom).
    """
    tail = (1 - CONFIDENCE) / 2
    low = sd * sqrt((n - 1) / quantiles.chi_square(1 - tail, n - 1))
    high = sd * sqrt((n - 1) / quantiles.chi_square(tail, n - 1))
    return Interval(sd, low, high)
