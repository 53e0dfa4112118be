"""What a journal holds and how it is hashed, without any file: shared by writers and readers.

A journal is a list of entries numbered from 1 without gaps, and a few facts about the file (its
*meta*). The *canonical lines* of a journal are one JSON object with the meta, keys sorted, and
then one JSON array per entry, which is the entry's row as stored: number, time, kind, twelve
values, text. The *head* is the SHA-256 of those lines, so anybody with the lines can compute it
with tools of their own, and it does not depend on how entries were grouped into commits.
"""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import msgspec

VALUE_COUNT_MAX = 12
INT64_MIN, INT64_MAX = -(2**63), 2**63 - 1

# Keys of the meta that have a meaning here; an application adds its own beside them.
META_BENCH = "bench"
META_PREVIOUS_HEAD = "previous_head"
META_OPENED_US = "opened_us"
META_VIEWS = "views"

JOURNAL_SUFFIX = ".journal"
# Stands beside a journal, locked, for as long as its writer lives.
OPEN_MARK_SUFFIX = "-open"

_NAME = re.compile(r"[a-z][a-z0-9_]{0,62}")
_TAKEN_VIEW_NAMES = frozenset({"entry", "seal", "meta"})
_TAKEN_COLUMN_NAMES = frozenset({"n", "t_ns", "text"})
_BLANKS = tuple((None,) * count for count in range(VALUE_COUNT_MAX + 1))
_INTEGERS = {int}
_encoder = msgspec.json.Encoder()

# (n, t_ns, kind, v1 .. v12, text) exactly as stored.
Row = tuple[Any, ...]


class JournalError(Exception):
    """A journal could not be made or read; its text is one sentence for a person."""


class Entry(NamedTuple):
    """One thing that happened.

    t_ns: [ns] of the daemon's clock that counts through suspend. kind: what happened, a code of
    the application. values: at most twelve 64-bit integers or None. text: any text without a NUL
    character; bytes that are not text have to be escaped before they come here.
    """

    t_ns: int
    kind: int
    values: tuple[int | None, ...] = ()
    text: str | None = None


class View(NamedTuple):
    """A kind of entry under its own name, with names for its values."""

    name: str
    kind: int
    columns: tuple[str, ...]


ViewLike = tuple[str, int, Sequence[str]]


class Store(Protocol):
    """What the application may ask of a journal, on a disk or in memory."""

    @property
    def committed(self) -> int:
        """Number of the last entry that is safe; 0 when there is none."""

    @property
    def fault(self) -> str | None:
        """Why this store stopped for good, as one sentence; None while it works."""

    @property
    def dropped(self) -> int:
        """Entries refused because too many were waiting; 0 while all is well."""

    def append(self, entries: Iterable[Entry], urgent: bool = False, resting: bool = False) -> int:
        """Take entries to be committed soon, at once if urgent, or in a while if resting: nothing
        moves, and nobody waits for them. Return the last number given."""

    def head(self) -> str:
        """Hash over all that is committed, 64 hexadecimal digits."""

    def uncommitted(self) -> list[Entry]:
        """Entries taken whose commit was never confirmed, oldest first."""

    def close(self) -> None:
        """Commit what waits and end the journal; harmless when repeated."""


def check_views(views: Iterable[ViewLike]) -> tuple[View, ...]:
    """The same views, checked.

    Raises ValueError for a name that is not a plain lower-case word or is taken, for too many
    columns, and for a kind or name that comes twice.
    """
    checked = tuple(View(name, kind, tuple(columns)) for name, kind, columns in views)
    for view in checked:
        for word in (view.name, *view.columns):
            if not _NAME.fullmatch(word):
                raise ValueError(f"{word!r} in view {view.name!r} is not a plain lower-case word")
        if view.name in _TAKEN_VIEW_NAMES or _TAKEN_COLUMN_NAMES & set(view.columns):
            raise ValueError(f"view {view.name!r} uses a name that the journal itself has")
        if len(view.columns) > VALUE_COUNT_MAX or len(set(view.columns)) < len(view.columns):
            raise ValueError(f"view {view.name!r} has over {VALUE_COUNT_MAX} or repeated columns")
    if len({view.name for view in checked}) < len(checked):
        raise ValueError("two views have the same name")
    if len({view.kind for view in checked}) < len(checked):
        raise ValueError("two views show the same kind")
    return checked


def complete_meta(
    meta: Mapping[str, str], views: Iterable[ViewLike], opened_us: int
) -> dict[str, str]:
    """The meta of a new journal: the application's facts, the opening time and the views.

    The views are part of it so that the meaning of every column is under the hash as well.
    """
    full = {
        **meta,
        META_OPENED_US: str(opened_us),
        META_VIEWS: _encoder.encode(check_views(views)).decode(),
    }
    for key, value in full.items():
        check_text(key)
        check_text(value)
    return full


