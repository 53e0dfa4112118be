"""A program that writes journals, for tests that kill it or break the disk under it.

`endless FOLDER TURN`: appends without end, and goes on to a new file after each TURN entries.
Prints "FILE N" once entries up to N of the file with that number are committed.

`on_disk FOLDER CONTROL`: appends, meets the disk troubles that each line on its standard input
puts into the control file of the shim, and prints one JSON line for each.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path

from benchd.io.journal import JournalFile
from benchd.io.journal_format import Entry
from tests.io.reports import META, VIEWS, Reports

BURST = 10
WAITING_MAX = 50


def entry(i: int) -> Entry:
    """The i-th entry of any file, so that a reader knows what must be there."""
    text = f"portion № {i}" * (i % 40) if i % 7 == 0 else None
    return Entry(10**13 + i * 5_000_000, 1, (i, -i, (i * 2_654_435_761) % 2**31), text)


def open_journal(
    path: Path, on_committed: Callable[[int], None], on_fault: Callable[[str], None]
) -> JournalFile:
    return JournalFile.create(
        path,
        meta=META,
        views=VIEWS,
        wall_us=lambda: time.time_ns() // 1000,
        on_committed=on_committed,
        on_fault=on_fault,
        window_s=0.001,
        batch=50,
    )


def endless(folder: Path, turn: int) -> None:
    for number in count():
        path = folder / f"{number:04d}.journal"
        # Commits run freely, but entries do not pile up without end.
        ahead = threading.Semaphore(WAITING_MAX // BURST)
        acknowledge = _acknowledger(number, ahead)
        journal = open_journal(path, acknowledge, sys.exit)
        for last in range(0, turn, BURST):
            ahead.acquire()
            journal.append([entry(i) for i in range(last + 1, last + BURST + 1)])
        journal.close()


def _acknowledger(number: int, ahead: threading.Semaphore) -> Callable[[int], None]:
    seen = 0

    def acknowledge(last: int) -> None:
        nonlocal seen
        # One write per line, so that a kill cannot leave half of one.
        os.write(1, f"{number} {last}\n".encode())
        ahead.release((last - seen) // BURST)
        seen = last

    return acknowledge


def on_disk(folder: Path, control: Path) -> None:
    reports = Reports()
    journal = open_journal(folder / "0.journal", reports.on_committed, reports.on_fault)
    for line in sys.stdin:
        control.write_text(line)
        longest_s = 0.0
        last = first = journal.append([entry(1)])
        while last < first + 2_000:
            began_s = time.perf_counter()
            last = journal.append([entry(1)] * BURST, urgent=True)
            longest_s = max(longest_s, time.perf_counter() - began_s)
        reports.wait_for(lambda last=last: journal.committed >= last)
        answer = {
            "append_s_max": longest_s,
            "commit_s_max": journal.stats().commit_s_max,
            "committed": journal.committed,
            "uncommitted": len(journal.uncommitted()),
            "last": last,
            "fault": journal.fault,
        }
        print(json.dumps(answer), flush=True)
    journal.close()


if __name__ == "__main__":
    if sys.argv[1] == "endless":
        endless(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        on_disk(Path(sys.argv[2]), Path(sys.argv[3]))
