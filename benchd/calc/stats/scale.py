"""What the scale itself adds to the spread, and what is left when that is taken off."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from benchd.calc.spread import Interval, sd_interval

REPEATABILITY = 0.5
"""Spread of a hobby scale's repeated readings, in its steps, where nobody measured it (0.3 to 0.7
is common practice)."""

GOOD_SHARE = 0.3
"""A scale's spread up to this share of the process's hardly shows (common practice)."""


class Left(NamedTuple):
    """The spread without the scale's part."""

    process: Interval
    """Standard deviation with its interval; its ends are 0 where the scale could be all of it."""
    scale: float
    """Standard deviation of the scale."""
    limited: bool
    """Whether the scale could be all of what is seen: its spread is not below the interval."""


def scale_sd(step: float, repeatability: float | None = None) -> float:
    """Return the standard deviation of one weighing.

    sqrt(step^2 / 12 + repeatability^2).

    Parameters:  step : scalar, float [any unit], > 0; the scale's smallest shown step.
        repeatability : scalar, float [unit]; None for half a step
    Returns:     sd : scalar, float [the same unit]
    Source:      JCGM 100:2008 (GUM), 4.3.7: rounding is a rectangular distribution
    Example:     step 1 without noise gives 0.2887.
    """
    noise = REPEATABILITY * step if repeatability is None else repeatability
    return sqrt(step * step / 12 + noise * noise)


def without_scale(n: int, *, sd: float, scale: float) -> Left:
    """Return the spread of the process: what is seen less the scale's part, in squares.

    Parameters:  n : scalar, int [1], >= 2. sd : scalar, float [any unit]; as seen. scale : scalar,
        float [unit]; standard deviation of one weighing
    Returns:     process [unit] with its 95 % interval, scale [unit], whether it limits
    Source:      variances of independent errors add, JCGM 100:2008 (GUM), 5.1.2
    Example:     sd 5 with a scale of 3 leaves 4.
    """
    seen = sd_interval(n, sd=sd)
    ends = [sqrt(max(0.0, value * value - scale * scale)) for value in seen]
    return Left(Interval(*ends), scale, seen.low <= scale)
