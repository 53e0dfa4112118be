"""What a rule is. Each rule stands in its own file with its own examples; one generic test runs
them all.

A rule reads the state and says whether its condition holds now. What follows from that (blocking,
pausing, latching) is data
in the record, acted upon in one place for all (`interlocks.evaluate`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from benchd.core.state import State

SECOND_NS = 1_000_000_000
MINUTE_NS = 60 * SECOND_NS


class Finding(NamedTuple):
    """What a rule found: the sentence for the person, and the value and bound behind it."""

    text: str
    value: float | None = None
    bound: float | None = None


class Example(NamedTuple):
    """One case of a rule: changes to a healthy state, and whether the rule must find something.

    `kind` is one of "trips", "holds", "limit", "missing", "stale", "not fitted"; a kind that cannot
    occur for a rule is named
    in its `no_such`. `given` maps field names of State to values; a mapping value changes fields of
    that sub-struct.
    """

    kind: str
    given: Mapping[str, Any]
    found: bool
    now_ns: int = 1_000 * SECOND_NS


class Rule(NamedTuple):
    """One interlock of the daemon."""

    number: int
    check: Callable[[State, int], Finding | None]
    blocks: frozenset[str]
    """Actions that are refused while it is up: feed, prime, portion, series, stroke, open."""
    pauses: bool
    """A series under way pauses at the next safe point."""
    latches: bool
    """Stays up until acknowledged."""
    unfitted: str
    """What replaces the sensor it rests on when that is not fitted."""
    examples: tuple[Example, ...]
    no_such: frozenset[str] = frozenset()
    hot: bool = False
    """Looked at in every step. The others rest on nothing that a mere sample or beat changes."""
    retold: bool = False
    """Its sentence is told anew whenever it changes while it is up."""


KINDS = ("trips", "holds", "limit", "missing", "stale", "not fitted")
EVERYTHING = frozenset({"feed", "prime", "portion", "series", "stroke"})
CYCLES = frozenset({"portion", "series"})
