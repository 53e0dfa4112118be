"""How far a portion's signals lie from those of matched good portions, and how far is odd.

Matched are good portions of the same card and values; of the same third of the tube where there
are enough, else of all thirds and tubes after the trend along the tube is taken out. The first of a
series, and the first after a pause, differ by nature: they are held against their like once there
are some. Portions
before it in its own tube and those of other tubes are taken where there are enough: what began with
it may last.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from functools import cache
from math import sqrt
from statistics import median
from typing import NamedTuple

from benchd.calc.spread import mean_sd
from benchd.calc.stats.odd import DECISIVE, NORMAL_MAD
from benchd.calc.student_lightly import student
from benchd.diagnose.signals import COMPLETE, SIGNALS, Seen

ENOUGH = 20
"""Below so many matched portions evidence is called weak."""

LEAST = 8
"""Below so many nothing is compared."""

BEGINS = ("first", "after-pause")
"""Classes whose portions differ from the others by nature."""

MOST = 40
"""Of more, only the nearest by number are taken: a bench changes with time."""

NEAR = 12
"""Matched ones so many of which, the nearest in the tube, tell how much portions scatter there."""

LATER = 3
"""Portions after one in which what is off may stay off."""

ALPHA = 0.002
"""Share of sound portions in which at least one of all signals may seem odd by chance."""

KEPT = 6.0
"""Values further than so many robust spreads (MAD / 0.6745) from the median do not count for what
is usual."""

_FREEDOM = 0.6
"""Degrees of freedom beside n - 1 that the spread of the values kept is worth: chosen by simulation
for normal values, so that the share of false alarms holds from LEAST on."""


class Far(NamedTuple):
    """One signal of one portion beside its matched ones."""

    name: str
    value: float
    usual: float
    z: float
    """Robust z [-]: distance from the middle in spreads that odd values do not widen."""
    limit: float
    """Distance [-] that the null allows at this n and number of signals."""
    n: int
    odd: bool

    @property
    def sign(self) -> str:
        """Side on which it lies: + or -."""
        return "+" if self.value >= self.usual else "-"

    @property
    def doubtful(self) -> bool:
        """Whether it lies too far off to pass for usual, and not far enough to accuse by itself."""
        off = abs(self.value - self.usual)
        return (
            not self.odd and abs(self.z) > decisive(self.n) and off > floor(self.name, self.usual)
        )


class Good:
    """The good portions of a bench, sorted so that those that match one are found without a look
    at all the others: a whole journal is gone through in time that grows with its length only.

    everyone: all portions of the bench.
    """

    def __init__(self, everyone: Iterable[Seen]) -> None:
        self._alike: dict[str, _Pool] = defaultdict(_Pool)
        self._thirds: dict[tuple[str, int], _Pool] = defaultdict(_Pool)
        self._begins: dict[tuple[str, str], _Pool] = defaultdict(_Pool)
        for one in sorted(everyone, key=_number):
            if one.kind in BEGINS and one.outcome == COMPLETE:
                self._begins[one.like, one.kind].add(one)
            if one.good:
                self._alike[one.like].add(one)
                if one.third is not None:
                    self._thirds[one.like, one.third].add(one)

    def matched(self, one: Seen) -> list[Seen]:
        """Return the good portions that a portion may be held against: those like it, itself and
        its next neighbour left out, the nearest by number first."""
        if one.kind in BEGINS:
            begins = self._begins[one.like, one.kind].nearest(one, earlier=False)
            if len(begins) >= LEAST:
                return begins
        alike = self._alike[one.like]
        third = _Pool() if one.third is None else self._thirds[one.like, one.third]
        # What began with it may last: portions before it, and other tubes, where there are enough.
        pool = alike.nearest(one, earlier=True)
        earlier = len(pool) >= ENOUGH
        if not earlier:
            pool = alike.nearest(one, earlier=False)
        chosen = third.nearest(one, earlier=earlier)
        return chosen if len(chosen) >= ENOUGH else pool


def _number(one: Seen) -> int:
    return one.number


class _Pool:
    """Portions in the order of their numbers."""

    def __init__(self) -> None:
        self._numbers: list[int] = []
        self._ones: list[Seen] = []

    def add(self, one: Seen) -> None:
        """Add the next one."""
        self._numbers.append(one.number)
        self._ones.append(one)

    def nearest(self, one: Seen, *, earlier: bool) -> list[Seen]:
        """Return up to MOST, the nearest first, without the portion itself and its next neighbour.

        earlier: of its own tube only those before it.
        """
        numbers, ones, number, loading = self._numbers, self._ones, one.number, one.loading
        low = bisect_left(numbers, number) - 1
        high, end = bisect_right(numbers, number + 1), len(numbers)
        found: list[Seen] = []
        while len(found) < MOST and (low >= 0 or high < end):
            if high >= end or (low >= 0 and number - numbers[low] <= numbers[high] - number):
                found.append(ones[low])
                low -= 1
                continue
            if not (earlier and ones[high].loading == loading):
                found.append(ones[high])
            high += 1
        return found


@cache
def null_limit(n: int, signals: int, alpha: float = ALPHA) -> float:
    """Return how far the robust z of the oddest of several signals of a sound portion may lie.

    The portion is one more beside n others (leave one out), whose mean and spread are estimates:
    Student's t, widened by the error of the mean.

    Parameters:  n : scalar, int [1], >= LEAST. signals : scalar, int [1]. alpha : scalar [-], for
        all signals together
    Returns:     limit : scalar [-]
    Source:      prediction of one more normal value, with the degrees of freedom of _FREEDOM; held
        to its share by simulation in the tests
    """
    t = student(1 - alpha / (2 * max(1, signals)), _FREEDOM * (n - 1))
    return t * sqrt(1 + 1 / n)


def decisive(n: int) -> float:
    """Return by how many usual spreads a portion must be off for what is beside it to tell [-]:
    more where only n others say what is usual, as their spread is an estimate."""
    return max(DECISIVE, null_limit(n, 1))


def floor(name: str, usual: float) -> float:
    """Return the least difference from what is usual that counts for a signal [SI]."""
    return max(SIGNALS[name].floor, SIGNALS[name].share * abs(usual))


def usual(values: Sequence[float]) -> tuple[float, float, list[float]]:
    """Return mean and spread of values, and those that counted: ones far out do not.

    Parameters:  values : (n,), float [any unit], n >= 2
    Returns:     mean, sd [unit]; kept : (k,), k <= n
    """
    middle = median(values)
    spread = median(abs(v - middle) for v in values) / NORMAL_MAD
    kept = [v for v in values if abs(v - middle) <= KEPT * spread]
    if spread == 0 or len(kept) < 2:
        return middle, 0.0, kept
    return *mean_sd(kept), kept


def far(
    one: Seen,
    others: Sequence[Seen],
    names: Collection[str] = SIGNALS.keys(),
    count: int | None = None,
) -> list[Far]:
    """Return every signal that can be compared, each with its distance and limit.

    names: only these signals. count: how many signals the limit is for; default: those returned.
    """
    rows: list[tuple[str, float, float, float, int, float]] = []
    for name, signal in SIGNALS.items():
        value = one.signals.get(name)
        if value is None or name not in names or not (signal.early or one.outcome == COMPLETE):
            continue
        known = [(o.place, v) for o in others if (v := o.signals.get(name)) is not None]
        if len(known) < LEAST:
            continue
        values = _at_place(one.place, known)
        middle, spread, kept = usual(values)
        spread = max(spread, _spread_near(one.place, [p for p, _ in known], values))
        # A quantum of the sensor would else make the spread next to nothing.
        spread = max(spread, floor(name, middle) / 10, 1e-12)
        null = _left_out(kept, middle, spread)
        rows.append((name, value, middle, (value - middle) / spread, len(values), null))
    count = len(rows) if count is None else count
    found = []
    for name, value, middle, z, n, null in rows:
        limit = max(null_limit(n, count), null)
        side = "+" if value >= middle else "-"
        beyond = abs(z) > limit and abs(value - middle) > floor(name, middle)
        odd = beyond and side in SIGNALS[name].sides
        found.append(Far(name, value, middle, z, limit, n, odd))
    return found


def _left_out(kept: Sequence[float], middle: float, spread: float) -> float:
    """Return how far the second farthest of the others lies when it is left out itself [-]: what
    these very portions show of the null. One of them may be odd, so the farthest does not count."""
    if len(kept) < LEAST:
        return 0.0
    n = len(kept)
    return sorted(abs(v - middle) for v in kept)[-2] / spread * n / (n - 1)


def _at_place(place: float | None, known: Sequence[tuple[float | None, float]]) -> list[float]:
    """Return the others' values as they would be at this place of the tube.

    The trend is that between the medians of the first and the last third of them, which odd ones do
    not bend (Tukey's resistant line; from memory).
    """
    pairs = sorted((p, v) for p, v in known if p is not None)
    count = len(pairs) // 3
    if place is None or count < 2 or len(pairs) < len(known):
        return [v for _, v in known]
    first, last = pairs[:count], pairs[-count:]
    way = median(p for p, _ in last) - median(p for p, _ in first)
    if way < 0.1:
        return [v for _, v in known]
    slope = (median(v for _, v in last) - median(v for _, v in first)) / way
    return [v if p is None else v + slope * (place - p) for p, v in known]


def _spread_near(
    place: float | None, places: Sequence[float | None], values: Sequence[float]
) -> float:
    """Return the spread of the NEAR values that lie nearest to a place of the tube, 0 where they do
    not tell.

    A full barrel holds more dough that gives way than one that is nearly empty, so that weights
    scatter several times as much at the front of a tube as at its end. What is pooled over all of
    it would call the front odd.
    """
    away = sorted(
        (abs(p - place), v)
        for p, v in zip(places, values, strict=True)
        if p is not None and place is not None
    )
    return usual([v for _, v in away[:NEAR]])[1] if len(away) >= NEAR else 0.0
