"""IL-17: after air was away the exhaust side is empty and the first stroke is fast; it must be a
dry one, hands clear. And what was pushed and not cut comes off by such a stroke, not with the next
piece, which would be too heavy."""

from __future__ import annotations

from benchd.core.interlocks.base import CYCLES, Example, Finding, Rule
from benchd.core.state import State


def check(state: State, now_ns: int) -> Finding | None:
    """Find that no dry stroke was made since air was, or may have been, away, or since a portion
    was left uncut."""
    if state.uncut:
        fast = "; air was away, too, so the blade may be fast" if state.dry_needed else ""
        return Finding(
            f"Portion {state.uncut} was pushed and not cut, so the next piece would be too heavy: "
            f"cut it off into waste by a dry stroke with 'benchd cut', stand clear{fast}."
        )
    if not state.dry_needed:
        return None
    return Finding(
        "Air was away, or may have been: make a dry stroke first with 'benchd cut', stand clear."
    )


RULE = Rule(
    retold=True,
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
        Example("trips", {"dry_needed": False, "uncut": 7}, True),
        Example("trips", {"dry_needed": True, "uncut": 7}, True),
        Example("holds", {"dry_needed": False}, False),
        Example("not fitted", {"dry_needed": True, "facts": {"fitted": ()}}, True),
    ),
    no_such=frozenset({"limit", "missing", "stale"}),
)
