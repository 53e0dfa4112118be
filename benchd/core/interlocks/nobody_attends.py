"""IL-26: a series goes on only while somebody is there."""

from __future__ import annotations

from benchd.core.facts import Dough
from benchd.core.interlocks.base import MINUTE_NS, SECOND_NS, Example, Finding, Rule
from benchd.core.state import Series, State


def check(state: State, now_ns: int) -> Finding | None:
    """Trip when a series runs and no request of a person came for so many minutes."""
    if state.series is None or state.series.paused:
        return None
    bound = state.facts.watch.attendance_min
    age_min = (now_ns - state.last_key_ns) / MINUTE_NS
    if age_min <= bound:
        return None
    return Finding(f"Still there? Nobody touched a key for {age_min:.0f} min.", age_min, bound)


_SERIES = Series(
    1, 1, Dough("masa", 0.03, 1150, 0.013, 0.002, 0.004, 0.002, 0.3), 20, 8 * SECOND_NS, 0
)
_NOW = 1_000 * SECOND_NS

RULE = Rule(
    hot=True,
    number=26,
    check=check,
    blocks=frozenset({"series"}),
    pauses=True,
    latches=True,
    unfitted="nothing: it rests on a person, not on a sensor",
    examples=(
        Example("trips", {"series": _SERIES, "last_key_ns": _NOW - 11 * MINUTE_NS}, True),
        Example("limit", {"series": _SERIES, "last_key_ns": _NOW - 10 * MINUTE_NS}, False),
        Example(
            "stale", {"series": _SERIES, "last_key_ns": _NOW - 10 * MINUTE_NS - 1_000_000}, True
        ),
        Example("holds", {"series": _SERIES, "last_key_ns": _NOW}, False),
        Example("holds", {"series": None, "last_key_ns": 0}, False),
    ),
    no_such=frozenset({"missing", "not fitted"}),
)
