"""How fast and how small the journal is, beside what the disk itself can do.

Every function makes its files in the folder it is given: a disk's figures are those of the disk
under that folder. Rates in entries per second, sizes in bytes, times in milliseconds.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

from benchd.io.journal import REST_WINDOW_S, WINDOW_S, JournalFile
from benchd.io.journal_format import Entry, row_lines, row_of

VIEWS = [("sample", 1, ["seq", "step", "thrust", "eye", "pressure", "valve", "switches", "age"])]
BATCH = 200
AT_REST = round(22 * REST_WINDOW_S)
"""Entries a commit at rest: ten beats a second, each with its lease, and two samples."""
WAIT_S_MAX = 60.0
_file_number = count()


def typical_sample(i: int) -> Entry:
    """A row like those of a running bench at 200 samples a second: eight small integers."""
    values = (i % 65_536, i * 3, 41_000 + i % 900, 2_500 + i % 60, 6_012, i % 2, 5, 12)
    return Entry(86_400 * 10**9 + i * 5_000_000, 1, values)


@dataclass
class Commits:
    """When each commit was reported; `wait_for` returns once entry `last` is in."""

    reports: list[tuple[int, int]] = field(default_factory=list)
    _changed: threading.Condition = field(default_factory=threading.Condition)

    def on_committed(self, last: int) -> None:
        with self._changed:
            self.reports.append((last, time.perf_counter_ns()))
            self._changed.notify()

    def wait_for(self, last: int) -> None:
        with self._changed:
            if not self._changed.wait_for(self._has(last), WAIT_S_MAX):
                raise TimeoutError(f"entry {last} was not committed within {WAIT_S_MAX} s")

    def _has(self, last: int) -> Callable[[], bool]:
        return lambda: bool(self.reports) and self.reports[-1][0] >= last


def _open(folder: Path, commits: Commits, window_s: float = 3600.0) -> JournalFile:
    def fail(sentence: str) -> None:
        raise RuntimeError(sentence)

    return JournalFile.create(
        folder / f"bench-{os.getpid()}-{next(_file_number)}.journal",
        meta={"bench": "measured"},
        views=VIEWS,
        wall_us=lambda: time.time_ns() // 1000,
        on_committed=commits.on_committed,
        on_fault=fail,
        window_s=window_s,
        batch=BATCH,
    )


def _write_batches(folder: Path, batches: int, each: int) -> tuple[Path, float]:
    """Commit so many batches one after the other; the closed file and the seconds it took."""
    commits = Commits()
    journal = _open(folder, commits)
    entries = [typical_sample(i) for i in range(batches * each)]
    began_s = time.perf_counter()
    for start in range(0, len(entries), each):
        commits.wait_for(journal.append(entries[start : start + each], urgent=True))
    took_s = time.perf_counter() - began_s
    journal.close()
    return journal.path, took_s


def entries_per_s(folder: Path, batches: int = 200, each: int = BATCH) -> float:
    """Entries a second when each commit of `each` is waited for before the next."""
    path, took_s = _write_batches(folder, batches, each)
    path.unlink()
    return batches * each / took_s


def floor_entries_per_s(folder: Path, batches: int = 200, each: int = BATCH) -> float:
    """The same with a plain file: the bytes that the journal stores, appended and fdatasync'ed."""
    payload = b"x" * round(bytes_per_entry(folder, 50, each) * each)
    path = folder / f"floor-{os.getpid()}"
    file = os.open(path, os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    sync = getattr(os, "fdatasync", os.fsync)
    began_s = time.perf_counter()
    for _ in range(batches):
        os.write(file, payload)
        sync(file)
    took_s = time.perf_counter() - began_s
    os.close(file)
    path.unlink()
    return batches * each / took_s


def bytes_per_entry(folder: Path, batches: int = 200, each: int = BATCH) -> float:
    """Size of a closed file over its entries, seals and views included."""
    path, _ = _write_batches(folder, batches, each)
    size = path.stat().st_size
    path.unlink()
    return size / (batches * each)


def canonical_us_per_entry(entries: int = 20_000) -> float:
    """Microseconds to check an entry and write its canonical line: the cost per hash."""
    began_s = time.perf_counter()
    row_lines([row_of(i, typical_sample(i)) for i in range(1, entries + 1)])
    return (time.perf_counter() - began_s) / entries * 1e6


@dataclass(frozen=True)
class Latency:
    """From append to the report of the commit [ms], and how long an append kept its caller [ms]."""

    p50_ms: float
    p99_ms: float
    max_ms: float
    append_p99_ms: float
    append_max_ms: float


def latency(folder: Path, rate_per_s: int, seconds: float = 3.0) -> Latency:
    """Paced like a bench: entries at a steady rate, with the journal's own window."""
    commits = Commits()
    journal = _open(folder, commits, window_s=WINDOW_S)
    beat_s = max(1 / rate_per_s, 0.005)
    each = round(rate_per_s * beat_s)
    appended: list[tuple[int, int, int]] = []
    pause = threading.Event()
    began_s = time.perf_counter()
    for beat in range(round(seconds / beat_s)):
        pause.wait(max(0.0, began_s + beat * beat_s - time.perf_counter()))
        entries = [typical_sample(beat * each + i) for i in range(each)]
        before_ns = time.perf_counter_ns()
        last = journal.append(entries)
        appended.append((last, before_ns, time.perf_counter_ns()))
    commits.wait_for(last)
    journal.close()
    journal.path.unlink()
    return _latency_of(appended, commits.reports)


def _latency_of(appended: list[tuple[int, int, int]], reports: list[tuple[int, int]]) -> Latency:
    waits_ms, holds_ms = [], []
    at = 0
    for last, before_ns, after_ns in appended:
        while reports[at][0] < last:
            at += 1
        waits_ms.append((reports[at][1] - before_ns) / 1e6)
        holds_ms.append((after_ns - before_ns) / 1e6)
    return Latency(
        p50_ms=_quantile(waits_ms, 0.5),
        p99_ms=_quantile(waits_ms, 0.99),
        max_ms=max(waits_ms),
        append_p99_ms=_quantile(holds_ms, 0.99),
        append_max_ms=max(holds_ms),
    )


def _quantile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]
