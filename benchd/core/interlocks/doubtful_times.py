"""IL-30: board times whose stated error is too large are marked doubtful; nothing is stopped for
it."""

from __future__ import annotations

from benchd.core.clock_map import ClockMap
from benchd.core.interlocks.base import Example, Finding, Rule
from benchd.core.state import State


def check(state: State, now_ns: int) -> Finding | None:
    """Find a stated error above the card's bound."""
    if state.link != "up" or state.clock.error_ns is None:
        return None
    bound = state.facts.watch.clock_error_ms
    error_ms = state.clock.error_ns / 1e6
    if error_ms <= bound:
        return None
    return Finding(f"Times uncertain by ±{error_ms:.0f} ms.", error_ms, bound)


RULE = Rule(
    hot=True,
    number=30,
    check=check,
    blocks=frozenset(),
    pauses=False,
    latches=False,
    unfitted="nothing: it rests on the clocks, not on a sensor",
    examples=(
        Example("trips", {"link": "up", "clock": ClockMap(error_ns=21_000_000)}, True),
        Example("limit", {"link": "up", "clock": ClockMap(error_ns=20_000_000)}, False),
        Example("holds", {"link": "up", "clock": ClockMap(error_ns=1_000_000)}, False),
        Example("holds", {"link": "down", "clock": ClockMap(error_ns=21_000_000)}, False),
        Example("missing", {"link": "up", "clock": ClockMap()}, False),
    ),
    no_such=frozenset({"stale", "not fitted"}),
)
