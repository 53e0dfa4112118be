"""From tube to tube: each tube's factor, drawn towards 1 as far as few weights ask for it; and
whether a tube's mass adds up."""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum, sqrt
from typing import NamedTuple

from benchd.calc.spread import mean_sd


class Factors(NamedTuple):
    """How the tubes differ from one another."""

    mean: float
    """Mean of the tubes' means, in the unit of the values."""
    within: float
    """Standard deviation within a tube, of all tubes together [unit]."""
    between: float
    """Standard deviation between tubes [unit]; 0 where chance alone explains their means."""
    factors: tuple[float, ...]
    """Each tube's mean over the mean of all, shrunk [-]."""


def within_sd(tubes: Sequence[Sequence[float]]) -> float:
    """Return the standard deviation within a tube [unit], of all tubes of two and more together.

    Source:      NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3.3 (mean square of error)
    Example:     1, 3 and 5, 7 have 1.414.
    """
    parts = [(len(tube) - 1, mean_sd(tube)[1]) for tube in tubes if len(tube) > 1]
    freedom = sum(count for count, _ in parts)
    return sqrt(fsum(count * sd * sd for count, sd in parts) / freedom)


def factors(tubes: Sequence[Sequence[float]]) -> Factors:
    """Return each tube's factor, with shrinkage.

    A tube of n weights keeps the share t2 / (t2 + s2 / n) of what its mean is off, with t the
    standard deviation between tubes and s within.

    Parameters:  tubes : at least two sequences, each (n,), float [any unit], n >= 2
    Returns:     mean, within, between [unit], factors [-]
    Raises:      ValueError: fewer than two tubes
    Source:      one-way analysis of variance by moments, NIST/SEMATECH e-Handbook, 7.4.3.3;
        shrinkage as in best linear prediction
    Example:     t and s of 2 % with 4 weights keep 0.8 of the difference.
    """
    if len(tubes) < 2:
        raise ValueError("Tubes are compared from two on.")
    counts = [len(tube) for tube in tubes]
    means = [fsum(tube) / len(tube) for tube in tubes]
    n, k = sum(counts), len(tubes)
    within = within_sd(tubes)
    weighted = fsum(c * m for c, m in zip(counts, means, strict=True)) / n
    square = fsum(c * (m - weighted) ** 2 for c, m in zip(counts, means, strict=True)) / (k - 1)
    size = (n - fsum(c * c for c in counts) / n) / (k - 1)
    between2 = max(0.0, (square - within**2) / size)
    centre = fsum(means) / k
    kept = [keeps(c, between=sqrt(between2), within=within) for c in counts]
    shrunk = tuple(1 + share * (m - centre) / centre for share, m in zip(kept, means, strict=True))
    return Factors(centre, within, sqrt(between2), shrunk)


def keeps(n: int, *, between: float, within: float) -> float:
    """Return the share [-] of a tube's deviation that n weights [1] support.

    between, within : scalars, float [any unit]; standard deviations.

    Source:      best linear prediction of a random effect
    Example:     keeps(4, between=2, within=2) is 0.8.
    """
    if between == 0:
        return 0.0
    return between**2 / (between**2 + within**2 / n)


class Balance(NamedTuple):
    """What a tube held and where it went."""

    weighed: float
    """Mass of the weighed portions [kg]."""
    unweighed: float
    """What portions without a weight took, at the mean of the others [kg]."""
    left: float
    """Net mass less both: waste, prime and heel together [kg]; below zero cannot be."""
    adds_up: bool
    """Whether what is left can be a heel: at least zero, within the uncertainty of the weights."""


def balance(
    net_kg: float, weights_kg: Sequence[float], *, unweighed: int, each_error_kg: float
) -> Balance:
    """Return where the mass of a tube went.

    Parameters:  net_kg : scalar, float [kg]; dough in the tube. weights_kg : (n,), float [kg],
        n >= 1. unweighed : scalar, int [1]; portions without a weight. each_error_kg : scalar,
        float [kg]; standard deviation of one weighing
    Returns:     weighed, unweighed, left [kg]; whether they add up
    Source:      conservation of mass; a plunger never empties a tube, so a heel above zero stays
    Example:     0.45 kg and 12 weights of 30 g leave 0.09 kg.
    """
    weighed = fsum(weights_kg)
    rest = unweighed * weighed / len(weights_kg)
    left = net_kg - weighed - rest
    return Balance(weighed, rest, left, left > -2 * each_error_kg * sqrt(len(weights_kg)))
