"""One word for a series of weights of one tube, with all that it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from math import sqrt
from typing import NamedTuple

from benchd.calc.spread import Interval, mean_sd, sd_interval
from benchd.calc.stats import quantiles
from benchd.calc.stats.control import neighbour_sums
from benchd.calc.stats.odd import Went, odd_ones, where_it_went
from benchd.calc.stats.order import Line, Split, line, split

LEAST = 8
"""Weights below which no verdict is given (common practice)."""

HINT_BELOW = 40
"""Weights below which what neighbours tell is a hint (common practice)."""

TREND_MATTERS = 0.005
"""Share of the mean that a proven trend must change along the series to be called a drift."""

EVENTS_MOST = 2
"""More odd places than this are no odd ones any more."""

PLAN_MOST = 1000


class Word(StrEnum):
    """The verdict."""

    STEADY = "steady"
    DRIFTING = "drifting"
    ALTERNATING = "alternating"
    ONE_ODD = "one odd"
    SCATTERED = "scattered"
    CANT_TELL = "can't tell"


class Event(NamedTuple):
    """An odd weight: its place, that of the neighbour that has the rest, where the mass went."""

    at: int
    partner: int | None
    went: Went


class Verdict(NamedTuple):
    """The word and what it rests on; places count from 0 in the order of the tube."""

    word: Word
    events: tuple[Event, ...]
    kept: tuple[int, ...]
    """Places of the weights that are not part of an odd event."""
    sd: Interval | None
    """Spread of the kept weights about their line where they drift, else about their mean."""
    wanted_sd: float
    """Spread up to which 95 of 100 would be within the tolerance."""
    line: Line | None
    split: Split | None
    """Of the kept weights, without their trend where one is proven."""
    more: int | None
    """How many more weights would settle it, were the spread as it is; None when settled or
    beyond a thousand."""


def verdict(
    positions: Sequence[int],
    values: Sequence[float],
    *,
    tolerance: float,
    scale_sd: float,
) -> Verdict:
    """Return one word for the weights of one tube, in its order.

    Odd ones are named first and set aside; then come drift (99 %, and at least 0.5 % of the mean
    along the series), alternation (95 %), and the 95 % interval of the spread against what the
    tolerance asks: all below it is steady, all above it scattered, else it cannot be told.

    Parameters:  positions : (n,), int [portions], rising; index in the tube. values : (n,), float
        [any unit]. tolerance : scalar, float [unit], > 0; half width that 95 of 100 shall keep to.
        scale_sd : scalar, float [unit], >= 0; of one weighing
    Returns:     verdict and what it rests on
    Source:      the parts' own; their order is common practice (an odd one spoils every other
        figure, a drift spoils the neighbours')
    """
    wanted_sd = tolerance / quantiles.normal(0.975)
    n = len(values)
    if n < LEAST:
        every = tuple(range(n))
        return Verdict(Word.CANT_TELL, (), every, None, wanted_sd, None, None, LEAST - n)
    events = odd_events(positions, values, scale_sd=scale_sd)
    gone = {at for event in events for at in (event.at, event.partner)}
    kept = tuple(at for at in range(n) if at not in gone)
    at_kept = [positions[at] for at in kept]
    kept_values = [values[at] for at in kept]
    along = line(at_kept, kept_values)
    mean, sd = mean_sd(kept_values)
    drifts = along.proven and _matters(along, at_kept, mean)
    # A line fitted to weights without a trend makes its residuals alternate a little by itself.
    parts = split(along.residuals if along.proven else kept_values, at_kept)
    if drifts:
        sd = sqrt(sum(r * r for r in along.residuals) / (len(kept) - 2))
    # Equal readings are no proof of equal portions: half of a scale's own spread is rounding.
    # A line takes one degree of freedom more than a mean.
    spread = sd_interval(len(kept) - drifts, sd=max(sd, scale_sd / 2))
    word = _word(drifts, parts.alternating, spread, wanted_sd)
    if len(events) > EVENTS_MOST:
        word = Word.SCATTERED
    elif events and word in (Word.STEADY, Word.CANT_TELL):
        word = Word.ONE_ODD
    more = _more(len(kept), sd, wanted_sd) if word is Word.CANT_TELL else None
    return Verdict(word, events, kept, spread, wanted_sd, along, parts, more)


def _matters(along: Line, positions: Sequence[int], mean: float) -> bool:
    change = abs(along.slope.value) * (positions[-1] - positions[0])
    return change > TREND_MATTERS * abs(mean)


def _word(drifts: bool, alternates: bool, spread: Interval, wanted_sd: float) -> Word:
    if drifts:
        return Word.DRIFTING
    if alternates:
        return Word.ALTERNATING
    if spread.low > wanted_sd:
        return Word.SCATTERED
    return Word.STEADY if spread.high <= wanted_sd else Word.CANT_TELL


def odd_events(
    positions: Sequence[int], values: Sequence[float], *, scale_sd: float
) -> tuple[Event, ...]:
    """Return the odd weights in order, an odd pair of neighbours that cancels as one event.

    Parameters:  as `verdict`; positions [portions]
    Source:      `benchd.calc.stats.odd`
    """
    odd = odd_ones(values, least=scale_sd)
    usual = [at for at in range(len(values)) if at not in odd]
    mean, sd = mean_sd([values[at] for at in usual])
    sums = neighbour_sums([values[at] for at in usual], [positions[at] for at in usual])
    sum_sd = mean_sd(sums)[1] if len(sums) > 2 else sqrt(2) * sd
    events: list[Event] = []
    taken: set[int] = set()
    for at in odd:
        if at in taken:
            continue
        partner, went = None, Went.UNKNOWN
        if at + 1 < len(values) and positions[at + 1] - positions[at] == 1:
            went = where_it_went(
                values[at],
                values[at + 1],
                mean=mean,
                sd=max(sd, scale_sd),
                sum_sd=max(sum_sd, sqrt(2) * scale_sd),
            )
            partner = at + 1 if went is Went.MOVED else None
        taken |= {at, at if partner is None else partner}
        events.append(Event(at, partner, went))
    return tuple(events)


def _more(n: int, sd: float, wanted_sd: float) -> int | None:
    """How many more weights would put the interval of the spread on one side of what is wanted."""
    for count in range(n + 1, n + PLAN_MOST):
        spread = sd_interval(count, sd=sd)
        if spread.high <= wanted_sd or spread.low > wanted_sd:
            return count - n
    return None
