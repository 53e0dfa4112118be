"""Run rules: patterns on a control chart that chance rarely makes.

Values are given as z: distance from the centre in standard deviations.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from typing import NamedTuple


class Rule(NamedTuple):
    """One pattern: its name, what it means, how many points it looks at, and what these must be."""

    name: str
    meaning: str
    points: int
    holds: Callable[[Sequence[float]], bool]


def _one_side(z: Sequence[float], beyond: float, least: int) -> bool:
    """Whether the newest and at least so many of all are beyond, on one side."""
    for sign in (1, -1):
        if sign * z[-1] > beyond and sum(sign * value > beyond for value in z) >= least:
            return True
    return False


def _rising(z: Sequence[float]) -> bool:
    steps = [b - a for a, b in itertools.pairwise(z)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _turning(z: Sequence[float]) -> bool:
    steps = [b - a for a, b in itertools.pairwise(z)]
    return all(a * b < 0 for a, b in itertools.pairwise(steps))


RULES: tuple[Rule, ...] = (
    Rule("beyond-3", "one point beyond three spreads", 1, lambda z: abs(z[-1]) > 3),
    Rule("two-of-three", "two of three beyond two spreads on one side", 3,
         lambda z: _one_side(z, 2, 2)),
    Rule("four-of-five", "four of five beyond one spread on one side", 5,
         lambda z: _one_side(z, 1, 4)),
    Rule("eight-on-a-side", "eight in a row on one side", 8, lambda z: _one_side(z, 0, 8)),
    Rule("nine-on-a-side", "nine in a row on one side", 9, lambda z: _one_side(z, 0, 9)),
    Rule("six-rising", "six in a row rising or falling", 6, _rising),
    Rule("fourteen-turning", "fourteen in a row up and down by turns", 14, _turning),
    Rule("fifteen-near", "fifteen in a row within one spread", 15,
         lambda z: all(abs(value) < 1 for value in z)),
    Rule("eight-far", "eight in a row beyond one spread, on both sides", 8,
         lambda z: all(abs(value) > 1 for value in z) and min(z) < 0 < max(z)),
)  # fmt: skip
"""Every rule. Source: Western Electric handbook (1956); Nelson, J. Quality Technology 16 (1984)."""

RULE: dict[str, Rule] = {rule.name: rule for rule in RULES}

USUAL = ("beyond-3", "two-of-three", "four-of-five", "eight-on-a-side")
"""Together they call a false alarm once in 92 points (Champ and Woodall, 1987)."""

CAUTIOUS = ("beyond-3", "eight-on-a-side")
"""Together they call a false alarm once in 153 points (same source)."""


def first_at(z: Sequence[float], rule: Rule) -> int | None:
    """Return the place [1] of the first point at which a rule holds, None where it never does.

    Parameters:  z : (n,), float [-]; distances from the centre in standard deviations
    Source:      as RULES
    Example:     0.1, 3.01 meets beyond-3 at 1.
    """
    for end in range(rule.points, len(z) + 1):
        if rule.holds(z[end - rule.points : end]):
            return end - 1
    return None


def fired(z: Sequence[float], names: Sequence[str] = USUAL) -> dict[str, int]:
    """Return the names of the rules that hold somewhere, each with its first place [1].

    Source:      as RULES
    """
    places = {name: first_at(z, RULE[name]) for name in names}
    return {name: at for name, at in places.items() if at is not None}
