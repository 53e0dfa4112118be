"""The archive of a closed journal: one Parquet file that holds everything the journal held.

A row an entry, in order, with a column for each column of each view (`line_sample_eye`), so that
any program that reads Parquet sees names, and so that like stands by like, which packs well. The
hash of each commit is not stored: it follows from the entries, and reading it back computes it
anew and compares the last with the head that the archive names.
"""

from __future__ import annotations

import hashlib
import sqlite3
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from benchd.analysis.reader import JournalFacts, JournalReader, JournalState, Seal, list_journals
from benchd.io import journal_disk as disk
from benchd.io.journal_format import (
    JOURNAL_SUFFIX,
    META_BENCH,
    VALUE_COUNT_MAX,
    Chain,
    JournalError,
    Row,
    View,
    opened_us_of,
    row_lines,
    views_of_meta,
)
from benchd.io.migrations import migrate, view_sql

if TYPE_CHECKING:
    import pyarrow as pa

ARCHIVE_SUFFIX = f"{JOURNAL_SUFFIX}.parquet"
ARCHIVE_VERSION = 1

# Keys of the file's key-value metadata; the meta of the journal follows under its own prefix.
VERSION, HEAD, ENTRIES, COMMITS = "archive_version", "head", "entries", "commits"
STATE, FIRST_US, CLOSED_US = "state", "first_commit_us", "closing_commit_us"
TIMES = "commit_times"
META_PREFIX = "meta."

VALUES = tuple(f"v{i}" for i in range(1, VALUE_COUNT_MAX + 1))
"""Columns of what no view names; empty in every journal that this program writes."""

NOISY = frozenset(
    {"eye", "thrust", "air", "supply", "eye_min", "eye_mean", "thrust_peak", "thrust_cut",
     "air_min", "supply_min"}
)  # fmt: skip
"""Columns of readings, whose last digits are noise: split into bytes they pack a third better."""

BLOCK = 10_000
"""Entries read back at a time."""

_INSERT = f"INSERT INTO entry VALUES ({', '.join('?' * (VALUE_COUNT_MAX + 4))})"
_BLANK = (None,) * VALUE_COUNT_MAX


class ArchiveFacts(NamedTuple):
    """What an archive says of itself. Times are us since 1970, UTC."""

    path: Path
    size_bytes: int
    meta: dict[str, str]
    state: JournalState
    entries: int
    commits: int
    head: str
    first_us: int
    closed_us: int | None
    times: str


class Part(NamedTuple):
    """Some entries that follow one another, and the seals that stand after one of them."""

    rows: list[Row]
    seals: list[Seal]


def is_archive(path: Path) -> bool:
    """Whether a file is Parquet, by its first bytes."""
    try:
        with path.open("rb") as file:
            return file.read(4) == b"PAR1"
    except OSError:
        return False


def column_names(views: Sequence[View]) -> dict[int, tuple[str, ...]]:
    """The columns of an archive that hold the values of each viewed kind, in order."""
    return {view.kind: tuple(f"{view.name}_{name}" for name in view.columns) for view in views}


def facts_of(path: Path) -> ArchiveFacts:
    """What an archive says of itself.

    Raises JournalError when it is none, is damaged, or is of a later version.
    """
    with _file(path) as file:
        return facts_in(path, file.metadata.metadata or {})


def facts_in(path: Path, pairs: Mapping[bytes, bytes]) -> ArchiveFacts:
    """What an archive says of itself in its file's key-value metadata.

    Raises JournalError when it is none, is damaged, or is of a later version.
    """
    try:
        words = {key.decode(): value.decode() for key, value in pairs.items()}
        version = int(words[VERSION])
        if version > ARCHIVE_VERSION:
            raise JournalError(
                f"{path.name} was archived by a later version (archive {version}; this program "
                f"knows {ARCHIVE_VERSION}). Use that version."
            )
        if (words[STATE] == JournalState.CLOSED) != (CLOSED_US in words):
            raise ValueError("its state and its last seal do not go together")
        at = len(META_PREFIX)
        return ArchiveFacts(
            path=path,
            size_bytes=disk.size_bytes(path),
            meta={key[at:]: word for key, word in words.items() if key.startswith(META_PREFIX)},
            state=JournalState(words[STATE]),
            entries=int(words[ENTRIES]),
            commits=int(words[COMMITS]),
            head=words[HEAD],
            first_us=int(words[FIRST_US]),
            closed_us=int(words[CLOSED_US]) if CLOSED_US in words else None,
            times=words[TIMES],
        )
    except (KeyError, ValueError) as error:
        raise JournalError(f"{path.name} is no archive of a journal, or is damaged.") from error


