"""Journals for tests of what reads them."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from benchd.io.journal import JournalFile
from benchd.io.journal_format import Entry
from tests.io.reports import META, OPENED_US, VIEWS, Reports

# Far from any value that SQLite keeps for itself, so that a test finds it among the bytes.
MARK = 0x1122_3344_5566_7788


def entry(i: int) -> Entry:
    """The i-th entry: two kinds take turns, times step by 10 ns, each has its own number."""
    values = (i,) if i % 2 else (i, MARK + i, -i)
    return Entry(1_000 + 10 * i, 1 + i % 2, values, f"entry {i}")


class Journal:
    """A journal being written, one commit for each `commit`."""

    def __init__(self, path: Path, **meta: str) -> None:
        self.path = path
        self.reports = Reports()
        self.file = JournalFile.create(
            path,
            meta={**META, **meta},
            views=VIEWS,
            wall_us=lambda: OPENED_US,
            on_committed=self.reports.on_committed,
            on_fault=self.reports.on_fault,
            window_s=3600.0,
            batch=10**9,
        )

    def commit(self, entries: Iterable[Entry]) -> None:
        last = self.file.append(entries, urgent=True)
        self.reports.wait_for(lambda: self.file.committed == last)
        assert not self.reports.faults

    def close(self) -> None:
        self.file.close()
        assert not self.reports.faults


def closed_journal(path: Path, commits: int = 10, each: int = 20, **meta: str) -> Path:
    """A closed journal; its first commit opens it, its last one closes it."""
    journal = Journal(path, **meta)
    for first in range(1, commits * each, each):
        journal.commit(map(entry, range(first, first + each)))
    journal.close()
    return path
