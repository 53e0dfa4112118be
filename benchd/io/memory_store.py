"""A journal in memory, for a simulated world that has neither threads nor a disk.

It gives the same numbers, takes the same entries and hashes them alike, so that a simulated day
and the same day in a file have the same head. Nothing is committed until `settle` is called,
which lets a simulation decide how long a disk takes, and whether it fails.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from benchd.io.journal_format import (
    Chain,
    Entry,
    Row,
    ViewLike,
    complete_meta,
    entry_of,
    numbered,
    row_lines,
    views_of_meta,
    widths_of,
)

QUEUE_MAX = 100_000


class MemoryStore:
    """A store whose commits happen when the simulated world says so."""

    def __init__(
        self,
        *,
        meta: Mapping[str, str],
        views: Iterable[ViewLike],
        wall_us: Callable[[], int],
        on_committed: Callable[[int], None],
        on_fault: Callable[[str], None],
        queue_max: int = QUEUE_MAX,
    ) -> None:
        self.meta = complete_meta(meta, views, wall_us())
        self.rows: list[Row] = []
        self._widths = widths_of(views_of_meta(self.meta))
        self._chain = Chain(self.meta)
        self._waiting: list[Row] = []
        self._on_committed = on_committed
        self._on_fault = on_fault
        self._queue_max = queue_max
        self._fault: str | None = None
        self._dropped = 0
        self._closed = False

    @property
    def committed(self) -> int:
        """Number of the last entry that is safe; 0 when there is none."""
        return len(self.rows)

    @property
    def fault(self) -> str | None:
        """Why this store stopped for good, as one sentence; None while it works."""
        return self._fault

    @property
    def dropped(self) -> int:
        """Entries refused because too many were waiting; 0 while all is well."""
        return self._dropped

    @property
    def entries(self) -> list[Entry]:
        """All committed entries, as a reader of a file would give them."""
        return [entry_of(row, self._widths) for row in self.rows]

    def append(self, entries: Iterable[Entry], urgent: bool = False, resting: bool = False) -> int:
        """Take entries to be committed by the next `settle`, whatever their hurry; the last number
        given.

        Raises ValueError after `close`, or for an entry that cannot be stored (then none of
        these entries is taken).
        """
        if self._closed:
            raise ValueError("this journal is closed; entries go to a new one")
        new = list(numbered(entries, self.committed + len(self._waiting)))
        room = max(0, self._queue_max - len(self._waiting))
        self._waiting += new[:room]
        if len(new) > room:
            self._dropped += len(new) - room
            self.fail(f"Over {self._queue_max} entries wait for the disk: it is too slow.")
        return self.committed + len(self._waiting)

    def settle(self) -> int:
        """Commit everything that waits and say so; the number of the last committed entry.

        Does nothing after a fault, as a file would.
        """
        if self._waiting and self._fault is None:
            self._chain.add(row_lines(self._waiting))
            self.rows += self._waiting
            self._waiting = []
            self._on_committed(self.committed)
        return self.committed

    def fail(self, sentence: str) -> None:
        """Stop for good, as a disk that is full or broken makes a file do."""
        if self._fault is None:
            self._fault = sentence
            self._on_fault(sentence)

    def head(self) -> str:
        """Hash over all that is committed, 64 hexadecimal digits."""
        return self._chain.digest().hex()

    def uncommitted(self) -> list[Entry]:
        """Entries taken whose commit was never confirmed, oldest first."""
        return [entry_of(row, self._widths) for row in self._waiting]

    def close(self) -> None:
        """Commit what waits and end the journal; harmless when repeated."""
        self.settle()
        self._closed = True