def parts(path: Path) -> Iterator[Part]:
    """Everything that an archive holds, as rows and seals of a journal, in order.

    Raises JournalError when the archive is damaged, or does not come to the head that it names.
    """
    with _file(path) as file:
        facts = facts_in(path, file.metadata.metadata or {})
        views = views_of_meta(facts.meta)
        sealing, times = _Sealing(facts), CommitTimes()
        times.add(sealing.seal)
        yield Part([], [sealing.seal])
        for table in file.iter_batches(BLOCK):
            rows = _rows(table, views)
            seals = list(sealing.take(rows, table["commit_after_us"].to_pylist()))
            times.add(*seals)
            yield Part(rows, seals)
        if facts.closed_us is not None:
            times.add(sealing.close(facts.closed_us))
            yield Part([], [sealing.seal])
    seal = sealing.seal
    if times.digest() != facts.times:
        raise JournalError(
            f"{path.name} is not as it was archived: the times of its commits were changed."
        )
    if (seal.hash.hex(), seal.n, seal.last) != (facts.head, facts.commits, facts.entries):
        raise JournalError(
            f"{path.name} is not as it was archived: its entries do not come to the head it names."
        )


def _rows(table: pa.RecordBatch, views: Sequence[View]) -> list[Row]:
    """The rows of a batch, exactly as the journal stored them."""
    n, t_ns, names, codes, texts = (
        table[name].to_pylist() for name in ("n", "t_ns", "kind", "code", "text")
    )
    by_name = {view.name: view.kind for view in views}
    kinds = [
        code if name is None else by_name[name] for name, code in zip(names, codes, strict=True)
    ]
    places: dict[int, list[int]] = defaultdict(list)
    for at, kind in enumerate(kinds):
        places[kind].append(at)
    values: list[tuple[Any, ...]] = [_BLANK] * len(n)
    for kind, columns in column_names(views).items():
        if columns and kind in places:
            found = [table[name].take(places[kind]).to_pylist() for name in columns]
            rest = _BLANK[len(columns) :]
            for at, row in zip(places[kind], zip(*found, strict=True), strict=True):
                values[at] = (*row, *rest)
    for i, name in enumerate(VALUES):
        if table[name].null_count < len(n):
            for at, value in enumerate(table[name].to_pylist()):
                if value is not None:
                    values[at] = (*values[at][:i], value, *values[at][i + 1 :])
    columns_of_row = zip(n, t_ns, kinds, values, texts, strict=True)
    return [(*head, *middle, text) for *head, middle, text in columns_of_row]


class CommitClock:
    """Times of day of commits, told as how long after its first entry each one ended.

    That is small and much the same for all, while times of day are not. Both clocks are taken
    from where the journal begins: its opening as time of day, its first entry as host time.
    """

    def __init__(self, meta: Mapping[str, str]) -> None:
        self._opened_us = opened_us_of(meta) or 0
        self._start_ns: int | None = None
        self._first_ns: int | None = None

    def see(self, t_ns: int) -> None:
        """An entry of the commit under way."""
        if self._start_ns is None:
            self._start_ns = t_ns
        if self._first_ns is None:
            self._first_ns = t_ns

    def end_after_us(self, wall_us: int) -> int:
        """The commit under way ended at this time of day: how long after its first entry."""
        return wall_us - self._end()

    def end_wall_us(self, after_us: int) -> int:
        """The commit under way ended so long after its first entry: at which time of day."""
        return self._end() + after_us

    def _end(self) -> int:
        assert self._start_ns is not None
        assert self._first_ns is not None
        first_us = self._opened_us + (self._first_ns - self._start_ns) // 1000
        self._first_ns = None
        return first_us


