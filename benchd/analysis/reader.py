"""Reading journals, also while they are being written.

A reader never writes, and it holds the file only while it fetches one block: a reader that stays
makes the writer's log grow and keeps a closing writer from tidying up. What it reads is one state
of the file per block; entries only ever follow, so blocks fit together.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple, Protocol

from benchd.core.ledger import INPUT
from benchd.io.journal_disk import beside, is_being_written, size_bytes
from benchd.io.journal_format import (
    JOURNAL_SUFFIX,
    META_BENCH,
    META_OPENED_US,
    Entry,
    JournalError,
    Row,
    View,
    entry_of,
    meta_line,
    opened_us_of,
    row_lines,
    views_of_meta,
    widths_of,
)
from benchd.io.migrations import APPLICATION_ID, SCHEMA_VERSION

# Entries fetched in one go: some milliseconds of holding the file.
BLOCK = 10_000

_BLOCK_END = "SELECT max(n) FROM (SELECT n FROM entry WHERE n > ? AND n <= ? ORDER BY n LIMIT ?)"


class JournalState(StrEnum):
    """How a journal ended, if it did."""

    OPEN = "open"
    CLOSED = "closed"
    CUT_SHORT = "cut short"


class Seal(NamedTuple):
    """One commit: its number, its last entry, the wall time [us], the hash of all so far."""

    n: int
    last: int
    wall_us: int
    hash: bytes


@dataclass(frozen=True, slots=True)
class JournalFacts:
    """What a list of journals shows of one; `problem` is a sentence when it cannot be read."""

    path: Path
    size_bytes: int
    bench: str = ""
    opened_us: int | None = None
    state: JournalState | None = None
    entries: int = 0
    head: str | None = None
    problem: str | None = None


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that can only read, known to be to a journal of a version we know.

    Raises JournalError with one sentence when there is none, or when reading fails meanwhile.
    """
    if not path.is_file():
        raise JournalError(f"There is no journal at {path}.")
    uri = f"{path.resolve().as_uri()}?mode=ro"
    try:
        connection = sqlite3.connect(uri, uri=True, isolation_level=None)
        try:
            _identify(connection, path)
            yield connection
        finally:
            connection.close()
    # A message of SQLite about damaged text can itself not be text.
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise JournalError(_unreadable(path, error)) from error


