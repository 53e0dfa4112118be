"""IL-28: what cannot be recorded is not begun; stop, relieve and bounded jogs still work."""

from __future__ import annotations

from benchd.core.interlocks.base import CYCLES, Example, Finding, Rule
from benchd.core.state import State


def check(state: State, now_ns: int) -> Finding | None:
    """Find a journal that cannot be written."""
    if state.journal_ok:
        return None
    why = state.journal_text.rstrip(".") or "the journal failed"
    return Finding(f"Cannot record, so no portion is begun: {why}.")


RULE = Rule(
    number=28,
    check=check,
    blocks=CYCLES,
    pauses=True,
    latches=False,
    unfitted="nothing: it rests on the disk, not on a sensor",
    examples=(
        Example("trips", {"journal_ok": False, "journal_text": "disk full"}, True),
        Example("missing", {"journal_ok": False}, True),
        Example("holds", {"journal_ok": True}, False),
    ),
    no_such=frozenset({"limit", "stale", "not fitted"}),
)
