"""What the order of the weights tells: trend along the tube, neighbours, moved and lost mass.

Positions are whole numbers, one a portion of the tube; where one is missing, its neighbours are no
neighbours of each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum, sqrt
from typing import NamedTuple

from benchd.calc.spread import CONFIDENCE, Interval, sd_interval
from benchd.calc.stats import quantiles


class Line(NamedTuple):
    """A straight line through values along the tube."""

    slope: Interval
    """Change from one portion to the next."""
    proven: bool
    """Whether the 99 % interval of the slope leaves out zero."""
    residuals: tuple[float, ...]


def line(positions: Sequence[float], values: Sequence[float]) -> Line:
    """Return the straight line through values along the tube, with the 95 % interval of its slope.

    Least squares; holds for independent residuals, and errs to the careful side where neighbours
    alternate.

    Parameters:  positions : (n,), float [portions], not all the same. values : (n,), float [any
        unit], n >= 3
    Returns:     slope [unit a portion], whether it is proven, residuals : (n,), float [unit]
    Raises:      ValueError: fewer than three values, or all at one position
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.3.1
    Example:     positions 1, 2, 3 and values 1, 2, 3 have slope 1 and no residuals.
    """
    n = len(values)
    mean_x, mean_y = fsum(positions) / n, fsum(values) / n
    span = fsum((x - mean_x) ** 2 for x in positions)
    if n < 3 or span == 0:
        raise ValueError("A line takes at least three values at two positions.")
    product = fsum((x - mean_x) * (y - mean_y) for x, y in zip(positions, values, strict=True))
    slope = product / span
    residuals = tuple(
        y - mean_y - slope * (x - mean_x) for x, y in zip(positions, values, strict=True)
    )
    error = sqrt(fsum(r * r for r in residuals) / (n - 2) / span)
    half = quantiles.student((1 + CONFIDENCE) / 2, n - 2) * error
    proven = abs(slope) > quantiles.student(0.995, n - 2) * error
    return Line(Interval(slope, slope - half, slope + half), proven, residuals)


def lag_one(values: Sequence[float], positions: Sequence[int] | None = None) -> float:
    """Return how much neighbours go together: 1 alike, 0 unrelated, negative one up, one down.

    sum of products of neighbours over sum of squares, about the mean; scaled up where positions
    are missing.

    Parameters:  values : (n,), float [any unit], n >= 3. positions : (n,), int [portions], rising;
        None for 0, 1, 2 and so on
    Returns:     r : scalar, float [-]; 0.0 where all values are equal or none are neighbours
    Source:      NIST StRD univariate summary statistics (its definition of lag-1
        autocorrelation); NIST/SEMATECH e-Handbook, 1.3.5.12
    Example:     the set NumAcc1 (1, 3, 2) has -0.5.
    """
    n = len(values)
    at = range(n) if positions is None else positions
    mean = fsum(values) / n
    off = [value - mean for value in values]
    pairs = [a * b for a, b, i, j in zip(off, off[1:], at, at[1:], strict=False) if j - i == 1]
    squares = fsum(value * value for value in off)
    if not pairs or squares == 0:
        return 0.0
    return fsum(pairs) * (n - 1) / len(pairs) / squares


class Split(NamedTuple):
    """The spread of weights, parted into what went to the neighbour and what did not."""

    lag: Interval
    """Correlation of neighbours, less what chance alone gives so few."""
    moved: Interval
    """Standard deviation of what one portion has and the next lacks."""
    lost: Interval
    """Standard deviation of what no neighbour gives back, the scale's share included."""
    alternating: bool
    """Whether neighbours go against each other more than chance would let them, 1 in 20."""


def split(values: Sequence[float], positions: Sequence[int] | None = None) -> Split:
    """Return how much of the spread is moved to the neighbour and how much is lost.

    With m = b s + e(i) - e(i-1) + w(i), var(e) = -cov1 and var(w) = var + 2 cov1; cov1 = r var.
    The mean of r for unrelated values, -1/n, is taken off first. The interval of r is that of
    unrelated values; those of moved and lost join its ends with those of the spread, and so err to
    the wide side. Below 40 values take them as a hint.

    Parameters:  values : (n,), float [any unit], n >= 3; trend taken out. positions : as `lag_one`
    Returns:     lag [-], moved, lost [unit], each with its interval; whether they alternate
    Source:      moving average of order one; mean and variance of r for a random order, -1/n and
        (n - 2)^2 / (n^2 (n - 1)) (Moran, Biometrika 35 (1948) 255)
    Example:     values of pure moved mass have a lag near -0.5 and next to nothing lost.
    """
    n = len(values)
    mean = fsum(values) / n
    variance = fsum((value - mean) ** 2 for value in values) / (n - 1)
    r = lag_one(values, positions) + 1 / n
    half = quantiles.normal((1 + CONFIDENCE) / 2) * _lag_sd(n)
    lag = Interval(r, max(-1.0, r - half), min(1.0, r + half))
    sd, low, high = sd_interval(n, sd=sqrt(variance))

    def moved(at: float) -> float:
        return sqrt(min(0.5, max(0.0, -at)))

    def lost(at: float) -> float:
        return sqrt(1 + 2 * min(0.0, max(-0.5, at)))

    return Split(
        lag,
        Interval(sd * moved(r), low * moved(lag.high), high * moved(lag.low)),
        Interval(sd * lost(r), low * lost(lag.low), high * lost(lag.high)),
        alternates(values, positions),
    )


ONE_IN_20 = -1.6448536269514722
"""What a standard normal variable stays below 1 time in 20 (scipy.special.ndtri(0.05))."""


def alternates(values: Sequence[float], positions: Sequence[int] | None = None) -> bool:
    """Return whether neighbours go against each other more than chance would let them, 1 in 20.

    Parameters:  values : (n,), float [any unit], n >= 3; trend taken out. positions : as `lag_one`
    Source:      as `split`; without scipy, since the daemon asks this too
    Example:     1, -1, 1, -1, 1, -1, 1, -1 alternate; eight equal values do not.
    """
    n = len(values)
    return lag_one(values, positions) + 1 / n < ONE_IN_20 * _lag_sd(n)


def _lag_sd(n: int) -> float:
    """Return the standard deviation of lag-1 for a random order of n values (Moran)."""
    return (n - 2) / (n * sqrt(n - 1))