def _identify(connection: sqlite3.Connection, path: Path) -> None:
    for pragma in ("busy_timeout = 5000", "query_only = ON", "cell_size_check = ON"):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute("PRAGMA trusted_schema = OFF")
    (application_id,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if application_id != APPLICATION_ID or version < 1:
        raise JournalError(f"{path.name} is not a journal, or its first bytes are damaged.")
    if version > SCHEMA_VERSION:
        raise JournalError(
            f"This journal was written by a later version (schema {version}; this program knows "
            f"{SCHEMA_VERSION}). Use that version, or export it there."
        )


def _unreadable(path: Path, error: Exception) -> str:
    code = str(getattr(error, "sqlite_errorname", None) or type(error).__name__)
    if code == "SQLITE_NOTADB":
        return f"{path.name} is not a journal, or its first bytes are damaged."
    if code.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY")):
        return (
            f"{path.name} cannot be opened here ({code}): it was cut short, and reading its log "
            "needs a folder that can be written. Copy it with the files beside it to one."
        )
    return f"{path.name} is damaged and could not be read to the end ({code}: {error})."


class JournalReader:
    """One journal. Raises JournalError, from any method, when it cannot be read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with opened(path) as connection:
            self.meta = _meta(connection, path)
        self.views = views_of_meta(self.meta)
        self.view_of = {view.kind: view for view in self.views}
        self._widths = widths_of(self.views)

    def last(self) -> int:
        """Number of the last entry that is in the file now; 0 when there is none."""
        with opened(self.path) as connection:
            return _last_entry(connection)

    def head(self) -> str | None:
        """Hash at the last commit, 64 hexadecimal digits; None when there is no commit."""
        seals = self.seals_at_end(1)
        return seals[0].hash.hex() if seals else None

    def state(self) -> JournalState:
        """Whether it is being written, was closed, or was cut short."""
        # Asked first: a writer that closes in between is then reported as closed.
        being_written = is_being_written(self.path)
        return _state(self.seals_at_end(2), being_written)

    def seals_at_end(self, count: int) -> list[Seal]:
        """The last few seals, newest first."""
        with opened(self.path) as connection:
            return _seals(connection, "ORDER BY n DESC LIMIT ?", count)

    def seals(self, after: int = 0) -> Iterator[Seal]:
        """Seals in order, from the one that follows number `after`.

        Raises: JournalError when the file is damaged.
        """
        while True:
            with opened(self.path) as connection:
                block = _seals(connection, "WHERE n > ? ORDER BY n LIMIT 1000", after)
            if not block:
                return
            if block[-1].n <= after:
                raise JournalError(f"{self.path.name} is damaged after seal {after}.")
            yield from block
            after = block[-1].n

    def rows(
        self,
        *,
        kinds: Collection[int] | None = None,
        after: int = 0,
        upto: int | None = None,
        told: Sequence[str] | None = None,
    ) -> Iterator[Row]:
        """Stored rows (n, t_ns, kind, v1 .. v12, text) in order.

        kinds: only these; None for all. after: only numbers above it. upto: only numbers up to it.
        told: of inputs only those whose text holds one of these words; most are wakes, which tell
        nothing. Ends with the last entry that was there when the call was made.

        Raises: JournalError when the file is damaged.
        """
        sql = _rows_sql(kinds, told)
        last = self.last() if upto is None else min(self.last(), upto)
        while after < last:
            with opened(self.path) as connection:
                # By count and not by number: in a damaged file numbers may leap.
                (until,) = connection.execute(_BLOCK_END, (after, last, BLOCK)).fetchone()
                if until is None or until <= after:
                    raise JournalError(f"{self.path.name} is damaged after entry {after}.")
                block = connection.execute(sql, (after, until)).fetchall()
            yield from block
            after = until

    def entries(
        self,
        *,
        kinds: Collection[int] | None = None,
        after: int = 0,
        upto: int | None = None,
        told: Sequence[str] | None = None,
    ) -> Iterator[tuple[int, Entry]]:
        """Entries in order, each with its number; chosen as in `rows`.

        An entry has as many values as its view has columns; one of a kind without a view has
        twelve.
        """
        for row in self.rows(kinds=kinds, after=after, upto=upto, told=told):
            yield row[0], entry_of(row, self._widths)

    def before(
        self, n: int | None, count: int, *, kinds: Collection[int] | None = None
    ) -> list[tuple[int, Entry]]:
        """Return the last `count` entries below number `n`, or of all, in order; chosen by kind."""
        sql = "SELECT * FROM entry WHERE n < ?"
        if kinds is not None:
            sql += f" AND kind IN ({', '.join(str(int(kind)) for kind in kinds)})"
        with opened(self.path) as connection:
            below = _last_entry(connection) + 1 if n is None else n
            rows = connection.execute(f"{sql} ORDER BY n DESC LIMIT ?", (below, count)).fetchall()
        return [(row[0], entry_of(row, self._widths)) for row in reversed(rows)]

    def span_of(self, kind: int, first: int, last: int) -> tuple[int, int]:
        """As an archive's, and as wide as it may be: the kinds that are asked for come from here
        without a look at what the others hold."""
        return 0, self.last()

    def naming(
        self, kind: int, name: str, numbers: tuple[int, int], after: int
    ) -> Iterator[tuple[int, Entry]]:
        """As an archive's, and as many as there may be, for the same reason."""
        return self.entries(kinds={kind}, after=after)

    def facts(self) -> JournalFacts:
        """What a list of journals shows of this one."""
        state = self.state()
        seals = self.seals_at_end(1)
        return JournalFacts(
            path=self.path,
            size_bytes=_size_with_log(self.path),
            bench=self.meta.get(META_BENCH, ""),
            opened_us=opened_us_of(self.meta),
            state=state,
            entries=seals[0].last if seals else 0,
            head=seals[0].hash.hex() if seals else None,
        )


class Reader(Protocol):
    """What a study asks of a journal, or of an archive that is read as one."""

    path: Path
    meta: dict[str, str]
    view_of: dict[int, View]
    """Kind to its name and the names of its values."""

    def last(self) -> int:
        """Number of the last entry that is there now; 0 when there is none."""

    def state(self) -> JournalState:
        """How it ended."""

    def head(self) -> str | None:
        """Hash at the last commit."""

    def entries(
        self,
        *,
        kinds: Collection[int] | None = None,
        after: int = 0,
        upto: int | None = None,
        told: Sequence[str] | None = None,
    ) -> Iterator[tuple[int, Entry]]:
        """Entries in order, each with its number; only of these kinds, with numbers above `after`
        and up to `upto`."""

    def before(
        self, n: int | None, count: int, *, kinds: Collection[int] | None = None
    ) -> list[tuple[int, Entry]]:
        """The last `count` entries below number `n`, or of all, in order; chosen by kind."""

    def span_of(self, kind: int, first: int, last: int) -> tuple[int, int] | None:
        """Entries after and up to which all those stand that tell of the records of this kind
        with a number in this range; None when there is none of them."""

    def naming(
        self, kind: int, name: str, numbers: tuple[int, int], after: int
    ) -> Iterator[tuple[int, Entry]]:
        """Entries with numbers above `after` that hold all those records of this kind that have by
        this name a number in this range."""


def reader_of(path: Path) -> Reader:
    """Return a reader of a journal, or of an archive.

    Raises: JournalError when it cannot be read.
    """
    from benchd.analysis.archive_format import is_archive

    if not is_archive(path):
        return JournalReader(path)
    from benchd.analysis.archive_reader import ArchiveReader

    return ArchiveReader(path)


def oldest_first(paths: Iterable[Path]) -> list[Reader]:
    """Return readers of journals and archives in the order in which these were opened.

    Raises: JournalError when one cannot be read.
    """
    readers = [reader_of(path) for path in paths]
    return sorted(readers, key=lambda reader: reader.meta.get(META_OPENED_US, ""))


def list_journals(folder: Path) -> list[JournalFacts]:
    """The journals in a folder, oldest first by name; those that cannot be read say why."""
    return [_facts(path) for path in sorted(folder.glob(f"*{JOURNAL_SUFFIX}"))]


def newest(folder: Path) -> JournalFacts | None:
    """The newest journal in a folder by name, readable or not; None when there is none."""
    paths = sorted(folder.glob(f"*{JOURNAL_SUFFIX}"))
    return _facts(paths[-1]) if paths else None


def canonical_export(reader: JournalReader, *, with_meta: bool = True) -> Iterator[str]:
    """The canonical lines of a journal, without line ends: two equal journals export alike.

    With the meta line, the SHA-256 of all lines, each with its newline, is the journal's head.
    Without it, only the entries are compared, one line each.
    """
    if with_meta:
        yield meta_line(reader.meta).decode().rstrip("\n")
    for row in reader.rows():
        yield row_lines([row]).decode().rstrip("\n")


def _facts(path: Path) -> JournalFacts:
    try:
        return JournalReader(path).facts()
    except JournalError as error:
        return JournalFacts(path, _size_with_log(path), problem=str(error))


def _size_with_log(path: Path) -> int:
    return size_bytes(path) + size_bytes(beside(path, "-wal"))


def _last_entry(connection: sqlite3.Connection) -> int:
    (last,) = connection.execute("SELECT coalesce(max(n), 0) FROM entry").fetchone()
    return int(last)


def holds(words: Sequence[str], find: str) -> str:
    """Return the SQL that asks whether a text holds one of these words; find: the function that
    finds one text in another."""
    asked = (f"{find}(text, '{word.replace(chr(39), chr(39) * 2)}')" for word in words)
    return f"({' OR '.join(asked)})"


def _rows_sql(kinds: Collection[int] | None, told: Sequence[str] | None) -> str:
    conditions = ["n > ?", "n <= ?"]
    if kinds is not None:
        conditions.append(f"kind IN ({', '.join(str(int(kind)) for kind in kinds)})")
    if told is not None:
        conditions.append(f"(kind <> {INPUT} OR {holds(told, 'instr')})")
    return f"SELECT * FROM entry WHERE {' AND '.join(conditions)} ORDER BY n"


def _meta(connection: sqlite3.Connection, path: Path) -> dict[str, str]:
    rows = connection.execute("SELECT key, value FROM meta").fetchall()
    # SQLite trusts the types that a file claims, so a damaged one can give anything.
    if not all(isinstance(word, str) for row in rows for word in row):
        raise JournalError(f"{path.name} is damaged: its meta is not text.")
    return dict(rows)


def _seals(connection: sqlite3.Connection, which: str, argument: int) -> list[Seal]:
    sql = f"SELECT n, last, wall_us, hash FROM seal {which}"
    seals = [Seal(*row) for row in connection.execute(sql, (argument,))]
    for seal in seals:
        if not isinstance(seal.hash, bytes) or not isinstance(seal.last, int):
            raise JournalError(f"The journal is damaged: seal {seal.n} is not a seal.")
    return seals


def _state(newest_seals: list[Seal], being_written: bool) -> JournalState:
    """A seal that adds no entry closes a journal, unless it is the first."""
    if len(newest_seals) > 1 and newest_seals[0].last == newest_seals[1].last:
        return JournalState.CLOSED
    return JournalState.OPEN if being_written else JournalState.CUT_SHORT
