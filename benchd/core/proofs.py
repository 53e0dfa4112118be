"""What a person must confirm, three things typed each, before an interlock that asks for proof is
let go.

The words are typed, not chosen, so that no habit of pressing one key gets through. They are
journalled with the name.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchd.core.facts import BenchFacts
from benchd.core.turn import No

Statement = tuple[str, str]

_LOOKED: Statement = ("Nobody's hands are near plunger, screw or blade.", "clear")
_AT_HOME: Statement = ("The blade is seen at home.", "home")
_SEEN_STILL: Statement = ("The blade is seen at home and stays there.", "home")
_OFF_OR_HOME: Statement = ("Air is shut or the blade is seen at home.", "home")

PROOFS: dict[int, tuple[Statement, Statement, Statement]] = {
    1: (
        ("The emergency stop is released and its cause is found.", "released"),
        _LOOKED,
        _OFF_OR_HOME,
    ),
    2: (
        ("The guard is shut and fastened.", "shut"),
        _LOOKED,
        _AT_HOME,
    ),
    6: (
        ("Air was shut while looking; whatever stopped the blade is removed.", "removed"),
        _LOOKED,
        ("The blade is whole; dough near it is discarded if it hit something hard.", "whole"),
    ),
    7: (
        ("Air was shut while looking; the blade is seen at home.", "home"),
        _LOOKED,
        ("Needle, valve and hose are as they should be.", "checked"),
    ),
    8: (
        _SEEN_STILL,
        _LOOKED,
        ("Both switches were worked by hand and only one reads on at a time.", "wired"),
    ),
    12: (
        ("The barrel is relieved and the air is vented.", "vented"),
        _LOOKED,
        ("Fasteners, rods, cap and frame were looked at and are sound.", "sound"),
    ),
    15: (
        (
            "FORWARD moves the plunger toward the nozzle, and the ends of travel are "
            "as the card says.",
            "forward",
        ),
        (
            "Guard and emergency stop were worked by hand, and cut the motor's power "
            "and the air by wire.",
            "hardware",
        ),
        (
            "Each input was worked by hand and only that one changed; the valve's rest "
            "is as the card says.",
            "wired",
        ),
    ),
    20: (
        ("Someone looked at the bench since the board started.", "looked"),
        _LOOKED,
        _AT_HOME,
    ),
}
"""Interlock number to its three statements and the word to type for each."""

RESTS_FAR: dict[Statement, Statement] = {
    PROOFS[7][0]: (
        "Air was shut while looking; what kept the blade from its home is found and mended.",
        "mended",
    ),
    _SEEN_STILL: ("The blade is seen standing still at one of its ends.", "still"),
    _AT_HOME: ("The blade is seen standing still at its far end, where it rests.", "far"),
    _OFF_OR_HOME: (
        "Air is shut or the blade is seen standing still at its far end, where it rests.", "far",
    ),
}  # fmt: skip
"""What is asked instead where the card says that the cutter goes far without power."""


def statements_of(number: int, facts: BenchFacts) -> tuple[Statement, ...]:
    """Return what is asked of this bench before this interlock is let go; nothing for others."""
    asked = PROOFS.get(number, ())
    if facts.limits.get("valve_home"):
        return tuple(RESTS_FAR.get(statement, statement) for statement in asked)
    return asked


def check_words(statements: Sequence[Statement], name: str, words: Sequence[str]) -> No | None:
    """Return why the typed words do not confirm these statements, or None when they do."""
    if not name.strip():
        return No("A proof carries a name: who looked?", "proof")
    if len(words) != len(statements):
        return No("Three confirmations are asked, one word each; nothing was cleared.", "proof")
    for (statement, word), typed in zip(statements, words, strict=True):
        if typed.strip().lower() != word:
            return No(
                f"Not confirmed: \"{statement}\" asks for the word '{word}'; nothing was cleared.",
                "proof",
            )
    return None
