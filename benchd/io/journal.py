"""The journal on a disk: one SQLite file per run of the daemon, made once, never opened again.

Promises:
- `append` never waits for a disk. A thread of its own commits, in groups; it alone uses the
  connection, and it alone moves the write-ahead log into the file, between commits. (Two
  connections that write and checkpoint at once can corrupt a file in SQLite before 3.51.3.)
- `on_committed(n)` means that entries 1 to n survive a power cut.
- The first error ends the file. A failed fsync is never repeated: the kernel may have dropped the
  data and would report success (published for several systems, USENIX ATC 2020).
- Each commit carries a seal, the hash over everything so far. The first seal (last = 0) is
  written with the file; a seal that adds no entry closes it.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

from benchd.io import journal_disk as disk
from benchd.io.journal_format import (
    Chain,
    Entry,
    JournalError,
    Row,
    ViewLike,
    complete_meta,
    entry_of,
    numbered,
    row_lines,
    views_of_meta,
    widths_of,
)

WINDOW_S = 0.04
REST_WINDOW_S = 0.5
"""Each commit costs a seal and a sync, and at rest samples and beats come one by one."""

BATCH = 200
QUEUE_MAX = 100_000
WAL_ALARM_BYTES = disk.JOURNAL_SIZE_LIMIT_BYTES
CHECKPOINT_COMMITS = 256


@dataclass(frozen=True, slots=True)
class JournalStats:
    """How the writer is doing. Times in seconds of the monotonic clock."""

    waiting: int
    dropped: int
    committed: int
    commits: int
    commit_s_last: float
    commit_s_max: float
    wal_bytes: int
    # Pages that the last checkpoint could not move because a reader held the file.
    wal_pages_held: int
    # The log outgrew its alarm size: a reader has kept the file open for too long.
    wal_overgrown: bool


class _Limits(NamedTuple):
    window_s: float
    rest_window_s: float
    batch: int
    queue_max: int
    wal_alarm_bytes: int


class JournalFile:
    """A journal that is being written. Made by `create`; every method may be called at any time."""

    def __init__(
        self,
        path: Path,
        meta: Mapping[str, str],
        limits: _Limits,
        *,
        wall_us: Callable[[], int],
        on_committed: Callable[[int], None],
        on_fault: Callable[[str], None],
    ) -> None:
        self.path = path
        self.meta = dict(meta)
        self._widths = widths_of(views_of_meta(meta))
        self._wall_us, self._on_committed, self._on_fault = wall_us, on_committed, on_fault
        self._limits = limits

        # The writer thread's own, once the file is made.
        self._connection: sqlite3.Connection
        self._open_mark = -1
        self._made = False
        self._chain = Chain(meta)
        self._seals = 1

        # Shared; the lock is never held while the disk is waited for.
        self._wake = threading.Condition()
        self._waiting: list[Row] = []
        self._in_flight: list[Row] = []
        self._assigned = 0
        self._due_s = 0.0
        self._urgent = False
        self._closing = False
        self._fault: str | None = None
        self._head = self._chain.digest()
        self._stats = JournalStats(0, 0, 0, 0, 0.0, 0.0, 0, 0, False)
        self._thread = threading.Thread(target=self._run, name=f"journal {path.name}", daemon=True)

    @classmethod
    def create(
        cls,
        path: Path,
        *,
        meta: Mapping[str, str],
        views: Iterable[ViewLike],
        wall_us: Callable[[], int],
        on_committed: Callable[[int], None],
        on_fault: Callable[[str], None],
        wait: bool = True,
        window_s: float = WINDOW_S,
        rest_window_s: float = REST_WINDOW_S,
        batch: int = BATCH,
        queue_max: int = QUEUE_MAX,
        wal_alarm_bytes: int = WAL_ALARM_BYTES,
    ) -> JournalFile:
        """Make a new journal file and start its writer.

        meta: facts about the file, kept in it and under the hash; the opening time and the views
        are added. wall_us: wall time [us since 1970, UTC]. on_committed(n): called from the
        writer thread once entries up to n are safe. on_fault(sentence): called once, from
        whichever thread notices, when the file stopped for good. wait: make the file before
        returning; else the writer makes it, and a file that cannot be made is a fault. window_s,
        rest_window_s, batch: a commit is due this long after its first entry, or its first that is
        resting, or when so many wait. queue_max:
        more waiting entries than this are a fault, and are dropped and counted. wal_alarm_bytes:
        the log above this size is reported by `stats`.

        Raises JournalError when the file cannot be made and was waited for (nothing is left of
        it), ValueError for views or meta that cannot be stored.
        """
        journal = cls(
            path,
            complete_meta(meta, views, wall_us()),
            _Limits(window_s, rest_window_s, batch, queue_max, wal_alarm_bytes),
            wall_us=wall_us,
            on_committed=on_committed,
            on_fault=on_fault,
        )
        if wait:
            journal._make()
        journal._thread.start()
        return journal

    def _make(self) -> None:
        """Make the file; waits for the disk."""
        self._connection, self._open_mark = disk.make_file(self.path, self.meta, self._wall_us())
        self._made = True

    @property
    def committed(self) -> int:
        """Number of the last entry that is safe; 0 when there is none."""
        return self._stats.committed

    @property
    def fault(self) -> str | None:
        """Why this file stopped for good, as one sentence; None while it works."""
        return self._fault

    @property
    def dropped(self) -> int:
        """Entries refused because too many were waiting; 0 while all is well."""
        return self._stats.dropped

    def append(self, entries: Iterable[Entry], urgent: bool = False, resting: bool = False) -> int:
        """Take entries to be committed within the window, at once if urgent, or within the longer
        one if resting: then whatever comes meanwhile takes them along.

        Never waits for the disk, not even after a fault: then the entries are kept for
        `uncommitted`. Returns the last number given so far. Raises ValueError after `close`, or
        for an entry that cannot be stored (then none of these entries is taken).
        """
        overflow = None
        with self._wake:
            if self._closing:
                raise ValueError("this journal is closed; entries go to a new one")
            new = list(numbered(entries, self._assigned))
            room = max(0, self._limits.queue_max - len(self._waiting))
            if len(new) > room:
                overflow = self._drop(len(new) - room)
                del new[room:]
            window_s = self._limits.rest_window_s if resting else self._limits.window_s
            due_s = time.monotonic() + window_s
            if new and (not self._waiting or due_s < self._due_s):
                self._due_s = due_s
                self._wake.notify()
            self._waiting += new
            self._assigned += len(new)
            self._urgent |= urgent and bool(self._waiting)
            if self._urgent or len(self._waiting) >= self._limits.batch:
                self._wake.notify()
            assigned = self._assigned
        if overflow:
            self._on_fault(overflow)
        return assigned

    def head(self) -> str:
        """Hash over all that is committed, 64 hexadecimal digits; of the file before, while this
        one is not made."""
        return self._head.hex() if self._made else self.meta.get("previous_head", "")

    def stats(self) -> JournalStats:
        """Figures of this moment; does not wait for the disk."""
        with self._wake:
            return replace(self._stats, waiting=len(self._waiting) + len(self._in_flight))

    def uncommitted(self) -> list[Entry]:
        """Entries taken whose commit was never confirmed, oldest first.

        After a fault the first of them may still be found in the file: a write that failed
        half-way leaves that open.
        """
        with self._wake:
            return [entry_of(row, self._widths) for row in (*self._in_flight, *self._waiting)]

    def close(self) -> None:
        """Commit what waits, seal the file and make it a single file. Waits for the disk.

        Harmless when repeated and after a fault.
        """
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join()

    def _drop(self, count: int) -> str | None:
        """Count dropped entries; the sentence to report if that is the first fault."""
        self._stats = replace(self._stats, dropped=self._stats.dropped + count)
        return self._latch(
            f"Over {self._limits.queue_max} entries wait to be written to {self.path.name}: the "
            "disk does not keep up, and entries are being lost. Use a faster disk."
        )

    def _latch(self, sentence: str) -> str | None:
        """Keep the first fault; its sentence if this is it. The caller holds the lock."""
        if self._fault is not None:
            return None
        self._fault = sentence
        self._wake.notify()
        return sentence

    # From here on: the writer thread.

    def _run(self) -> None:
        try:
            if not self._made:
                self._make()
            while rows := self._next_rows():
                self._commit(rows)
            if self._fault is None:
                self._finish()
        except Exception as error:  # Whatever it is, the application must hear of it.
            self._report(error)
        finally:
            self._release()

    def _next_rows(self) -> list[Row]:
        """Wait until a commit is due and take its rows; none when the file is to end."""
        with self._wake:
            while not self._is_due():
                left_s = self._due_s - time.monotonic() if self._waiting else None
                self._wake.wait(left_s)
            if self._fault is not None:
                return []
            self._in_flight, self._waiting = self._waiting, []
            self._urgent = False
            return self._in_flight

    def _is_due(self) -> bool:
        if self._fault is not None or self._closing or self._urgent:
            return True
        waiting = len(self._waiting)
        return waiting >= self._limits.batch or (waiting > 0 and time.monotonic() >= self._due_s)

    def _commit(self, rows: list[Row]) -> None:
        """One transaction: the rows and their seal."""
        started_s = time.monotonic()
        last = rows[-1][0]
        lines = row_lines(rows)
        digest = self._chain.add(lines)
        self._connection.execute("BEGIN IMMEDIATE")
        stored = disk.insert_lines(self._connection, lines)
        if stored != len(rows):
            raise JournalError(f"{self.path.name} took {stored} of {len(rows)} entries.")
        self._seal(last, digest)
        self._connection.execute("COMMIT")
        commit_s = time.monotonic() - started_s
        wal_bytes = disk.size_bytes(disk.beside(self.path, "-wal"))
        with self._wake:
            self._in_flight = []
            self._head = digest
            self._note_commit(last, commit_s, wal_bytes)
        self._on_committed(last)
        if self._stats.commits % CHECKPOINT_COMMITS == 0:
            self._checkpoint()

    def _seal(self, last: int, digest: bytes) -> None:
        self._seals += 1
        disk.insert_seal(self._connection, self._seals, last, self._wall_us(), digest)

    def _note_commit(self, last: int, commit_s: float, wal_bytes: int) -> None:
        self._stats = replace(
            self._stats,
            committed=last,
            commits=self._stats.commits + 1,
            commit_s_last=commit_s,
            commit_s_max=max(commit_s, self._stats.commit_s_max),
            wal_bytes=wal_bytes,
            wal_overgrown=wal_bytes > self._limits.wal_alarm_bytes,
        )

    def _checkpoint(self) -> None:
        held = disk.checkpoint(self._connection)
        with self._wake:
            self._stats = replace(self._stats, wal_pages_held=held)

    def _finish(self) -> None:
        """The closing seal, then out of WAL mode, so that a closed journal is one file."""
        self._connection.execute("BEGIN IMMEDIATE")
        self._seal(self.committed, self._head)
        self._connection.execute("COMMIT")
        disk.leave_wal(self._connection)

    def _report(self, error: Exception) -> None:
        text = (
            disk.sentence_of(error, self.path, self._stats.committed) if self._made else str(error)
        )
        with self._wake:
            sentence = self._latch(text)
        if sentence is not None:
            # A callback that fails has nobody left to tell; the latched fault stays readable.
            with suppress(Exception):
                self._on_fault(sentence)

    def _release(self) -> None:
        """Let go of the file. After a fault it stays exactly as the error left it."""
        if not self._made:
            return
        with suppress(sqlite3.Error):
            if self._fault is None:
                self._connection.close()
            else:
                disk.close_without_checkpoint(self._connection, self.path)
        disk.drop_open_mark(self.path, self._open_mark)