def opened_us_of(meta: Mapping[str, str]) -> int | None:
    """When the journal with this meta was opened, UTC [us]; None where it does not tell."""
    text = meta.get(META_OPENED_US, "")
    return int(text) if text.isdecimal() else None


def views_of_meta(meta: Mapping[str, str]) -> tuple[View, ...]:
    """The views that a journal was opened with. Raises JournalError when they are not readable."""
    try:
        raw = msgspec.json.decode(meta.get(META_VIEWS, "[]"), type=list[tuple[str, int, list[str]]])
        return check_views((name, kind, columns) for name, kind, columns in raw)
    except (msgspec.MsgspecError, ValueError) as error:
        raise JournalError("The journal's list of views is damaged.") from error


def widths_of(views: Iterable[View]) -> dict[int, int]:
    """How many values an entry of each viewed kind has."""
    return {view.kind: len(view.columns) for view in views}


def check_text(text: str) -> None:
    """Raises ValueError for text that SQLite's JSON or UTF-8 would not give back unchanged."""
    if "\0" in text:
        raise ValueError("text in a journal may not hold a NUL character; escape it first")
    if not text.isascii():
        text.encode()  # A lone surrogate raises UnicodeEncodeError, which is a ValueError.


def row_of(n: int, entry: Entry) -> Row:
    """The row that stores an entry under number n.

    Raises ValueError for too many values, a value that is no 64-bit integer, or text that would
    not come back; TypeError for text that is bytes. Booleans and integer enumerations are stored
    as the integers they are.
    """
    t_ns, kind, values, text = entry
    count = len(values)
    if count > VALUE_COUNT_MAX:
        raise ValueError(f"an entry has at most {VALUE_COUNT_MAX} values, not {count}")
    if text is not None:
        check_text(text)
    numbers: tuple[Any, ...] = (t_ns, kind, *values)
    if set(map(type, numbers)) != _INTEGERS or min(numbers) < INT64_MIN or max(numbers) > INT64_MAX:
        numbers = (_int64(t_ns), _int64(kind), *map(_int64_or_none, values))
    return (n, *numbers, *_BLANKS[VALUE_COUNT_MAX - count], text)


def _int64_or_none(value: object) -> int | None:
    return None if value is None else _int64(value)


def _int64(value: object) -> int:
    # A bool or an enumeration would be hashed as one thing and read back as another.
    if type(value) is not int:
        if not isinstance(value, int):
            raise ValueError(f"{value!r} in an entry is not an integer")
        value = int(value)
    if not INT64_MIN <= value <= INT64_MAX:
        raise ValueError(f"{value} in an entry does not fit into 64 bits")
    return value


def entry_of(row: Row, widths: Mapping[int, int]) -> Entry:
    """The entry that a row stores.

    It has as many values as its view has columns; an entry of a kind without a view has all
    twelve, the blank ones None, since a row cannot tell a blank from a value that is not there.
    """
    kind = row[2]
    return Entry(row[1], kind, row[3 : 3 + widths.get(kind, VALUE_COUNT_MAX)], row[-1])


def meta_line(meta: Mapping[str, str]) -> bytes:
    """The first canonical line: the meta as a JSON object, keys sorted, with a newline."""
    return _encoder.encode(dict(sorted(meta.items()))) + b"\n"


def row_lines(rows: Sequence[Row]) -> bytes:
    """The canonical lines of rows: a JSON array each, with a newline after each."""
    return _encoder.encode_lines(rows)


class Chain:
    """The running hash over the canonical lines of one journal."""

    def __init__(self, meta: Mapping[str, str]) -> None:
        self._hash = hashlib.sha256(meta_line(meta))

    def add(self, lines: bytes) -> bytes:
        """The digest (32 bytes) after these further lines."""
        self._hash.update(lines)
        return self._hash.digest()

    def digest(self) -> bytes:
        """The digest (32 bytes) of all lines so far."""
        return self._hash.digest()


def numbered(entries: Iterable[Entry], after: int) -> Iterator[Row]:
    """Rows for entries that follow entry number `after`."""
    for n, entry in enumerate(entries, after + 1):
        yield row_of(n, entry)


def journal_path(folder: Path, wall_us: int, tag: str) -> Path:
    """Where a journal opened at this wall time [us since 1970, UTC] goes.

    Names sort by time, to the microsecond, since after a fault the next file may follow within
    the same second. `tag` is eight hexadecimal digits drawn by the caller: it keeps two files
    apart when a clock was set back.
    """
    seconds, rest_us = divmod(wall_us, 1_000_000)
    stamp = time.strftime("%Y%m%dT%H%M%S", time.gmtime(seconds))
    return folder / f"{stamp}.{rest_us:06d}Z-{tag}{JOURNAL_SUFFIX}"
