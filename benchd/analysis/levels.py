"""Whether a tube's mean weight, and its thrust, are where those of the frozen tubes were.

A chart stands about each tube's own mean or line and so cannot show a tube that is off as a whole.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import fsum, sqrt
from typing import NamedTuple

import msgspec

from benchd.analysis.weighed import Made, by
from benchd.calc.spread import CONFIDENCE, mean_sd
from benchd.calc.stats import quantiles
from benchd.calc.stats.odd import without_odd
from benchd.calc.stats.order import line

TUBE_LEAST = 4
"""Weights of a tube below which its mean says too little."""

UNITS = {"weight": "kg", "thrust at the cut": "N"}
"""Signals with a level, and their units."""


class Level(msgspec.Struct, frozen=True):
    """Where tubes were, in the unit of the signal: mean of their values, and how sure it is."""

    mean: float
    tubes: int
    between: float | None
    """Standard deviation of the tubes' values; None with one tube."""
    within: float
    """Standard deviation of one point of a tube."""
    freedom: int
    """Degrees of freedom of `within`."""
    share: float
    """Mean variance of a tube's value over that of one of its points, by chance alone [-]."""
    place: float | None = None
    """Portion of the tube that thrust is taken at; None for a mean."""


class Held(msgspec.Struct, frozen=True):
    """One tube held against frozen ones: 95 of 100 such tubes are from low to high."""

    signal: str
    unit: str
    tube: str
    loading: int
    value: float
    low: float
    high: float
    beyond: bool
    frozen: float
    """Mean of the frozen tubes."""
    tubes: int
    """How many these were. With one, the range knows nothing of what tubes differ by."""
    place: float | None = None


class Tube(NamedTuple):
    """The value of one tube, with what its points tell of its chance."""

    tube: str
    loading: int
    value: float
    share: float
    squares: float
    freedom: int


def levels_of(portions: Sequence[Made]) -> dict[str, Level]:
    """Return the levels of portions that are to be frozen, by signal."""
    known = [one.index for one in portions if one.signals["thrust_n"] is not None]
    place = fsum(known) / len(known) if known else 0.0
    told = {
        "weight": level(_weights(portions), None),
        "thrust at the cut": level(_thrusts(portions, place), place),
    }
    return {signal: one for signal, one in told.items() if one is not None}


def held(levels: Mapping[str, Level], portions: Sequence[Made]) -> tuple[Held, ...]:
    """Return every tube of these portions held against frozen levels."""
    rows = []
    for signal, of in levels.items():
        tubes = _weights(portions) if of.place is None else _thrusts(portions, of.place)
        for tube in tubes:
            half = half_width(of, tube.share)
            low, high = of.mean - half, of.mean + half
            beyond = not low <= tube.value <= high
            found = (tube.tube, tube.loading, tube.value, low, high, beyond)
            rows.append(Held(signal, UNITS[signal], *found, of.mean, of.tubes, of.place))
    return tuple(rows)


def level(tubes: Sequence[Tube], place: float | None) -> Level | None:
    """Return the level of tubes; None where there is none, or no chance to hold one against."""
    squares, freedom = fsum(one.squares for one in tubes), sum(one.freedom for one in tubes)
    if not tubes or squares == 0:
        return None
    values = [one.value for one in tubes]
    return Level(
        mean=fsum(values) / len(values),
        tubes=len(values),
        between=mean_sd(values)[1] if len(values) > 1 else None,
        within=sqrt(squares / freedom),
        freedom=freedom,
        share=fsum(one.share for one in tubes) / len(tubes),
        place=place,
    )


def half_width(of: Level, share: float) -> float:
    """Return how far 95 of 100 tubes are from the mean of the frozen ones at most [unit].

    Of several tubes by what they differ, t(0.975, k - 1) sqrt(between^2 (1 + 1/k) + d), between no
    less than chance within tubes makes it, d for a tube of fewer points than theirs; of one tube by
    chance within it alone. Errs to the wide side where tubes hardly differ.

    Parameters:  share : scalar, float [-]; of the tube, as in `Tube`
    Source:      Student's t for a future observation, as in ISO 16269-8
    """
    upper = (1 + CONFIDENCE) / 2
    if of.between is None:
        return quantiles.student(upper, of.freedom) * of.within * sqrt(share + of.share)
    within2 = of.within**2
    between2 = max(of.between**2, within2 * of.share)
    error2 = between2 * (1 + 1 / of.tubes) + within2 * max(0.0, share - of.share)
    return quantiles.student(upper, of.tubes - 1) * sqrt(error2)


def usual_mean(tube: Sequence[Made]) -> tuple[float, list[float]]:
    """Return the mean of a tube's weights [kg] without odd ones, and these weights."""
    usual = without_odd([one.mass_kg or 0.0 for one in tube])
    return sum(usual) / len(usual), usual


def _weights(portions: Sequence[Made]) -> list[Tube]:
    rows = []
    for tube in by(portions, lambda one: one.loading).values():
        if len(tube) < TUBE_LEAST:
            continue
        mean, usual = usual_mean(tube)
        squares = fsum((mass - mean) ** 2 for mass in usual)
        n = len(usual)
        rows.append(Tube(tube[0].tube, tube[0].loading, mean, 1 / n, squares, n - 1))
    return rows


def _thrusts(portions: Sequence[Made], place: float) -> list[Tube]:
    """Thrust falls along a tube, so it is taken from a tube's line at one place, not beyond it."""
    rows = []
    for tube in by(portions, lambda one: one.loading).values():
        known = [(one.index, one.signals["thrust_n"]) for one in tube]
        points = [(index, value) for index, value in known if value is not None]
        if len(points) < TUBE_LEAST or not points[0][0] <= place <= points[-1][0]:
            continue
        n, at = len(points), [float(index) for index, _ in points]
        along = line(at, [value for _, value in points])
        middle = fsum(at) / n
        value = fsum(value for _, value in points) / n + along.slope.value * (place - middle)
        share = 1 / n + (place - middle) ** 2 / fsum((index - middle) ** 2 for index in at)
        squares = fsum(off * off for off in along.residuals)
        rows.append(Tube(tube[0].tube, tube[0].loading, value, share, squares, n - 2))
    return rows
