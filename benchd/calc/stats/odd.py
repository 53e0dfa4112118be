"""Which weights are odd, what one does to the mean, and whether its neighbour has what it lacks."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from math import fsum, sqrt
from statistics import median

from benchd.calc.spread import mean_sd
from benchd.calc.stats import quantiles

ROBUST_LIMIT = 3.5
"""Source: Iglewicz and Hoaglin (1993), as in the NIST/SEMATECH e-Handbook, 1.3.5.17."""

NORMAL_MAD = 0.6745
"""Median absolute deviation of a standard normal variable; same source."""

DECISIVE = 4.0
"""An odd portion is told moved or lost only when it is off by more than so many usual spreads."""


ODD_ALPHA = 0.01
"""Share of usual series in which the ESD test may call a weight odd: to accuse is expensive."""


ROUNDING = 1e-6
"""Share of a sum of squares below which what is left of it is computed anew."""


class Went(StrEnum):
    """Where the mass went that an odd portion lacks, or has too much."""

    MOVED = "moved"
    LOST = "lost"
    UNKNOWN = "can't tell"


def robust_z(values: Sequence[float], *, least: float = 0.0) -> list[float]:
    """Return how far each value is from the middle, in spreads that odd values do not widen.

    0.6745 (x - median) / MAD.

    Parameters:  values : (n,), float [any unit], n >= 1. least : scalar, float [unit]; what the
        spread MAD / 0.6745 is taken to be at least: a scale's rounding would else make it zero
    Returns:     z : (n,), float [-]; all 0.0 where there is no spread at all
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17 (modified z-score)
    Example:     245.57 among the eight values of 1.3.5.17.1 has 29.96.
    """
    middle = median(values)
    spread = max(median(abs(value - middle) for value in values) / NORMAL_MAD, least)
    return [0.0 if spread == 0 else (value - middle) / spread for value in values]


def esd_limits(n: int, most: int, *, alpha: float = 0.05) -> list[float]:
    """Return the critical values of the generalized ESD test for 1 to `most` odd values [-].

    Source:      Rosner, Technometrics 25 (1983) 165; NIST/SEMATECH e-Handbook, 1.3.5.17.3
    Example:     n 54 begins 3.159, 3.151, 3.144.
    """
    limits = []
    for i in range(1, most + 1):
        left = n - i + 1
        t = quantiles.student(1 - alpha / (2 * left), left - 2)
        limits.append((left - 1) * t / sqrt((left - 2 + t * t) * left))
    return limits


def esd(values: Sequence[float], most: int, *, alpha: float = 0.05) -> list[int]:
    """Return the places of odd values by the generalized ESD test, the oddest first.

    Parameters:  values : (n,), float [any unit]. most : scalar, int [1]; not more are looked for,
        and never so many that fewer than three would be left
    Returns:     places : (k,), int [1], k <= most
    Source:      as `esd_limits`
    Example:     Rosner's 54 values have three odd ones when ten are looked for.
    """
    n = len(values)
    most = min(most, n - 3)
    if most < 1:
        return []
    # The farthest from a mean is the least or the most, so both ends are enough to look at.
    least = sorted(range(n), key=lambda at: (values[at], at))
    largest = sorted(range(n), key=lambda at: (-values[at], at))
    low = high = found = 0
    removed: list[int] = []
    rest = _Rest(values)
    for i, limit in enumerate(esd_limits(n, most, alpha=alpha), 1):
        mean, sd = rest.mean_sd(removed)
        if sd == 0:
            break
        below, above = mean - values[least[low]], values[largest[high]] - mean
        if below > above or (below == above and least[low] < largest[high]):
            worst, low = least[low], low + 1
        else:
            worst, high = largest[high], high + 1
        if max(below, above) / sd > limit:
            found = i
        removed.append(worst)
    return removed[:found]


class _Rest:
    """Mean and spread of values of which one after the other goes, without a look at all each
    time; exact again before what is left over could be rounding."""

    def __init__(self, values: Sequence[float]) -> None:
        self._values = values
        self._seen = 0
        self._base, sd = mean_sd(values)
        self._n = len(values)
        self._sum, self._squares = 0.0, sd * sd * (self._n - 1)
        self._first = self._squares

    def mean_sd(self, removed: Sequence[int]) -> tuple[float, float]:
        """Return mean and standard deviation [unit] of what is left, without those removed."""
        for at in removed[self._seen :]:
            off = self._values[at] - self._base
            self._sum, self._squares = self._sum - off, self._squares - off * off
            self._n -= 1
        self._seen = len(removed)
        squares = self._squares - self._sum * self._sum / self._n
        if squares <= ROUNDING * self._first:
            gone = set(removed)
            left = [value for at, value in enumerate(self._values) if at not in gone]
            self._base, sd = mean_sd(left)
            self._sum, self._squares = 0.0, sd * sd * (self._n - 1)
            self._first = self._squares
            return self._base, sd
        return self._base + self._sum / self._n, sqrt(squares / (self._n - 1))


def odd_ones(values: Sequence[float], *, least: float = 0.0) -> list[int]:
    """Return the places of odd values that both the robust z and the ESD test name, in order.

    Of fewer than eight values none is named. Looked for are at most a tenth, and at least two.

    Parameters:  values : (n,), float [any unit]. least : as `robust_z`
    Returns:     places : (k,), int [1]
    Source:      NIST/SEMATECH e-Handbook, 1.3.5.17; both must agree, since either alone accuses
        too often when n is small
    """
    n = len(values)
    if n < 8:
        return []
    far = robust_z(values, least=least)
    named = esd(values, max(2, n // 10), alpha=ODD_ALPHA)
    return sorted(at for at in named if abs(far[at]) > ROBUST_LIMIT)


def without_odd(values: Sequence[float]) -> list[float]:
    """Return the values that are not odd, in order.

    Parameters:  values : (n,), float [any unit]
    Source:      as `odd_ones`
    """
    odd = set(odd_ones(values))
    return [value for at, value in enumerate(values) if at not in odd]


def shift_of_mean(values: Sequence[float], at: int) -> float:
    """Return what one value does to the mean [unit]: (x - mean of the others) / n.

    Source:      arithmetic
    Example:     of 1, 1, 4 the last shifts the mean by 1.
    """
    n = len(values)
    others = fsum(value for i, value in enumerate(values) if i != at) / (n - 1)
    return (values[at] - others) / n


def where_it_went(
    odd: float,
    neighbour: float,
    *,
    mean: float,
    sd: float,
    sum_sd: float,
    decisive: float = DECISIVE,
) -> Went:
    """Return whether the neighbour has what an odd portion lacks.

    Parameters:  odd, neighbour : scalars, float [any unit]. mean, sd : of usual portions. sum_sd :
        standard deviation of the sum of two usual neighbours. decisive : scalar [-]; spreads by
        which the odd one must be off, more where few tell what is usual
    Returns:     moved when the sum is as usual, lost when the neighbour is, else can't tell
    Source:      conservation of mass; the sum is about as noisy as one portion, so that only an
        odd one beyond 4 usual spreads decides (common practice)
    Example:     18 and 22 about 20 with sd 0.2 and sum_sd 0.2 is moved; 18 and 20 is lost.
    """
    off, both = odd - mean, odd + neighbour - 2 * mean
    if abs(off) <= decisive * sd:
        return Went.UNKNOWN
    sum_usual = abs(both) <= 2 * sum_sd
    neighbour_usual = abs(both - off) <= 2 * sd
    if sum_usual != neighbour_usual:
        return Went.MOVED if sum_usual else Went.LOST
    return Went.UNKNOWN
