"""Which portions of many may be odd: the same comparison as in `matched`, for all at once.

It may name one that is not odd, and leaves none out that is: whatever it names is looked at again,
one by one. A journal of ten million events has some 17,000 portions, and one look takes
milliseconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from benchd.calc.stats.odd import NORMAL_MAD
from benchd.diagnose import matched
from benchd.diagnose.signals import COMPLETE, MASS, SIGNALS, Seen

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Places = NDArray[np.int64]

CHUNK = 2_000
"""Portions at a time, which bounds the memory."""

SURE = 0.999
"""Share of a limit from which on one is named: sums in another order differ in last digits."""


class Sift:
    """All portions of a bench as columns.

    everyone: in the order of their numbers. after: for each, the places of up to LATER of `matched`
    that follow in its tube, -1 for none.
    """

    def __init__(self, everyone: Sequence[Seen], after: Sequence[Sequence[int]]) -> None:
        def column(name: str) -> Numbers:
            values = [one.signals.get(name) for one in everyone]
            return np.array([np.nan if v is None else v for v in values], dtype=float)

        self._values = {name: column(name) for name in SIGNALS}
        self._whole = np.array([one.outcome == COMPLETE for one in everyone])
        self._place = np.array([np.nan if one.place is None else one.place for one in everyone])
        self._after = np.array(after, dtype=np.int64).reshape(len(everyone), matched.LATER)

    def odd(self, begin: int, held_against: Sequence[Sequence[int]]) -> list[bool]:
        """Return whether a signal of a portion is off, or stays off, or the next one began with
        dough at the nozzle, for the portions from place `begin` on.

        held_against: for each, the places of those it is held against.
        """
        ones = np.arange(begin, begin + len(held_against))
        others = np.full((len(ones), matched.MOST), -1, dtype=np.int64)
        for at, places in enumerate(held_against):
            others[at, : len(places)] = places
        rows = [_Row(self, name, ones, others) for name in SIGNALS]
        count = np.sum([row.known for row in rows], axis=0)
        found = np.zeros(len(ones), dtype=bool)
        for row in rows:
            limit = np.maximum(_null_limits(row.n, count), row.null)
            found |= row.known & row.off(limit)
            found |= row.known & row.lasting(limit)
            if row.name == "eye_min":
                found |= row.known & row.next_off(limit)
            elif row.name == MASS:
                found |= row.known & row.strange_mass()
        return [bool(one) for one in found]


class _Row:
    """One signal of some portions beside their matched ones."""

    def __init__(self, sift: Sift, name: str, ones: Places, others: Places) -> None:
        signal = SIGNALS[name]
        self.name, self.sides = name, signal.sides
        values = sift._values[name]
        known = np.where(others >= 0, values[others], np.nan)
        self.n = np.sum(~np.isnan(known), axis=1)
        self.value = values[ones]
        told = signal.early | sift._whole[ones]
        self.known = ~np.isnan(self.value) & (self.n >= matched.LEAST) & told
        place = np.where(others >= 0, sift._place[others], np.nan)
        here = sift._place[ones]
        slope = _slopes(known, place, here)
        way = np.where(slope[:, None] == 0, 0.0, here[:, None] - place)
        self._usual(known + np.nan_to_num(slope[:, None] * way), signal.floor, signal.share)
        later = sift._after[ones]
        there = later >= 0
        if not signal.early:
            there &= sift._whole[later]
        moved = np.where(slope[:, None] == 0, 0.0, sift._place[later] - here[:, None])
        usual = self.middle[:, None] + slope[:, None] * moved
        self.later = np.where(there, values[later] - usual, np.nan)

    def _usual(self, at_place: Numbers, floor: float, share: float) -> None:
        middle = _middle(at_place)
        robust = _middle(np.abs(at_place - middle[:, None])) / NORMAL_MAD
        off = np.abs(at_place - middle[:, None])
        kept = off <= matched.KEPT * robust[:, None]
        k = np.sum(kept, axis=1)
        some = (robust > 0) & (k >= 2)
        inside = np.where(kept, at_place, 0.0)
        mean = np.where(some, inside.sum(axis=1) / np.maximum(k, 1), middle)
        square = np.where(kept, (at_place - mean[:, None]) ** 2, 0.0).sum(axis=1)
        spread = np.where(some, np.sqrt(square / np.maximum(k - 1, 1)), 0.0)
        self.middle = mean
        self.floor = np.maximum(floor, share * np.abs(mean))
        self.spread = np.maximum(np.maximum(spread, self.floor / 10), 1e-12)
        far = np.sort(np.where(kept, np.abs(at_place - mean[:, None]), -1.0), axis=1)
        second = far[:, -2] if far.shape[1] > 1 else far[:, -1]
        null = second / self.spread * k / np.maximum(k - 1, 1)
        self.null = np.where(k >= matched.LEAST, null, 0.0)

    def _beyond(self, off: Numbers, limit: Numbers) -> Flags:
        found = (np.abs(off) / self.spread > SURE * limit) & (np.abs(off) > SURE * self.floor)
        return found if self.sides == "+-" else found & ((off >= 0) == (self.sides == "+"))

    def off(self, limit: Numbers) -> Flags:
        """Whether it is off here."""
        return self._beyond(self.value - self.middle, limit)

    def next_off(self, limit: Numbers) -> Flags:
        """Whether it is above in the next one."""
        return self._beyond(np.nan_to_num(self.later[:, 0]), limit) & (self.later[:, 0] > 0)

    def lasting(self, limit: Numbers) -> Flags:
        """Whether it is off on one side here and in those that follow, their mean by enough."""
        all_of = np.concatenate([(self.value - self.middle)[:, None], self.later], axis=1)
        there = ~np.isnan(all_of)
        k = there.sum(axis=1)
        sign = np.where(all_of[:, 0] >= 0, 1.0, -1.0)
        far = np.where(there, all_of * sign[:, None], np.inf).min(axis=1)
        mean = np.nansum(all_of, axis=1) * sign / np.maximum(k, 1) / self.spread
        middle = 1 / np.maximum(self.n, 1)
        least = limit * np.sqrt((1 / np.maximum(k, 1) + middle) / (1 + middle))
        enough = (k >= 3) & (self.n >= matched.ENOUGH)
        found: Flags = enough & (far > 0.6 * SURE * self.floor) & (mean > SURE * least)
        return found

    def strange_mass(self) -> Flags:
        """Whether it weighs like none or like two, or the next one like two."""
        following = self.later[:, 0] + self.middle
        return (
            (self.value < 0.5 * self.middle)
            | (self.value > 1.5 * self.middle)
            | (following > 1.5 * self.middle)
        )


def _null_limits(n: Places, count: Places) -> Numbers:
    pairs, where = np.unique(np.stack([n, count]), axis=1, return_inverse=True)
    limits = [
        matched.null_limit(int(n), int(count)) if n >= matched.LEAST else np.inf
        for n, count in pairs.T
    ]
    return np.array(limits)[where.ravel()]


def _middle(values: Numbers) -> Numbers:
    """Return the median of each row, what is not a number left out."""
    ordered = np.sort(values, axis=1)
    n = np.sum(~np.isnan(values), axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum(n - 1, 0) // 2]
    high = ordered[rows, np.minimum(n // 2, values.shape[1] - 1)]
    middle: Numbers = (low + high) / 2
    return middle


def _slopes(known: Numbers, place: Numbers, here: Numbers) -> Numbers:
    """Return the trend along the tube of each row, 0 where none is taken out."""
    there = ~np.isnan(known)
    n = there.sum(axis=1)
    paired = there & ~np.isnan(place)
    order = np.lexsort((known, np.where(paired, place, np.inf)), axis=1)
    by_place = np.take_along_axis(np.where(paired, place, np.nan), order, axis=1)
    values = np.take_along_axis(known, order, axis=1)
    third = (n // 3)[:, None]
    at = np.arange(known.shape[1])[None, :]
    first, last = at < third, (at >= n[:, None] - third) & (at < n[:, None])

    def of(part: Flags, what: Numbers) -> Numbers:
        return _middle(np.where(part, what, np.nan))

    way = of(last, by_place) - of(first, by_place)
    rise = of(last, values) - of(first, values)
    told = (paired.sum(axis=1) == n) & (n // 3 >= 2) & ~np.isnan(here) & (way >= 0.1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(told, rise / way, 0.0)
