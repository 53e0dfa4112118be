"""Yardsticks of published net-content rules. Information only: local law decides what may be sold.

They were written for packages of the same nominal quantity, not for a bench at home.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

from benchd.calc.spread import mean_sd
from benchd.calc.stats import quantiles

BANDS_KG: tuple[tuple[float, float, float, float], ...] = (
    (0.005, 0.050, 0.09, 0.0),
    (0.050, 0.100, 0.0, 0.0045),
    (0.100, 0.200, 0.045, 0.0),
    (0.200, 0.300, 0.0, 0.009),
    (0.300, 0.500, 0.03, 0.0),
    (0.500, 1.000, 0.0, 0.015),
)
"""From, up to [kg], share [-], mass [kg]: the tolerable negative error.
Source: Council Directive 76/211/EEC, Annex I, 2.4."""


class Yardstick(NamedTuple):
    """How weights compare with the rules' figures for a nominal mass."""

    tolerable_kg: float
    """Tolerable negative error of the nominal mass."""
    short: int
    """Weights further below the nominal than that."""
    very_short: int
    """Weights further below than twice that; none of these may be, by the rule."""
    mean_least_kg: float
    """What the mean must reach in the rule's test of the mean."""
    mean_reaches: bool


def tolerable_kg(nominal_kg: float) -> float | None:
    """Return the tolerable negative error of a nominal mass [kg]; None outside 5 g to 1 kg.

    Source:      Council Directive 76/211/EEC, Annex I, 2.4; OIML R 87 has the same table
    Example:     30 g have 2.7 g, 60 g have 4.5 g, 150 g have 6.75 g.
    """
    for low, high, share, mass in BANDS_KG:
        if low <= nominal_kg <= high:
            return share * nominal_kg + mass
    return None


def mean_factor(n: int) -> float:
    """Return how many standard deviations the mean of n [1] may be short [-]: t(0.995) / sqrt(n).

    Source:      Council Directive 76/211/EEC, Annex II; OIML R 87 (its sample factors)
    Example:     n 20, 30, 50 give 0.640, 0.503, 0.379.
    """
    return quantiles.student(0.995, n - 1) / sqrt(n)


def yardstick(nominal_kg: float, weights_kg: Sequence[float]) -> Yardstick | None:
    """Return how weights [kg] compare with the rules; None outside 5 g to 1 kg or below 2 weights.

    Source:      as `tolerable_kg` and `mean_factor`
    Example:     thirty equal weights at the nominal reach the mean and none is short.
    """
    error_kg = tolerable_kg(nominal_kg)
    if error_kg is None or len(weights_kg) < 2:
        return None
    mean_kg, sd_kg = mean_sd(weights_kg)
    least_kg = nominal_kg - mean_factor(len(weights_kg)) * sd_kg
    return Yardstick(
        error_kg,
        sum(weight < nominal_kg - error_kg for weight in weights_kg),
        sum(weight < nominal_kg - 2 * error_kg for weight in weights_kg),
        least_kg,
        mean_kg >= least_kg,
    )
