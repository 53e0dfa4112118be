"""IL-19: no word from the board. Nothing can be asked of it, and every value on the screen is
old."""

from __future__ import annotations

from benchd.core.interlocks.base import EVERYTHING, SECOND_NS, Example, Finding, Rule
from benchd.core.state import State
from protocols.limits import SILENCE_MS

SILENCE_NS = SILENCE_MS * 1_000_000


def check(state: State, now_ns: int) -> Finding | None:
    """Find a link that is down, not ready, or silent for longer than SILENCE_MS."""
    if state.link != "up":
        return Finding(state.link_text or "The board is not connected.")
    age_ns = now_ns - state.last_word_ns
    if age_ns <= SILENCE_NS:
        return None
    return Finding(
        f"No word from the board for {age_ns / 1e9:.1f} s. Values are old.",
        age_ns / 1e6,
        SILENCE_MS,
    )


_NOW = 1_000 * SECOND_NS

RULE = Rule(
    hot=True,
    retold=True,
    number=19,
    check=check,
    blocks=EVERYTHING,
    pauses=True,
    latches=False,
    unfitted="nothing: a bench without a board is no bench",
    examples=(
        Example("trips", {"link": "up", "last_word_ns": _NOW - SECOND_NS}, True),
        Example("limit", {"link": "up", "last_word_ns": _NOW - SILENCE_NS}, False),
        Example("stale", {"link": "up", "last_word_ns": _NOW - SILENCE_NS - 1}, True),
        Example("holds", {"link": "up", "last_word_ns": _NOW}, False),
        Example("missing", {"link": "down"}, True),
        Example("missing", {"link": "greeting", "last_word_ns": _NOW}, True),
    ),
    no_such=frozenset({"not fitted"}),
)
