"""A journal as a bench at its own pace makes it: the simulated one in real time, at work and at
rest, for some three minutes."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from benchd.analysis.archive import archive
from tests.e2e.conftest import RealBench

SERIES, PORTIONS, EVERY_S = 2, 7, 8.0
REST_S = 20.0


class Sizes(NamedTuple):
    """Bytes an entry of a journal, those of its head among them, and of its archive; how many
    entries, and how many a commit."""

    journal: float
    head: float
    archive: float
    entries: int
    a_commit: float


def sizes(folder: Path) -> Sizes:
    """Run the bench in this folder, and measure what its journal came to."""
    bench = RealBench(folder)
    try:
        bench.simulate()
        daemon = bench.serve()
        terminal = bench.terminal()
        bench.make_ready(terminal)
        for _ in range(SERIES):
            terminal.send("series", dough=bench.masa, every_s=EVERY_S, count=PORTIONS)
            for _ in range(PORTIONS):
                terminal.wait_for("portion", lambda portion: True)
                terminal.news.clear()
                terminal.ask("weigh", mass_kg=0.0301, text="30.1", confirmed=True)
            threading.Event().wait(REST_S)
        daemon.end()
    finally:
        bench.end()
    (path,) = bench.journals()
    with closing(sqlite3.connect(path)) as connection:
        entries, commits = connection.execute(
            "SELECT (SELECT count(*) FROM entry), (SELECT count(*) FROM seal)"
        ).fetchone()
        (head,) = connection.execute(
            "SELECT sum(pgsize) FROM dbstat WHERE name IN ('meta', 'sqlite_schema')"
        ).fetchone()
    packed = archive(path).size_bytes
    size = path.stat().st_size
    return Sizes(size / entries, head / entries, packed / entries, entries, entries / commits)
