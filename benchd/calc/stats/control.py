"""Control charts: centre and limits of a signal, and which points stand out."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from math import exp, fsum, lgamma, pi, sqrt
from typing import NamedTuple

from benchd.calc.spread import mean_sd
from benchd.calc.stats.order import lag_one

D2_PAIR = 2 / sqrt(pi)
"""Mean range of two independent normal values, 1.12838 spreads; handbooks print 1.128."""

BASELINE_LEAST = 20
"""Points from which limits are made (common practice)."""

ALTERNATING = -0.2
"""Below this lag-1 a moving range is too wide: neighbours differ more than values scatter."""


class Limits(NamedTuple):
    """Centre and limits of a chart at three standard deviations, and where these come from."""

    centre: float
    sigma: float
    low: float
    high: float
    sigma_from: str
    """'moving range' or 'spread'."""
    n: int
    """Points that the limits were made from."""


def c4(n: int) -> float:
    """Return the mean of a standard deviation of n independent normal values, in spreads [-].

    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2
    Example:     c4(5) is 0.93999.
    """
    return sqrt(2 / (n - 1)) * exp(lgamma(n / 2) - lgamma((n - 1) / 2))


def sigma_of_moving_range(values: Sequence[float], *, d2: float = D2_PAIR) -> float:
    """Return the standard deviation that neighbours' differences speak of [unit].

    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2
    Example:     its ten values, with d2 1.128, give 1.6647.
    """
    steps = [abs(b - a) for a, b in itertools.pairwise(values)]
    return fsum(steps) / len(steps) / d2


def limits(values: Sequence[float]) -> Limits:
    """Return centre and limits of single values.

    From the moving range, which a slow drift does not widen; from the spread where lag-1 is below
    -0.2, since neighbours that give to each other would make the moving range too wide.

    Parameters:  values : (n,), float [any unit], n >= 3
    Returns:     centre, sigma, low, high [unit], where sigma is from, n
    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2
    Example:     its ten values give 45.82 to 55.80.
    """
    n = len(values)
    mean, sd = mean_sd(values)
    if lag_one(values) < ALTERNATING:
        sigma, source = sd / c4(n), "spread"
    else:
        sigma, source = sigma_of_moving_range(values), "moving range"
    return Limits(mean, sigma, mean - 3 * sigma, mean + 3 * sigma, source, n)


def outside(values: Sequence[float], of: Limits) -> list[int]:
    """Return the places of values beyond the limits [1].

    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.1
    """
    return [at for at, value in enumerate(values) if not of.low <= value <= of.high]


def group_means(values: Sequence[float], size: int = 4) -> list[float]:
    """Return the means of groups of neighbours [unit]; what is left over at the end is not used.

    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.1 (means of groups)
    Example:     1, 3, 5, 7, 9 in groups of two give 2, 6.
    """
    return [fsum(values[i : i + size]) / size for i in range(0, len(values) - size + 1, size)]


def neighbour_sums(values: Sequence[float], positions: Sequence[int]) -> list[float]:
    """Return the sums of neighbours [unit], which moved mass does not change and lost mass does.

    Source:      conservation of mass
    Example:     9, 11, 10 at 1, 2, 3 give 20, 21.
    """
    rows = list(zip(positions, values, strict=True))
    return [a + b for (i, a), (j, b) in itertools.pairwise(rows) if j - i == 1]
