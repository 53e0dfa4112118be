"""The daemon's socket: a read request, and ten watchers, each with the server in a process of its
own."""

from __future__ import annotations

import asyncio
import json
import os
import select
import socket
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

import msgspec

from benchd.io import request_socket
from benchd.io.clock import boottime_ns
from tests.bench.daemon import _app, beat, greeting, sample
from tests.bench.link import _end, _in_child

CALLS = 2_000
WATCHERS, RATE_PER_S, WATCH_S = 10, 200, 5.0


class _Status:
    """Answers every request with the bench's status, as the daemon does."""

    def __init__(self) -> None:
        self.app, _ = _app(lambda data, urgent: None, boottime_ns())
        self.app.on_link_up("bench", boottime_ns())
        self.app.on_bytes(greeting() + beat(1) + sample(0, 300_000), boottime_ns())

    def on_request(self, client_id: int, method: str, params: Any, reply: Any, refuse: Any) -> None:
        """Answer at once."""
        reply(msgspec.to_builtins(self.app.status(boottime_ns())))

    def on_gone(self, client_id: int) -> None:
        """Nothing to do."""


def _serve(path: str, told: int, publish: bool) -> None:
    async def main() -> None:
        server = await request_socket.serve(path, _Status())
        os.write(told, b"ready\n")
        if not publish:
            await asyncio.sleep(600)
        while server.client_count < WATCHERS:
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.2)
        loop = asyncio.get_running_loop()
        payload = msgspec.json.encode({"portion": 12, "class": "normal", "mass_kg": 0.0301})
        cpu_s, begun_s = time.process_time(), loop.time()
        for event in range(round(RATE_PER_S * WATCH_S)):
            await asyncio.sleep(max(0.0, begun_s + event / RATE_PER_S - loop.time()))
            server.publish("portion", payload)
        share = (time.process_time() - cpu_s) / (loop.time() - begun_s)
        os.write(told, json.dumps(share).encode() + b"\n")
        await asyncio.sleep(600)

    asyncio.run(main())


def _echo(path: str, told: int) -> None:
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(path)
        listener.listen()
        os.write(told, b"ready\n")
        connection, _ = listener.accept()
        while data := connection.recv(65_536):
            connection.sendall(data)


def _ask(path: str, line: bytes, calls: int) -> list[float]:
    times_ms = []
    with socket.socket(socket.AF_UNIX) as connection:
        connection.connect(path)
        for _ in range(calls):
            select.select([], [], [], 0.0005)  # A pause between calls is part of the measure.
            begun = time.perf_counter()
            connection.sendall(line)
            got = b""
            while not got.endswith(b"\n"):
                got += connection.recv(65_536)
            times_ms.append((time.perf_counter() - begun) * 1000)
    return times_ms


def request_times(calls: int = CALLS) -> dict[str, float]:
    """Return the time of a status request [ms], and of the same line through a bare echo."""
    line = b'{"jsonrpc":"2.0","id":1,"method":"status","params":{}}\n'
    with tempfile.TemporaryDirectory() as folder:
        told, tell = os.pipe()
        path = str(Path(folder) / "s")
        child = _in_child(lambda: _serve(path, tell, False))
        os.read(told, 6)
        times_ms = _ask(path, line, calls)
        _end(child)
        bare = str(Path(folder) / "e")
        child = _in_child(lambda: _echo(bare, tell))
        os.read(told, 6)
        floor_ms = _ask(bare, line, calls)
        _end(child)
        os.close(told)
        os.close(tell)
    return {
        "p50_ms": statistics.median(times_ms),
        "p99_ms": statistics.quantiles(times_ms, n=100)[98],
        "floor_p99_ms": statistics.quantiles(floor_ms, n=100)[98],
    }


def ten_watchers() -> dict[str, float]:
    """Return the share of a core that publishing to ten watchers takes, all of it delivered."""
    with tempfile.TemporaryDirectory() as folder:
        told, tell = os.pipe()
        path = str(Path(folder) / "s")
        child = _in_child(lambda: _serve(path, tell, True))
        os.read(told, 6)
        watchers = []
        for _ in range(WATCHERS):
            watcher = socket.socket(socket.AF_UNIX)
            watcher.connect(path)
            watcher.sendall(b'{"jsonrpc":"2.0","id":1,"method":"follow","params":{}}\n')
            watchers.append(watcher)
        lines = 0
        share = None
        while share is None or lines < WATCHERS * (RATE_PER_S * WATCH_S + 1):
            ready, _, _ = select.select([*watchers, told], [], [], 10)
            if not ready:
                raise TimeoutError(f"only {lines} lines came")
            for one in ready:
                if one is told:
                    share = float(os.read(told, 64))
                else:
                    lines += one.recv(65_536).count(b"\n")
        _end(child)
        for watcher in watchers:
            watcher.close()
        os.close(told)
        os.close(tell)
    return {"core_share": share, "delivered": lines}
