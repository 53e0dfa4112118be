"""The daemon's edges: what a journal's own thread reports reaches the app as what it is."""

from __future__ import annotations

import asyncio
import os
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchd import serve
from benchd.config import bench_card, read_card
from benchd.io import clock
from benchd.io.log import Log
from benchd.io.memory_store import MemoryStore
from benchd.io.serial_link import LinkError
from protocols.framing import frame

CARD = Path(serve.__file__).parent / "examples" / "bench.yaml"


@pytest.fixture
def stores(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[MemoryStore]:
    """Every journal that the daemon makes, in memory and settled by hand."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    made: list[MemoryStore] = []

    class Journals:
        @staticmethod
        def create(path: Path, *, wait: bool, **given: Any) -> MemoryStore:
            made.append(MemoryStore(**given))
            return made[-1]

    monkeypatch.setattr(serve, "JournalFile", Journals)
    return made


def test_a_late_commit_of_a_journal_that_stopped_is_not_the_new_one_being_back(
    stores: list[MemoryStore],
) -> None:
    """A slow disk may take a commit after so much waits behind it that the journal was given up."""
    said: list[str] = []
    shown: list[tuple[bool, bool]] = []

    async def heard(daemon: serve.Daemon) -> None:
        await asyncio.sleep(0)
        shown.append((daemon.app.state.journal_ok, any("goes on in" in text for text in said)))

    async def run() -> None:
        card = bench_card(read_card(CARD), CARD.name)
        daemon = serve.Daemon(card, Log(clock.wall_us), agreed=True)
        daemon.say = said.append
        daemon.open_app()
        old = stores[0]
        late = old._on_committed
        old.fail("Over 1000 entries wait to be written: the disk does not keep up.")
        await heard(daemon)
        late(1)
        await heard(daemon)
        daemon._journal_again()
        late(2)
        await heard(daemon)
        stores[1].settle()
        await heard(daemon)

    asyncio.run(run())
    assert shown == [(False, False), (False, False), (False, False), (True, True)]


def test_a_cable_pulled_while_the_daemon_ends_leaves_the_journal_closed(
    stores: list[MemoryStore],
) -> None:
    closed: list[bool] = []

    async def run() -> None:
        daemon = serve.Daemon(
            bench_card(read_card(CARD), CARD.name), Log(clock.wall_us), agreed=True
        )
        daemon.say = lambda text: None
        daemon.open_app()

        class Pulled:
            def write(self, data: bytes, urgent: bool) -> None:
                daemon.loop.call_soon(daemon._hung_up, "The cable was pulled.")

            def close(self) -> None:
                closed.append(True)

        daemon.link = Pulled()
        await daemon._end()

    asyncio.run(run())
    assert closed == [True]
    assert stores[0]._closed


def _daemon(said: list[str]) -> serve.Daemon:
    card = bench_card(read_card(CARD), CARD.name)._replace(port="/dev/no-such-port")
    daemon = serve.Daemon(card, Log(clock.wall_us), agreed=True)
    daemon.say = said.append
    return daemon


class Written:
    """A link that keeps what is written to it."""

    port = "kept"

    def __init__(self) -> None:
        self.lines: list[bytes] = []

    def write(self, data: bytes, urgent: bool = False) -> bool:
        self.lines.append(data)
        return True

    def close(self) -> None:
        self.lines.append(b"closed")


async def _serving(said: list[str], link: Written) -> tuple[serve.Daemon, asyncio.Task[int]]:
    """A daemon that serves by now, with this link."""
    daemon = _daemon(said)
    serving = asyncio.create_task(daemon.run())
    while not any("is served" in text for text in said):
        await asyncio.sleep(0)
    daemon.link = link
    return daemon, serving


def _broken(*given: object) -> None:
    raise RuntimeError("planted")


ENTRIES: dict[str, Callable[[serve.Daemon], object]] = {
    "on_bytes": lambda d: d._guarded(d.app.on_bytes, b"x", 0),
    "on_wake": lambda d: d._guarded(d._wake),
    "on_request": lambda d: d.on_request(1, "pause", {}, lambda r: None, lambda *a: None),
    "on_gone": lambda d: d.on_gone(1),
    "on_committed": lambda d: d._from_thread(lambda: d._committed(d._journal, 1)),
    "on_link_down": lambda d: d._guarded(d._link_down, "The port is gone."),
    "status": lambda d: d.loop.call_soon(d._publish_status),
    "tell": lambda d: d._guarded(d._tell_wall_clock),
}
"""Method of the app to how the edge comes to call it."""


@pytest.mark.parametrize("method", ENTRIES)
def test_an_error_of_ours_stops_the_bench_and_ends_the_daemon_wherever_it_comes_up(
    method: str,
    stores: list[MemoryStore],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    said: list[str] = []
    link = Written()

    async def run() -> int:
        daemon, serving = await _serving(said, link)
        monkeypatch.setattr(daemon.app, method, _broken)
        ENTRIES[method](daemon)
        return await serving

    assert asyncio.run(run()) == 1
    assert any("met an error of its own and stops the bench" in text for text in said)
    assert link.lines[-2:] == [frame(b"stop 0"), b"closed"]
    assert stores[0]._closed
    details = [path.read_text() for path in tmp_path.rglob("error-*.txt")]
    assert details
    assert all("RuntimeError: planted" in text for text in details)


def test_a_daemon_that_is_ended_in_good_order_says_stop_first(
    stores: list[MemoryStore], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    said: list[str] = []
    link = Written()

    async def run() -> int:
        _, serving = await _serving(said, link)
        os.kill(os.getpid(), signal.SIGTERM)
        return await serving

    assert asyncio.run(run()) == 0
    assert link.lines == [frame(b"stop 0"), b"closed"]


def test_an_address_that_does_not_answer_holds_nothing_up(
    stores: list[MemoryStore], monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []
    answered = threading.Event()

    def silent(port: str, baud: int) -> None:
        assert answered.wait(30.0)
        raise LinkError("The port socket://there:1 cannot be opened.")

    monkeypatch.setattr(serve, "open_port", silent)

    async def run() -> None:
        daemon = _daemon(said)
        daemon.card = daemon.card._replace(port="socket://there:1")
        daemon.open_app()
        daemon.connect()
        assert said == []  # And we are here, while nobody has answered.
        answered.set()
        while not said:
            await asyncio.sleep(0)

    asyncio.run(run())
    assert said == ["The port socket://there:1 cannot be opened."]


@pytest.mark.parametrize("slow", ["", "The adapter is slow."])
def test_an_adapter_that_holds_bytes_is_told_of_as_the_port_opens(
    slow: str, stores: list[MemoryStore], monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []
    monkeypatch.setattr(serve, "open_port", lambda port, baud: None)
    monkeypatch.setattr(serve, "watched", lambda *args, **kwargs: Written())
    monkeypatch.setattr(serve.ports, "slow_sentence", lambda port: slow)

    async def run() -> None:
        daemon = _daemon(said)
        daemon.open_app()
        daemon.connect()

    asyncio.run(run())
    assert said == ["Port /dev/no-such-port is open.", *([slow] if slow else [])]
