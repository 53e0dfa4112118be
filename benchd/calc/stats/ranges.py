"""Where the next portion falls, and where most portions fall: ranges from a few weights."""

from __future__ import annotations

from math import sqrt

from benchd.calc.spread import CONFIDENCE, Interval
from benchd.calc.stats import quantiles


def prediction(n: int, *, mean: float, sd: float) -> Interval:
    """Return the range that holds the next single value with 95 %.

    mean -+ t(0.975, n - 1) sd sqrt(1 + 1/n); holds for independent values that are near normal.

    Parameters:  n : scalar, int [1], >= 2. mean, sd : scalars, float [any unit], sd >= 0
    Returns:     value, low, high : scalars, float [the same unit]
    Source:      Student's t for a future observation, as in ISO 16269-8
    Example:     n 20, mean 0, sd 1 give -2.145 to 2.145.
    """
    half = quantiles.student((1 + CONFIDENCE) / 2, n - 1) * sd * sqrt(1 + 1 / n)
    return Interval(mean, mean - half, mean + half)


def tolerance_factor(n: int, *, share: float = 0.95, confidence: float = CONFIDENCE) -> float:
    """Return how many spreads on either side of the mean hold a share of all portions.

    Howe's approximation z sqrt((n - 1)(1 + 1/n) / chi2); within 0.5 % of exact tables from n 5 up.

    Parameters:  n : scalar, int [1], >= 2. share : scalar, float [-], 0 to 1; of all portions.
        confidence : scalar, float [-], 0 to 1; how sure that it holds so many
    Returns:     factor : scalar, float [-]
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3
    Example:     n 43, share 0.90, confidence 0.99 give 2.217 (there).
    """
    z = quantiles.normal((1 + share) / 2)
    return z * sqrt((n - 1) * (1 + 1 / n) / quantiles.chi_square(1 - confidence, n - 1))


def tolerance(n: int, *, mean: float, sd: float, share: float = 0.95) -> Interval:
    """Return the range that holds this share of all portions, with 95 % confidence.

    Parameters:  n : scalar, int [1], >= 2. mean, sd : scalars, float [any unit], sd >= 0.
        share : scalar, float [-], 0 to 1
    Returns:     value, low, high : scalars, float [the same unit]
    Source:      as `tolerance_factor`
    Example:     n 20, mean 0, sd 1, share 0.95 give -2.75 to 2.75.
    """
    half = tolerance_factor(n, share=share) * sd
    return Interval(mean, mean - half, mean + half)


def share_of(hits: int, n: int) -> Interval:
    """Return a share counted in a sample, with its 95 % interval, for any small count.

    Clopper and Pearson's exact interval: it holds at least 95 %, and more where n is small.

    Parameters:  hits, n : scalars, int [1], 0 <= hits <= n, n >= 1
    Returns:     value, low, high : scalars, float [-]
    Raises:      ValueError: counts that cannot be
    Source:      Clopper and Pearson, Biometrika 26 (1934) 404; the NIST/SEMATECH e-Handbook has it
        in 7.2.4.1
    Example:     4 of 20 are 0.20, 0.057 to 0.437.
    """
    if not 0 <= hits <= n or n < 1:
        raise ValueError(f"{hits} of {n} is no share.")
    tail = (1 - CONFIDENCE) / 2
    low = 0.0 if hits == 0 else quantiles.beta(tail, hits, n - hits + 1)
    high = 1.0 if hits == n else quantiles.beta(1 - tail, hits + 1, n - hits)
    return Interval(hits / n, low, high)
