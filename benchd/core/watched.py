"""What is watched on a bench, in words for people, and what nobody watches where it is missing."""

from __future__ import annotations

from collections.abc import Collection

WATCHED: tuple[tuple[str, str], ...] = (
    ("guard", "guard"),
    ("stop", "emergency stop"),
    ("home", "cutter home"),
    ("far", "cutter far end"),
    ("ends", "ends of travel"),
    ("eye", "dough at the nozzle"),
    ("thrust", "thrust"),
    ("air", "air pressure"),
    ("supply", "logic supply"),
)
"""Parts whose absence stands on the top line, and their words."""


def not_watched(fitted: Collection[str]) -> tuple[str, ...]:
    """Return what nobody watches on a bench where only these parts are fitted."""
    return tuple(text for name, text in WATCHED if name not in fitted)
