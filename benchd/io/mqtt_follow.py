"""What goes to the broker is read from the journals, and a cursor beside them says how far it got.

Only what is committed is ever seen here, so the broker never hears of what a power cut could
still take back. A record goes out at least once: the cursor moves after the broker took it.
"""

from __future__ import annotations

import contextlib
import os
from collections import deque
from pathlib import Path
from typing import NamedTuple

import msgspec

from benchd.analysis.reader import JournalReader
from benchd.core import ledger
from benchd.io.journal_format import JOURNAL_SUFFIX, Entry, JournalError, opened_us_of
from protocols.news import RECORDS, Head, Place

CURSOR_FILE = "mqtt.cursor"

KIND_BY_CODE = {ledger.RECORDS[kind]: kind for kind in RECORDS}
WANTED = frozenset({ledger.INPUT, *KIND_BY_CODE})


class Cursor(msgspec.Struct, frozen=True):
    """How far the broker has been told: the last record it took, and how many were dropped."""

    journal: str
    row: int
    dropped: int = 0


class Told(NamedTuple):
    """A record on its way to the broker."""

    at: Place
    after: Place | None
    """The record before it that also goes out; None for the first that is known."""
    time_s: float
    """When it was made [s since 1970 UTC]."""
    kind: str
    text: str
    """The record as the journal has it, JSON."""


def load_cursor(folder: Path) -> Cursor | None:
    """Return the cursor of a folder of journals; None where there is none that can be read."""
    try:
        return msgspec.json.decode((folder / CURSOR_FILE).read_bytes(), type=Cursor)
    except (OSError, msgspec.MsgspecError):
        return None


def save_cursor(folder: Path, cursor: Cursor) -> None:
    """Keep the cursor so that a power cut leaves the old one or the new one.

    A disk that does not take it is no fault of the bench: then some records go out twice.
    """
    path = folder / CURSOR_FILE
    build = path.with_name(f"{path.name}-new")
    with contextlib.suppress(OSError):
        with open(build, "wb") as file:
            file.write(msgspec.json.encode(cursor))
            file.flush()
            os.fsync(file.fileno())
        build.replace(path)


class Follower:
    """Walks the journals of a bench in order, from a cursor, as they grow."""

    def __init__(self, folder: Path, keep: int, cursor: Cursor) -> None:
        self.head: Head | None = None
        """The newest that was seen; of the file that was looked at last."""
        self._folder = folder
        self._keep = keep
        self._cursor = cursor
        self._path: Path | None = None
        self._reader: JournalReader | None = None
        self._looked = 0
        self._clock = (0, 0)
        self._after: Place | None = None

    def look(self, current: str) -> tuple[deque[Told], int]:
        """Return the records that came since the last look, and how many more were passed over.

        Parameters: current: name of the file that is being written. Waits for the disk. Of a long
        backlog only the newest `keep` records are returned. Where the file cannot be read, the
        next look tries again.
        """
        found: deque[Told] = deque(maxlen=self._keep)
        total = 0
        if self._path is None:
            self._open(self._first(current))
        while self._path is not None:
            total += self._walk(found)
            following = self._next(current)
            if following is None:
                break
            self._open(following)
        return found, total - len(found)

    def _first(self, current: str) -> Path:
        path = self._folder / f"{self._cursor.journal}{JOURNAL_SUFFIX}"
        return path if path.is_file() else self._following(path.name, current)

    def _next(self, current: str) -> Path | None:
        assert self._path is not None
        if self._path.name == current:
            return None
        return self._following(self._path.name, current)

    def _following(self, name: str, current: str) -> Path:
        """The file after `name`; names sort by time, and a clock set back leads to `current`."""
        names = sorted(path.name for path in self._folder.glob(f"*{JOURNAL_SUFFIX}"))
        between = [other for other in names if name < other < current]
        return self._folder / (between[0] if between else current)

    def _open(self, path: Path) -> None:
        self._path, self._reader, self._looked, self._clock = path, None, 0, (0, 0)

    def _walk(self, found: deque[Told]) -> int:
        """Read on in the present file; how many records were found.

        A file that cannot be read, and is not the newest, is left behind: its rows are then
        missing in the chain of places, which readers see.
        """
        count = 0
        try:
            if self._reader is None:
                assert self._path is not None
                self._reader = JournalReader(self._path)
            last = self._reader.last()
            if last > self._looked:
                if not self._looked:  # Before its first entry a journal does not tell its clock.
                    self._clock = _opening(self._reader)
                self._see_head(self._reader)
            for n, entry in self._reader.entries(kinds=WANTED, after=self._looked):
                told = self._told(n, entry)
                self._looked = n
                if told is not None:
                    found.append(told)
                    count += 1
            self._looked = max(self._looked, last)
        except JournalError:
            pass  # To complain about a journal is the daemon's business.
        return count

    def _see_head(self, reader: JournalReader) -> None:
        seals = reader.seals_at_end(1)
        if seals:
            self.head = Head(_id(reader.path), seals[0].last, seals[0].hash.hex())

    def _told(self, n: int, entry: Entry) -> Told | None:
        """The record of an entry, if it is one that goes out and has not gone yet."""
        if entry.kind == ledger.INPUT:
            self._clock = _clock(entry) or self._clock
            return None
        assert self._path is not None
        at, after = Place(_id(self._path), n), self._after
        self._after = at
        cursor = self._cursor
        if at.journal == cursor.journal and n <= cursor.row:
            return None
        t_ns, wall_us = self._clock
        time_s = (wall_us + (entry.t_ns - t_ns) / 1000) / 1e6
        return Told(at, after, time_s, KIND_BY_CODE[entry.kind], entry.text or "{}")


class _Input(msgspec.Struct):
    """Of an input of the core, what tells the time of day."""

    wall_us: int | None = None


def _id(path: Path) -> str:
    """What a journal is called in messages: its file's name without the suffix."""
    return path.name.removesuffix(JOURNAL_SUFFIX)


def _clock(entry: Entry) -> tuple[int, int] | None:
    """The daemon's clock [ns] and the time of day [us], if this input tells both."""
    text = entry.text or ""
    if '"wall_us"' not in text:
        return None
    try:
        wall_us = msgspec.json.decode(text, type=_Input).wall_us
    except msgspec.MsgspecError:
        return None
    return None if wall_us is None else (entry.t_ns, wall_us)


def _opening(reader: JournalReader) -> tuple[int, int]:
    """The daemon's clock [ns] and the time of day [us] when a journal began, which has entries.

    The core is told the time of day within a minute; from then on that is better.
    """
    first_ns = next(entry.t_ns for _, entry in reader.entries())
    return first_ns, opened_us_of(reader.meta) or 0
