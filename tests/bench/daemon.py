"""The daemon's own figures: lines through its link, a trip's way to the stop line, replay, a
command's start.

Every function returns plain numbers, with the bare floor measured in the same run where there is
one.
"""

from __future__ import annotations

import asyncio
import os
import pty
import select
import statistics
import subprocess
import sys
import threading
import time
import tty
from binascii import crc_hqx
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import msgspec

from benchd.analysis.replay import verify
from benchd.app import App
from benchd.config import BenchCard, bench_card, read_card
from benchd.core import ledger
from benchd.core.inputs import Carry
from benchd.core.state import State
from benchd.io.clock import boottime_ns
from benchd.io.journal_format import Entry
from benchd.io.memory_store import MemoryStore
from benchd.io.serial_link import open_link
from protocols import messages as m
from protocols.framing import frame
from protocols.limits import PROTOCOL, digest

EXAMPLES = Path(__file__).parents[2] / "benchd" / "examples"
WALL_US = 1_800_000_000_000_000
PINS = 1 << 15 | 1 << 11 | 1 << 9 | 0b11111  # in force, position known, drive on, all well


class NoStore:
    """A journal that only counts: what a journal costs has figures of its own."""

    committed = 0
    fault = None
    dropped = 0

    def append(self, entries: Iterable[Entry], urgent: bool = False, resting: bool = False) -> int:
        """Count."""
        self.committed += len(list(entries))
        return self.committed

    def head(self) -> str:
        """Nothing is hashed."""
        return ""

    def uncommitted(self) -> list[Entry]:
        """Nothing waits."""
        return []

    def close(self) -> None:
        """Nothing ends."""


class Nobody:
    """Clients that are not there."""

    def reply(self, client: int, ask: int, result: dict[str, Any]) -> None:
        """Nobody waits."""

    def refuse(self, client: int, ask: int, code: int, message: str, data: dict[str, Any]) -> None:
        """Nobody waits."""

    def publish(self, topic: str, data: dict[str, Any]) -> None:
        """Nobody listens."""


def _card() -> BenchCard:
    path = EXAMPLES / "bench.yaml"
    return bench_card(read_card(path), str(path))


def _app(write: Callable[[bytes, bool], Any], now_ns: int) -> tuple[App, list[MemoryStore]]:
    stores: list[MemoryStore] = []

    def make(meta: dict[str, str]) -> MemoryStore:
        store = MemoryStore(
            meta=meta,
            views=ledger.views(),
            wall_us=lambda: WALL_US,
            on_committed=lambda n: None,
            on_fault=lambda reason: None,
            queue_max=10_000_000,
        )
        stores.append(store)
        return store

    app = App(
        _card().facts,
        Carry(),
        wall_us=WALL_US,
        now_ns=now_ns,
        write=write,
        make_store=make,
        clients=Nobody(),
    )
    return app, stores


def _line(message: m.Message) -> bytes:
    return frame(m.encode(message))


def greeting() -> bytes:
    """Return the greeting of a board that has the example card's limits in force."""
    limits = _card().facts.limits
    return _line(
        m.Bench(PROTOCOL, "0.0.0", "00000000", "host", 1, "power", 1, 0, digest(limits), 1)
    )


def beat(k: int, taken: int = 0) -> bytes:
    """Return the k-th beat, each 100 ms on the board's clock; it answers the lease before it."""
    t_us = (k + 1) * 100_000 & 0xFFFFFFFF
    lease_us = (t_us - 90_000) & 0xFFFFFFFF
    return _line(
        m.Beat(
            k & 0xFFFF, t_us, (k - 1) & 0xFFFF, lease_us, 1, 0, 0, 0, 4000, PINS, 0, taken & 0xFFFF
        )
    )


def sample(k: int, t_us: int) -> bytes:
    """Return the k-th sample, as a bench under way sends them."""
    feed, thrust = 40_000 + k % 9_000, 2_000 + k % 300
    t_us &= 0xFFFFFFFF
    return _line(m.Sample(k & 0xFFFF, t_us, feed, 600 + k % 50, thrust, 2_010, 4_990))


