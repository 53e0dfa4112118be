"""What is done to a journal's SQLite file, step by step; `journal` decides when.

Every function here waits for the disk and is called with a connection that the caller alone uses.
"""

from __future__ import annotations

import fcntl
import os
import sqlite3
import time
from collections.abc import Mapping
from contextlib import closing, suppress
from pathlib import Path

from benchd.io.journal_format import (
    OPEN_MARK_SUFFIX,
    VALUE_COUNT_MAX,
    Chain,
    JournalError,
    views_of_meta,
)
from benchd.io.migrations import migrate, view_sql

JOURNAL_SIZE_LIMIT_BYTES = 64 * 2**20
_BUILD_SUFFIX = "-new"
# How long closing waits for readers to let go of the file.
LEAVE_WAL_S_MAX = 2.0

PRAGMAS = (
    "synchronous = FULL",
    "wal_autocheckpoint = 0",
    f"journal_size_limit = {JOURNAL_SIZE_LIMIT_BYTES}",
    "busy_timeout = 5000",
    "cell_size_check = ON",
    "mmap_size = 0",
    # A multi-row insert may spill its undo data: to memory, not to another file system.
    "temp_store = MEMORY",
    # On macOS a plain fsync does not reach the medium; elsewhere these two change nothing.
    "fullfsync = ON",
    "checkpoint_fullfsync = ON",
)

# All entries of a commit go in as one statement over their canonical lines, for two reasons. What
# is stored is by construction what was hashed. And the interpreter's lock is given up and taken
# back once per statement: with one statement per row, an event loop that keeps busy made commits
# of 200 rows take up to 2 s instead of 20 ms (measured).
_INSERT_ENTRIES = (
    "INSERT INTO entry SELECT "
    + ", ".join(f"value ->> {i}" for i in range(VALUE_COUNT_MAX + 4))
    + " FROM json_each(?)"
)

_UNKNOWN = ("of an error in this program", "Please report it.")
_CAUSES = {
    "SQLITE_FULL": ("the disk is full", "Free some space on it."),
    "SQLITE_IOERR": ("the disk reported an error", "Check the disk and its cable."),
    "SQLITE_READONLY": ("the file may not be written", "Check who owns the folder."),
    "SQLITE_CANTOPEN": ("its files cannot be opened", "Check who owns the folder."),
    "SQLITE_CORRUPT": ("the file is damaged", "Check the disk and its cable."),
    "SQLITE_BUSY": ("another program writes to it", "Stop that program."),
}


def sentence_of(error: Exception, path: Path, committed: int) -> str:
    """What stopped a journal, for a person: what happened, what it means, what to do."""
    code = str(getattr(error, "sqlite_errorname", None) or type(error).__name__)
    # SQLite's names grow to the right: SQLITE_IOERR_FSYNC is a kind of SQLITE_IOERR.
    cause, advice = _CAUSES.get("_".join(code.split("_")[:2]), _UNKNOWN)
    return (
        f"The journal {path.name} stopped after entry {committed} because {cause} ({code}: "
        f"{error}); later entries are held in memory only. {advice}"
    )


def beside(path: Path, suffix: str) -> Path:
    """A file that belongs to a journal, next to it."""
    return path.with_name(path.name + suffix)


def size_bytes(path: Path) -> int:
    """The size of a file; 0 when it is not there."""
    try:
        return path.stat().st_size
    except OSError:
        return 0


