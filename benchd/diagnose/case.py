"""The case of one portion: its signals beside good ones, what was found, what may have caused
it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

from benchd.diagnose.findings import EVENTS, SUMS, Finding, find, without
from benchd.diagnose.matched import BEGINS, ENOUGH, LATER, LEAST, Far, Good, far
from benchd.diagnose.rank import Opinion, opinion
from benchd.diagnose.signals import COMPLETE, MASS, SIGNALS, Seen, only_fitted

FEW = 100
"""Up to so many portions each is looked at; of more, those that `sift` names."""

CONTEXT = frozenset({"card", "other-tube", "after-pause", "end", "after-dump", "moved-before"})
"""Findings that accuse no portion by themselves."""


class Case:
    """What is known of one portion that was asked about, or is odd.

    rows: its signals, the farthest first. found: findings by name. n: how many good portions it was
    held against. like_it: whether those are of its own class. until: number of the last portion
    in which the same goes on.
    """

    def __init__(
        self,
        portion: Seen,
        rows: Sequence[Far],
        found: dict[str, Finding],
        n: int,
        *,
        like_it: bool = True,
    ) -> None:
        self.portion = portion
        self.like_it = like_it
        self.rows = tuple(sorted(rows, key=lambda row: -abs(row.z) / row.limit))
        self.found = found
        self.n = n
        self.until = portion.number

    @property
    def weak(self) -> bool:
        """Whether so few stand behind the evidence, or a part of it, that it is only a hint."""
        return self.n < ENOUGH or bool(self.weak_rows)

    @property
    def weak_rows(self) -> list[Far]:
        """Return the odd signals that fewer portions tell than evidence takes: not each of them has
        a weight, or was measured."""
        return [row for row in self.rows if row.odd and row.n < ENOUGH]

    @property
    def seen(self) -> list[Finding]:
        """Return what was found and is not as usual, the surroundings left out: signals first, the
        farthest off at the top."""
        found = [one for one in self.found.values() if one.seen and one.name not in CONTEXT]
        return sorted(found, key=lambda one: -abs(one.z))

    @property
    def accusing(self) -> list[Finding]:
        """Return what makes it odd: a sum with its neighbour only tells more of an odd weight."""
        return [one for one in self.seen if one.name not in SUMS]

    @property
    def odd(self) -> bool:
        """Whether something of it is not as usual."""
        return bool(self.accusing) or self.portion.outcome != "complete"

    @property
    def partner(self) -> bool:
        """Whether it only has what the portion before it lacks."""
        return bool(self.found["moved-before"].seen)

    @property
    def by_nature(self) -> bool:
        """Whether it is the first of a series, complete, and off in nothing but signals beside
        normal portions, from which first ones differ. What changed with it counts all the same."""
        if self.like_it or self.portion.kind != "first" or self.portion.outcome != "complete":
            return False
        if self.found["card"].seen:
            return False
        return all(one.name not in EVENTS for one in self.accusing)

    @property
    def listed(self) -> bool:
        """Whether it stands among the odd ones by itself."""
        return self.odd and not self.partner and not self.by_nature

    @property
    def weight(self) -> float:
        """How odd it is [-], to rank by: distance beside its limit, and whether it ended early."""
        farthest = max((abs(row.z) / row.limit for row in self.rows if row.odd), default=0.0)
        events = sum(one.name in EVENTS for one in self.seen)
        return farthest + events + 100.0 * (self.portion.outcome != "complete")

    @cached_property
    def opinion(self) -> Opinion:
        """What may be the cause."""
        return opinion(self.found)


def held_against(case: Case) -> str:
    """Return how many good portions stand behind it, and how far that reaches."""
    if case.n < LEAST:
        return (
            f"Held against nothing: there are {case.n} good portions of the same card and values, "
            f"and it takes {LEAST}. Only what happened counts here."
        )
    fewer = ", ".join(f"{SIGNALS[row.name].words} on {row.n}" for row in case.weak_rows)
    rests = f": {fewer} of them" if fewer and case.n >= ENOUGH else ""
    weak = f" Evidence is weak below {ENOUGH}{rests}." if case.weak else ""
    nature = "" if case.like_it else " Those are normal ones, from which it differs by its place."
    return f"Held against {case.n} good portions of the same card and values.{nature}{weak}"


class Bench:
    """All portions of some journals, ready to be looked at one by one."""

    def __init__(self, portions: Sequence[Seen], fitted: frozenset[str]) -> None:
        self.fitted = fitted
        self.portions = [only_fitted(one, fitted) for one in portions]
        self._tubes: dict[int, list[Seen]] = {}
        for one in self.portions:
            self._tubes.setdefault(one.loading, []).append(one)
        self._good = Good(self.portions)

    def good_ones(self, one: Seen) -> list[Seen]:
        """Return the good portions that one is held against, the nearest first."""
        return self._good.matched(one)

    def tube_of(self, one: Seen) -> list[Seen]:
        """Return all portions of its tube, in order."""
        return self._tubes[one.loading]

    def case(self, one: Seen) -> Case:
        """Return what is found of a portion, one of `portions`."""
        others = self.good_ones(one)
        rows = far(one, others)
        tube = self._tubes[one.loading]
        at = tube.index(one)
        # Only what is off here can stay off; the eye's lowest level tells of a piece that hung.
        off = {row.name for row in rows if abs(row.z) > 2.0} | {"eye_min"}
        like_it = one.kind not in BEGINS or all(other.kind == one.kind for other in others)
        # Those that follow a first one are none, and so differ from first ones by nature.
        begins = one.kind in BEGINS and like_it
        following = [] if begins else tube[at + 1 : at + 1 + LATER]
        later = [far(other, others, off, len(rows)) for other in following]
        before = tube[at - 1] if at > 0 else None
        after = tube[at + 1] if at + 1 < len(tube) else None
        usual_kg = [mass for other in others if (mass := other.signals.get(MASS)) is not None]
        found = find(one, rows, later, (before, after), usual_kg)
        return Case(one, rows, without(found, self.fitted), len(others), like_it=like_it)

    def _maybe_odd(self) -> set[int] | None:
        """Return the identities of the portions that may be odd; None where there are so few that
        each is looked at."""
        if len(self.portions) <= FEW:
            return None
        from benchd.diagnose import sift

        found = {id(one) for one in self.portions if one.outcome != COMPLETE}
        places = {id(one): at for at, one in enumerate(self.portions)}
        after = [[-1] * LATER for _ in self.portions]
        for tube in self._tubes.values():
            for at, one in enumerate(tube):
                following = [places[id(other)] for other in tube[at + 1 : at + 1 + LATER]]
                after[places[id(one)]][: len(following)] = following
                beside = (tube[at - 1] if at else None, tube[at + 1] if following else None)
                if one.events.keys() - CONTEXT or len(one.readings_kg) > 1 or _missing(one, beside):
                    found.add(id(one))
        columns = sift.Sift(self.portions, after)
        for begin in range(0, len(self.portions), sift.CHUNK):
            ones = self.portions[begin : begin + sift.CHUNK]
            others = [[places[id(other)] for other in self.good_ones(one)] for one in ones]
            odd = columns.odd(begin, others)
            found.update(id(one) for one, is_odd in zip(ones, odd, strict=True) if is_odd)
        return found

    def odd_ones(self) -> list[Case]:
        """Return the cases of all odd portions, the oddest first; those that only have what the one
        before lacks, and those in which the same goes on, stand with it."""
        maybe = self._maybe_odd()
        kept: list[Case] = []
        for tube in self._tubes.values():
            last: Case | None = None
            for one in tube:
                if maybe is not None and id(one) not in maybe:
                    continue
                case = self.case(one)
                if not case.listed:
                    continue
                if last is not None and _goes_on(last, case):
                    last.until = one.number
                    continue
                kept.append(case)
                last = case
        return sorted(kept, key=lambda case: -case.weight)


def _missing(one: Seen, beside: tuple[Seen | None, Seen | None]) -> bool:
    """Return whether it was not weighed, and both beside it were."""
    return one.signals.get(MASS) is None and all(
        other is not None and other.signals.get(MASS) is not None for other in beside
    )


def _goes_on(last: Case, case: Case) -> bool:
    """Return whether a portion only shows what began with an earlier one and lasts."""
    lasting = {one.name.removesuffix(" on") for one in last.seen if one.name.endswith(" on")}
    now = {one.name.removesuffix(" on") for one in case.accusing}
    signals = {name for name in now if name[:-1] in SIGNALS}
    return bool(lasting & now) and len(signals - lasting) <= 1 and now <= signals | {"smeared"}