def lines_through_the_link(
    lines: int = 60_000, chunk: int = 2_048, *, with_queue: bool = False
) -> dict[str, float]:
    """Return lines a second and the share of a core at 30,000 lines a second, beside bare splitting
    and checking.

    The lines are samples with a beat after every 200, as in a busy link; they go through read
    buffer, check value, decode, sequence and decision; `with_queue` adds the journal's queue.
    """
    written: list[bytes] = []
    app, _ = _app(lambda data, urgent: written.append(data), 1_000_000_000)
    if not with_queue:
        app._store = NoStore()
    app.on_link_up("bench", 1_000_000_000)
    app.on_bytes(greeting(), 1_000_100_000)
    parts = []
    for number in range(lines):
        k, rest = divmod(number, 200)
        parts.append(sample(number - k - 1, (k + 1) * 100_000 + rest) if rest else beat(k))
    stream = b"".join(parts)
    chunks = [stream[at : at + chunk] for at in range(0, len(stream), chunk)]
    now_ns = 1_001_000_000
    begun = time.process_time()
    for data in chunks:
        now_ns += round(len(data) / 52 / 30_000 * 1e9)
        app.on_bytes(data, now_ns)
    used_s = time.process_time() - begun
    assert app.state.board.sample_k == (lines - lines // 200 - 1) & 0xFFFF
    begun = time.process_time()
    for line in stream.split(b"\n")[:-1]:
        assert b"%04X" % crc_hqx(line[:-5], 0xFFFF) == line[-4:]
    floor_s = time.process_time() - begun
    return {
        "lines_per_s": lines / used_s,
        "core_share_at_30000": used_s / lines * 30_000,
        "lost": app.state.lines_bad + app.state.samples_lost,
        "floor_lines_per_s": lines / floor_s,
    }


def trip_to_stop(trips: int = 500) -> dict[str, float]:
    """Return the time from the last byte of a trip event to the stop line over a pty [ms], beside a
    bare echo."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    ready, done = threading.Event(), threading.Event()

    def serve() -> None:
        async def main() -> None:
            link = None

            def on_bytes(data: bytes, t_ns: int) -> None:
                app.on_bytes(data, t_ns)

            link = open_link(
                os.ttyname(slave), 250_000, on_bytes=on_bytes, on_closed=lambda reason: None
            )
            app, stores = _app(lambda data, urgent: link.write(data, urgent), boottime_ns())
            app.on_link_up("bench", boottime_ns())
            ready.set()
            while not done.is_set():
                await asyncio.sleep(0.005)
                for store in stores:
                    app.on_committed(store.settle() or store.committed, boottime_ns())
            link.close()

        asyncio.run(main())

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    ready.wait(30)
    os.write(master, greeting() + beat(2))
    taken = 0
    times_ms = []
    for number in range(1, trips + 1):
        while select.select([master], [], [], 0.002)[0]:
            taken += len(os.read(master, 4096))
        os.write(master, beat(number + 2, taken))
        taken += len(os.read(master, 4096))
        os.write(master, _line(m.Trip(number, number * 1000, 0, 14, 4000, 3000, 4000)))
        begun = time.perf_counter_ns()
        seen = b""
        while b"stop " not in seen:
            if not select.select([master], [], [], 5)[0]:
                raise TimeoutError("no stop line came within 5 s")
            seen += os.read(master, 4096)
        times_ms.append((time.perf_counter_ns() - begun) / 1e6)
        taken += len(seen)
    done.set()
    thread.join(5)
    os.close(master)
    os.close(slave)
    return _spread(times_ms)


def _spread(times_ms: list[float]) -> dict[str, float]:
    cuts = statistics.quantiles(times_ms, n=100)
    return {"p50_ms": statistics.median(times_ms), "p99_ms": cuts[98], "most_ms": max(times_ms)}


def replay_rate(inputs: int = 100_000) -> dict[str, float]:
    """Return inputs a second through `verify`, with the differences found (none), beside decoding
    the entries alone.

    The journal is that of a bench between portions: a sample twice a second and a beat, with its
    lease, ten times.
    """
    app, stores = _app(lambda data, urgent: None, 1_000_000_000)
    app.on_link_up("bench", 1_000_000_000)
    app.on_bytes(greeting(), 1_000_100_000)
    now_ns = 1_001_000_000
    for k in range(inputs * 10 // 12):
        now_ns += 100_000_000
        app.on_bytes(beat(k + 2), now_ns)
        if k % 5 == 0:
            app.on_bytes(sample(k // 5, (k + 3) * 100_000 + 1_000), now_ns + 1_000_000)
    store = stores[0]
    store.settle()
    entries = list(enumerate(store.entries, 1))
    state = msgspec.json.decode(store.meta["state"], type=State)
    begun = time.process_time()
    verdict = verify(state, entries)
    used_s = time.process_time() - begun
    begun = time.process_time()
    for _, entry in entries:
        if ledger.is_input(entry.kind):
            ledger.read_input(entry.kind, entry.values, entry.text)
    floor_s = time.process_time() - begun
    return {
        "inputs_per_s": verdict.inputs / used_s,
        "inputs": verdict.inputs,
        "differences": len(verdict.differences),
        "floor_inputs_per_s": verdict.inputs / floor_s,
    }


def command_start(runs: int = 15) -> dict[str, float]:
    """Return start to exit of `benchd status` without a daemon [ms], beside a bare interpreter."""

    # An installed package has its byte code written; a shell that forbids that is not what counts.
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}

    def median_ms(arguments: list[str]) -> float:
        times = []
        subprocess.run(arguments, capture_output=True, check=False, env=environment)
        for _ in range(runs):
            begun = time.perf_counter()
            subprocess.run(arguments, capture_output=True, check=False, env=environment)
            times.append((time.perf_counter() - begun) * 1000)
        return statistics.median(times)

    return {
        "status_ms": median_ms(
            [str(Path(sys.executable).parent / "benchd"), "status", "--bench", "none"]
        ),
        "bare_python_ms": median_ms([sys.executable, "-c", "pass"]),
    }
