"""Finding a record by its number among many entries, where records are numbered upwards."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from typing import NamedTuple

WINDOW = 32_768
"""Entries looked through at once: half of what is packed together in an archive."""


class Record(NamedTuple):
    """A numbered record: the entry that holds it, and its number."""

    n: int
    number: int


class Seen(NamedTuple):
    """The first and the last record of a window of entries, and the last entry of those with a
    number below the one that is looked for; None where there is none."""

    first: Record
    last: Record
    below: int | None


Look = Callable[[int, int], Seen | None]
"""What stands after one entry and up to another; None where there is no record."""


def last_below(number: int, entries: int, look: Look) -> int:
    """Return the last of so many entries that holds a record of a lower number; 0 for none.

    It is looked for where it would stand if numbers rose evenly between a record known below and
    one known above: first at both ends, and every third time in the middle, for they may not.
    """
    begin, end, found, width = 0, entries, 0, WINDOW
    below: Record | None = None
    above: Record | None = None
    for turn in count():
        if begin >= end:
            break
        width = min(width, end - begin)
        if turn < 2:
            after = (end - width) if turn else begin
        elif below is None or above is None or turn % 3 == 0:
            after = (begin + end - width) // 2
        else:
            share = (number - below.number) / (above.number - below.number)
            after = round(below.n + share * (above.n - below.n)) - width // 2
            after = min(max(after, begin), end - width)
        upto = after + width
        seen = look(after, upto)
        width = 2 * width if seen is None else WINDOW
        if seen is None:
            begin, end = upto if after == begin else begin, after if upto == end else end
        elif seen.below is None:
            end, above = after, seen.first
        elif seen.last.number < number:
            begin, found, below = upto, seen.last.n, seen.last
        else:
            return seen.below
    return found