def is_being_written(path: Path) -> bool:
    """Whether a living process writes this journal."""
    try:
        mark = os.open(beside(path, OPEN_MARK_SUFFIX), os.O_RDONLY)
    except OSError:
        return False
    try:
        fcntl.flock(mark, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(mark)
    return False


def make_file(path: Path, meta: Mapping[str, str], wall_us: int) -> tuple[sqlite3.Connection, int]:
    """A new file with its tables, meta and first seal, and the locked mark beside it.

    The file gets its name only when it is complete, so that whatever bears the name of a journal
    is one, even if the power fails meanwhile. Raises JournalError when it cannot be made; then
    nothing is left of it.
    """
    open_mark = -1
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        open_mark = os.open(beside(path, OPEN_MARK_SUFFIX), os.O_CREAT | os.O_EXCL | os.O_RDWR)
        fcntl.flock(open_mark, fcntl.LOCK_EX)
        _build(beside(path, _BUILD_SUFFIX), meta, wall_us)
        _name(path)
        return _open_for_writing(path), open_mark
    except (OSError, sqlite3.Error, JournalError) as error:
        if open_mark >= 0:
            drop_open_mark(path, open_mark)
        reason = getattr(error, "strerror", None) or error
        raise JournalError(
            f"No journal can be made at {path}: {reason}. Nothing would be recorded; name a "
            "folder on a disk of this machine that can be written and has space."
        ) from error


def _build(path: Path, meta: Mapping[str, str], wall_us: int) -> None:
    """A complete journal without entries."""
    path.unlink(missing_ok=True)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        try:
            _set_pragmas(connection)
            migrate(connection)
            connection.execute("BEGIN IMMEDIATE")
            for view in views_of_meta(meta):
                connection.execute(view_sql(view))
            connection.executemany("INSERT INTO meta VALUES (?, ?)", sorted(meta.items()))
            insert_seal(connection, 1, 0, wall_us, Chain(meta).digest())
            connection.execute("COMMIT")
        except sqlite3.Error:
            path.unlink(missing_ok=True)
            raise


def _name(path: Path) -> None:
    # Names hold a random part, so this is against a mistake, not against a race.
    if path.exists():
        beside(path, _BUILD_SUFFIX).unlink()
        raise JournalError("there is a journal of that name")
    beside(path, _BUILD_SUFFIX).rename(path)


def _open_for_writing(path: Path) -> sqlite3.Connection:
    """The connection that the writer thread will use, in WAL mode."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    try:
        _set_pragmas(connection)
        # For the switch itself the undo data stays in memory, for the reason given at leave_wal.
        connection.execute("PRAGMA journal_mode = MEMORY").fetchone()
        (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
        if mode != "wal":
            raise JournalError("this file system has no shared memory for a write-ahead log")
    except (sqlite3.Error, JournalError):
        connection.close()
        path.unlink(missing_ok=True)
        raise
    return connection


def _set_pragmas(connection: sqlite3.Connection) -> None:
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def drop_open_mark(path: Path, open_mark: int) -> None:
    """Take away the mark that says that the journal is being written."""
    with suppress(OSError):
        beside(path, OPEN_MARK_SUFFIX).unlink()
    with suppress(OSError):
        os.close(open_mark)


def insert_lines(connection: sqlite3.Connection, lines: bytes) -> int:
    """Store entries given as canonical lines; how many were stored."""
    # A line holds no newline of its own: JSON escapes it.
    array = "[" + lines[:-1].replace(b"\n", b",").decode() + "]"
    return connection.execute(_INSERT_ENTRIES, (array,)).rowcount


def insert_seal(
    connection: sqlite3.Connection, n: int, last: int, wall_us: int, digest: bytes
) -> None:
    """Store the seal of commit n, whose last entry is `last`."""
    connection.execute("INSERT INTO seal VALUES (?, ?, ?, ?)", (n, last, wall_us, digest))


def checkpoint(connection: sqlite3.Connection) -> int:
    """Move the log into the file as far as readers allow, without waiting for them.

    Returns the pages that had to stay in the log.
    """
    _, logged, moved = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
    return int(logged) - int(moved)


def leave_wal(connection: sqlite3.Connection) -> None:
    """Move the whole log into the file and switch the file out of WAL mode.

    The switch rewrites a few bytes at the start of the file. It is made with the undo data in
    memory: an undo file left by a kill at this moment would lock out readers that may not write,
    and the bytes lie in one sector, which a disk writes whole or not at all. A reader may hold
    the file for a moment; when one holds it for longer, the file keeps its log beside it, which
    is complete and readable as well.
    """
    until_s = time.monotonic() + LEAVE_WAL_S_MAX
    while True:
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            (mode,) = connection.execute("PRAGMA journal_mode = MEMORY").fetchone()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise
            mode = "wal"
        if mode != "wal" or time.monotonic() > until_s:
            return
        time.sleep(0.02)


def close_without_checkpoint(connection: sqlite3.Connection, path: Path) -> None:
    """Close after an error, without the checkpoint (and fsync) of a last connection.

    A connection that only reads keeps the writer from being the last one, and may itself not
    checkpoint.
    """
    uri = f"{path.resolve().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True, isolation_level=None)) as guard:
        guard.execute("SELECT max(n) FROM seal").fetchone()
        connection.close()
