"""How fast a million entries are exported and how small they are archived.

The journal comes from a simulated bench at work: series of portions every eight seconds, weighed,
with pauses. Its entries are longer than one row group of an archive before they repeat, so that no
repetition helps to pack them; and host times get the nanoseconds that a real clock has and the
simulated one has not.
"""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from functools import cache
from itertools import count, islice
from pathlib import Path
from typing import NamedTuple

from benchd.analysis.archive import ROW_GROUP
from benchd.core import ledger
from benchd.core.short_way import IDLE_MODES
from benchd.io.journal import REST_WINDOW_S, WINDOW_S
from benchd.io.journal_format import META_OPENED_US, Chain, Row, row_lines, views_of_meta
from benchd.io.migrations import migrate, view_sql
from protocols import messages as m
from sim.operator import fill
from sim.rig import TUBE_CHANGE_US
from sim.world import World
from tests.scenarios.conftest import MASA, ready_world

ENTRIES = 1_000_000
SEED = 7
RESTING = (m.Beat.code, ledger.RENEW, m.Sample.code)
MODE_AT = 3 + m.Beat.__struct_fields__.index("mode")
FLOOR = """
import sqlite3, sys
for row in sqlite3.connect(sys.argv[1]).execute("SELECT * FROM entry"): pass
"""


# A process begins with the memory of the one that started it, so a small one starts it.
LAUNCHER = """
import resource, subprocess, sys, time
began_s = time.perf_counter()
subprocess.run([sys.executable, *sys.argv[1:]], stdout=subprocess.DEVNULL, check=True)
took_s = time.perf_counter() - began_s
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(took_s, used.ru_utime + used.ru_stime, used.ru_maxrss)
"""


class Run(NamedTuple):
    """One program run to its end: how long it took, for how long it had a core, and its largest
    memory. The first two are far apart on a busy machine."""

    seconds: float
    cpu_s: float
    peak_mb: float


def run(*words: str) -> Run:
    """Run Python with these arguments. Raises CalledProcessError when it does not end well."""
    done = subprocess.run(
        [sys.executable, "-c", LAUNCHER, *words], capture_output=True, text=True, check=True
    )
    seconds, cpu_s, peak = map(float, done.stdout.split())
    return Run(seconds, cpu_s, peak / (1e6 if sys.platform == "darwin" else 1e3))


def floor(journal: Path) -> Run:
    """The bare rows, one by one, in a program that does nothing with them."""
    return run("-c", FLOOR, str(journal))


def export(journal: Path, form: str) -> Run:
    """Every entry into a file of this format."""
    target = journal.with_name(f"events.{form}")
    words = ("journal", "export", str(journal), "--everything", "--to", str(target))
    try:
        return run("-m", "benchd", *words)
    finally:
        target.unlink(missing_ok=True)


def archive(journal: Path) -> tuple[Run, float]:
    """The archive, made and read back, and its bytes an entry."""
    took = run("-m", "benchd", "journal", "archive", str(journal))
    target = journal.with_name(f"{journal.name}.parquet")
    size = target.stat().st_size
    target.unlink()
    return took, size / ENTRIES


def million(folder: Path) -> Path:
    """A closed journal with a million entries of a bench at work."""
    world = _worked()
    meta = world.stores[-1].meta
    path = folder / "20270115T080000.000000Z-00000007.journal"
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = OFF")
        migrate(connection)
        connection.execute("BEGIN")
        for view in views_of_meta(meta):
            connection.execute(view_sql(view))
        connection.executemany("INSERT INTO meta VALUES (?, ?)", sorted(meta.items()))
        _fill(connection, meta, islice(_rows(world.stores[-1].rows), ENTRIES))
        connection.execute("COMMIT")
    return path


@cache
def _worked() -> World:
    world = ready_world(seed=SEED)
    store = world.stores[-1]
    tube = count(2)
    while len(store.rows) <= ROW_GROUP:
        world.ask("series", dough=MASA, count=12, every_s=8.0)
        for _ in range(12):
            world.run_for(9.0)
            world.ask("weigh", mass_kg=0.0301, text="30.1", confirmed=True)
        world.ask("tube_out")
        world.run_for(2 * TUBE_CHANGE_US / 1e6)
        fill(world, f"T{next(tube)}")
        world.settle()
    return world


def _rows(once: list[Row]) -> Iterator[Row]:
    """The entries over and over, each time later."""
    chance = random.Random(SEED)
    span_ns = once[-1][1] - once[0][1] + 100_000_000
    clocks = {code: _clock_at(code) for code in m.BY_CODE}
    n, before_ns, at_ns = 0, None, 0
    for turn in count():
        for row in once[1 if turn else 0 :]:
            if row[1] != before_ns:
                before_ns, at_ns = row[1], row[1] + turn * span_ns + chance.randrange(1000)
            n += 1
            values = list(row[3:])
            at = clocks.get(row[2])
            if at is not None:
                values[at] = (values[at] + turn * span_ns // 1000) % 2**32
            yield (n, at_ns, row[2], *values)


def _clock_at(code: int) -> int | None:
    names = m.BY_CODE[code].cls.__struct_fields__
    return names.index("t_us") if "t_us" in names else None


def _fill(connection: sqlite3.Connection, meta: dict[str, str], rows: Iterator[Row]) -> None:
    """Entries in commits as the journal's own windows make them, each with its seal."""
    chance = random.Random(SEED)
    opened_us = int(meta[META_OPENED_US])
    chain = Chain(meta)
    seals = [(1, 0, opened_us, chain.digest())]
    commit: list[Row] = []
    start_ns: int | None = None
    due_ns = 0

    def seal() -> None:
        late_us = round(chance.expovariate(1 / 400))
        wall_us = opened_us + (due_ns - (start_ns or 0)) // 1000 + late_us
        seals.append((len(seals) + 1, commit[-1][0], wall_us, chain.add(row_lines(commit))))
        commit.clear()

    def passed() -> Iterator[Row]:
        nonlocal start_ns, due_ns
        at_rest = False
        for row in rows:
            if start_ns is None:
                start_ns = row[1]
            if commit and row[1] > due_ns:
                seal()
            if row[2] == m.Beat.code:
                at_rest = row[MODE_AT] in IDLE_MODES
            resting = at_rest and row[2] in RESTING
            window_ns = round((REST_WINDOW_S if resting else WINDOW_S) * 1e9)
            due_ns = min(due_ns, row[1] + window_ns) if commit else row[1] + window_ns
            commit.append(row)
            yield row

    connection.executemany(f"INSERT INTO entry VALUES ({', '.join('?' * 16)})", passed())
    seal()
    seals.append((len(seals) + 1, seals[-1][1], seals[-1][2] + 1000, chain.digest()))
    connection.executemany("INSERT INTO seal VALUES (?, ?, ?, ?)", seals)
