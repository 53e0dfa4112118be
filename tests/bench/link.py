"""From a command to its answer over a pty: the daemon's link and session against a bare echo."""

from __future__ import annotations

import asyncio
import os
import pty
import select
import signal
import statistics
import time
import tty
from collections.abc import Callable

from benchd.io.clock import boottime_ns
from benchd.io.serial_link import Link, open_link
from protocols.framing import LineDecoder, frame
from protocols.limits import PROTOCOL
from protocols.messages import Beat, Bench, Clear, Hello, Yes, decode, encode
from protocols.session import Session

CALLS = 2_000
PAUSE_S = 0.001


def _in_child(work: Callable[[], None]) -> int:
    """Run it in a process of its own, so that no lock of the interpreter is shared; its number."""
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os._exit(0)
    return child


def _end(child: int) -> None:
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def _board(master: int) -> None:
    """Answer the greeting and every command at once."""
    decoder, taken = LineDecoder(), 0
    while data := os.read(master, 4096):
        taken += len(data)
        for body in decoder.feed(data):
            said = decode(body) if isinstance(body, bytes) else None
            if isinstance(said, Hello):
                bench = Bench(PROTOCOL, "0", "0", "host", 1, "power", 1, 0, 0, 0)
                beat = Beat(1, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, taken & 0xFFFF)
                os.write(master, frame(encode(bench)) + frame(encode(beat)))
            elif isinstance(said, Clear):
                os.write(master, frame(encode(Yes(said.id, taken & 0xFFFF))))


def _echo(master: int) -> None:
    while data := os.read(master, 4096):
        os.write(master, data)


async def _talk(port: str, calls: int) -> list[float]:
    loop = asyncio.get_running_loop()
    session = Session()
    answered: asyncio.Future[int] = loop.create_future()

    def on_bytes(data: bytes, t_ns: int) -> None:
        for item in session.receive(data, t_ns):
            if isinstance(item, Yes | Beat) and not answered.done():
                answered.set_result(t_ns)
        flush()

    def flush() -> None:
        data = session.outgoing(boottime_ns())
        if data:
            link.write(data)

    link: Link = open_link(port, 250_000, on_bytes=on_bytes, on_closed=lambda reason: None)
    flush()
    await asyncio.wait_for(answered, 5)
    times_ms = []
    for number in range(1, calls + 1):
        await asyncio.sleep(PAUSE_S)
        answered = loop.create_future()
        begun_ns = boottime_ns()
        session.send(Clear(number, 9), begun_ns)
        flush()
        await asyncio.wait_for(answered, 5)
        times_ms.append((boottime_ns() - begun_ns) / 1e6)
    link.close()
    return times_ms


def _bare(slave: int, calls: int) -> list[float]:
    line = frame(encode(Clear(1, 9)))
    times_ms = []
    for _ in range(calls):
        select.select([], [], [], PAUSE_S)  # A pause between calls is part of the measure.
        begun = time.perf_counter()
        os.write(slave, line)
        got = b""
        while len(got) < len(line):
            got += os.read(slave, 4096)
        times_ms.append((time.perf_counter() - begun) * 1000)
    return times_ms


def command_to_answer(calls: int = CALLS) -> dict[str, float]:
    """Return the time from a command to its answer [ms], and of the same bytes echoed by nobody's
    code."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    child = _in_child(lambda: _board(master))
    times_ms = asyncio.run(_talk(os.ttyname(slave), calls))
    _end(child)
    bare_master, bare_slave = pty.openpty()
    tty.setraw(bare_slave)
    child = _in_child(lambda: _echo(bare_master))
    floor_ms = _bare(bare_slave, calls)
    _end(child)
    for fd in (master, slave, bare_master, bare_slave):
        os.close(fd)
    return {
        "p50_ms": statistics.median(times_ms),
        "p99_ms": statistics.quantiles(times_ms, n=100)[98],
        "floor_p50_ms": statistics.median(floor_ms),
        "floor_p99_ms": statistics.quantiles(floor_ms, n=100)[98],
    }
