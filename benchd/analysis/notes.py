"""What people noted, as the journal keeps it; among it their verdicts of portions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import msgspec

from benchd.analysis.day_times import DayTimes
from benchd.analysis.reader import Reader
from benchd.core import ledger

VERDICT = "verdict:"
"""A note that begins so is what a person found of a portion."""

CLEANED = "cleaned"
"""A note that begins so says that what touches dough was cleaned."""


class Noted(NamedTuple):
    """What a person noted. wall_us: when, UTC; None where that is not known. portion: what it is
    about, if anything."""

    wall_us: int | None
    text: str
    portion: int | None = None

    @property
    def verdict(self) -> str | None:
        """What a person found; None where this is no verdict."""
        if not self.text.lower().startswith(VERDICT):
            return None
        return self.text[len(VERDICT) :].strip()

    @property
    def cleaned(self) -> bool:
        """Whether it says that what touches dough was cleaned."""
        return self.text.lower().startswith(CLEANED)


class _Note(msgspec.Struct):
    text: str
    portion: int | None = None


def read_notes(reader: Reader) -> Iterator[Noted]:
    """Give the notes of one journal, oldest first; one that is damaged is left out.

    Raises: JournalError when the journal cannot be read.
    """
    times: DayTimes | None = None
    for _, entry in reader.entries(kinds={ledger.RECORDS["note"]}):
        try:
            note = msgspec.json.decode(entry.text or "{}", type=_Note)
        except (msgspec.MsgspecError, UnicodeError):
            continue
        # Only now: a journal without notes need not be searched for times of day.
        times = times or DayTimes(reader)
        yield Noted(times.wall_us(entry.t_ns), note.text, note.portion)