class CommitTimes:
    """A digest over the times of day of all seals, which the journal's own hash leaves out."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def add(self, *seals: Seal) -> None:
        """Take further seals, in order."""
        self._hash.update("".join(f"{seal.wall_us}\n" for seal in seals).encode())

    def digest(self) -> str:
        """64 hexadecimal digits over all seals so far."""
        return self._hash.hexdigest()


class _Sealing:
    """Makes the seals anew while entries go by."""

    def __init__(self, facts: ArchiveFacts) -> None:
        self._chain = Chain(facts.meta)
        self._clock = CommitClock(facts.meta)
        self.seal = Seal(1, 0, facts.first_us, self._chain.digest())

    def take(self, rows: list[Row], after_us: list[int | None]) -> Iterator[Seal]:
        """The seals that stand after some of these rows."""
        start = 0
        for at, (row, us) in enumerate(zip(rows, after_us, strict=True), 1):
            self._clock.see(row[1])
            if us is not None:
                digest = self._chain.add(row_lines(rows[start:at]))
                self.seal = Seal(self.seal.n + 1, row[0], self._clock.end_wall_us(us), digest)
                yield self.seal
                start = at
        self._chain.add(row_lines(rows[start:]))

    def close(self, wall_us: int) -> Seal:
        """The seal that closes the journal."""
        self.seal = Seal(self.seal.n + 1, self.seal.last, wall_us, self._chain.digest())
        return self.seal


@contextmanager
def _file(path: Path) -> Iterator[pa.parquet.ParquetFile]:
    import pyarrow as pa
    import pyarrow.parquet

    if not path.is_file():
        raise JournalError(f"There is no archive at {path}.")
    try:
        with pyarrow.parquet.ParquetFile(path) as file:
            yield file
    except (pa.ArrowException, OSError, KeyError, TypeError, UnicodeError) as error:
        first = str(error).partition("\n")[0]
        raise JournalError(
            f"{path.name} is no archive of a journal, or is damaged ({first})."
        ) from (error)


def restore(path: Path, target: Path, progress: Callable[[int], object] = lambda n: None) -> None:
    """Make the journal that an archive holds; whole, or not at all.

    progress: is told how many entries are done. Raises JournalError when the archive is damaged,
    or the target is there already or cannot be written.
    """
    if target.exists():
        raise JournalError(f"{target} is there already, so nothing was restored.")
    part = disk.beside(target, "-restoring")
    try:
        part.unlink(missing_ok=True)
        with closing(sqlite3.connect(part, isolation_level=None)) as connection:
            _fill(connection, path, progress)
        part.replace(target)
    except (sqlite3.Error, OSError) as error:
        raise JournalError(
            f"{target} could not be written ({getattr(error, 'strerror', None) or error}): nothing "
            "was restored. Free some space, or name another place."
        ) from error
    finally:
        part.unlink(missing_ok=True)


def _fill(connection: sqlite3.Connection, path: Path, progress: Callable[[int], object]) -> None:
    # Until it is whole it has no name, so an undo file would serve nobody.
    connection.execute("PRAGMA journal_mode = OFF")
    migrate(connection)
    connection.execute("BEGIN")
    meta = facts_of(path).meta
    for view in views_of_meta(meta):
        connection.execute(view_sql(view))
    connection.executemany("INSERT INTO meta VALUES (?, ?)", sorted(meta.items()))
    for rows, seals in parts(path):
        connection.executemany(_INSERT, rows)
        connection.executemany("INSERT INTO seal VALUES (?, ?, ?, ?)", seals)
        if rows:
            progress(rows[-1][0])
    connection.execute("COMMIT")


@contextmanager
def readable(path: Path, progress: Callable[[int], object] = lambda n: None) -> Iterator[Path]:
    """The path of a journal to read: the same, or that of an archive's content, restored for as
    long as it is read.

    Raises: JournalError when it cannot be restored.
    """
    if not is_archive(path):
        yield path
        return
    try:
        folder = tempfile.TemporaryDirectory(prefix="benchd-")
    except OSError as error:
        raise JournalError(
            f"{path.name} is an archive, and to read it a folder for what passes is needed "
            f"({error.strerror}): free some space, or let TMPDIR name one that can be written."
        ) from error
    with folder as name:
        restored = Path(name) / journal_name(path)
        restore(path, restored, progress)
        yield restored


def journal_name(path: Path) -> str:
    """The name of the journal that an archive was made of, by the archive's name."""
    return path.name.removesuffix(".parquet").removesuffix(JOURNAL_SUFFIX) + JOURNAL_SUFFIX


def all_in(folder: Path) -> list[Path]:
    """The journals in a folder, and the archives of those that are gone, oldest first by name."""
    journals = {path.name: path for path in folder.glob(f"*{JOURNAL_SUFFIX}")}
    for path in folder.glob(f"*{ARCHIVE_SUFFIX}"):
        journals.setdefault(journal_name(path), path)
    return [journals[name] for name in sorted(journals)]


def meta_of(path: Path) -> dict[str, str]:
    """The meta of a journal, also of an archived one. Raises JournalError when it is not to be
    read."""
    return facts_of(path).meta if is_archive(path) else JournalReader(path).meta


def list_all(folder: Path) -> list[JournalFacts]:
    """What a list of journals shows of each journal and archive in a folder, oldest first."""
    found = list_journals(folder)
    found += [_list_facts(path) for path in folder.glob(f"*{ARCHIVE_SUFFIX}")]
    return sorted(found, key=lambda facts: facts.path.name)


def _list_facts(path: Path) -> JournalFacts:
    try:
        facts = facts_of(path)
    except JournalError as error:
        return JournalFacts(path, disk.size_bytes(path), problem=str(error))
    return JournalFacts(
        path=path,
        size_bytes=facts.size_bytes,
        bench=facts.meta.get(META_BENCH, ""),
        opened_us=opened_us_of(facts.meta),
        state=facts.state,
        entries=facts.entries,
        head=facts.head,
    )
