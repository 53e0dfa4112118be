"""IL-17: after air was away the exhaust side is empty and the first stroke is fast; it must be a
dry one, hands clear."""

from __future__ import annotations

from benchd.core.interlocks.base import CYCLES, Example, Finding, Rule
from benchd.core.state import State


def check(state: State, now_ns: int) -> Finding | None:
    """Find that no dry stroke was made since air was, or may have been, away."""
    if not state.dry_needed:
        return None
    return Finding(
        "Air was away, or may have been: make a dry stroke first with 'benchd cut', stand clear."
    )


RULE = Rule(
    number=17,
    check=check,
    blocks=CYCLES,
    pauses=False,
    latches=False,
    unfitted=(
        "without an air sensor: at every start of the daemon or the board, and when air is "
        "set by hand"
    ),
    examples=(
        Example("trips", {"dry_needed": True}, True),
        Example("holds", {"dry_needed": False}, False),
        Example("not fitted", {"dry_needed": True, "facts": {"fitted": ()}}, True),
    ),
    no_such=frozenset({"limit", "missing", "stale"}),
)
