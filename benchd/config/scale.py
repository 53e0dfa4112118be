"""The part of a bench card about a scale with a serial output: its port, and what its lines mean.

No maker's format is built in: the card gives a pattern with named groups.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from re import _parser  # type: ignore[attr-defined]  # What a pattern is made of.
from typing import Any, NamedTuple

from benchd.config.keys import Value, as_number

GROUPS = frozenset({"mass", "unit", "settled"})
"""Names that a pattern's groups may have; the first must be there."""


class ScaleLine(NamedTuple):
    """A scale as a bench card names it."""

    port: str
    baud: int
    frame: str
    """Data bits, parity, stop bits, such as 8N1."""
    pattern: re.Pattern[str]
    unit: str
    """Unit of lines that name none: g, kg or oz."""
    once: bool
    """Whether a line is one weight; else lines come all the time."""
    least_kg: float
    """Below this the pan is empty."""
    readability_kg: float
    board_port: str
    """Port of the board, which a scale has never."""


def pattern_problem(pattern: str) -> str:
    """Return what is wrong with a pattern, as the end of a sentence; "" when it can be used."""
    try:
        groups = set(re.compile(pattern).groupindex)
        parts = _parser.parse(pattern)
    except (re.error, OverflowError, RecursionError) as error:
        return f"is no pattern: {error}."
    if "mass" not in groups:
        return "has no group named mass; write (?P<mass>[-+]? *[0-9.]+) where the number stands."
    strange = sorted(groups - GROUPS)
    if strange:
        return f"has a group named {strange[0]}; the names are {', '.join(sorted(GROUPS))}."
    if _repeats_within(parts):
        return (
            "repeats a part that repeats within itself or is not always of one length, so that "
            "reading a strange line might never end; let only one of the two vary."
        )
    return ""


def _repeats_within(part: Any, inside: bool = False) -> bool:
    """Return whether something of a pattern that is repeated a number of times that may vary holds
    another such, or fits pieces of several lengths: what is tried then doubles with each character.
    Words of one length that fit the same text are not looked for."""
    if isinstance(part, tuple) and len(part) == 2 and str(part[0]) in ("MAX_REPEAT", "MIN_REPEAT"):
        least, most, part = part[1]
        varies = most > max(least, 1)
        shortest, longest = part.getwidth()
        if varies and (inside or shortest < longest):
            return True
        inside = inside or varies
    if isinstance(part, tuple | list | _parser.SubPattern):
        return any(_repeats_within(one, inside) for one in part)
    return False


def scale_of(values: Mapping[str, Value], board_port: str) -> ScaleLine | None:
    """Return the scale of a checked bench card's values; None where it names no port of one.

    board_port: the one in use, which need not be the card's.
    """
    if "scale.port" not in values:
        return None
    return ScaleLine(
        port=str(values["scale.port"]),
        baud=int(as_number(values["scale.baud"])),
        frame=str(values["scale.frame"]),
        pattern=re.compile(str(values["scale.pattern"])),
        unit=str(values["scale.unit"]),
        once=values["scale.sends"] == "once",
        least_kg=as_number(values["scale.least"]),
        readability_kg=as_number(values["scale.readability"]),
        board_port=board_port,
    )
