"""The daemon's end of MQTT in a loop of its own, with a journal that tests write."""

from __future__ import annotations

import asyncio
import signal
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from benchd.config.broker import Broker
from benchd.core import ledger
from benchd.io import clock
from benchd.io.journal import JournalFile
from benchd.io.journal_format import JOURNAL_SUFFIX, Entry
from benchd.io.mqtt_out import MqttOut
from protocols.status import BenchStatus
from tests.cli.fake_daemon import STATUS
from tests.io.reports import Reports
from tests.mosquitto import Heard
from tests.waiting import WAIT_S, NotInTime, wait_until

T = TypeVar("T")

EVERY_S = 0.2


def broker_at(port: int, **changes: Any) -> Broker:
    """A broker on loopback as a card would name it."""
    plain = Broker("127.0.0.1", port, "benchd", "", "", "", False, "", EVERY_S, 1000)
    return plain._replace(**changes)


class Rig:
    """A journal, and MQTT that follows it."""

    def __init__(self, folder: Path, broker: Broker, *, name: str = "a") -> None:
        self.folder = folder
        self.said: list[str] = []
        self._has_ended = False
        self._reports = Reports()
        self.status = STATUS
        self.open_journal(name)
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self.out = self.in_loop(
            lambda: MqttOut(broker, "maize", folder, status=self._status_line, say=self.said.append)
        )
        self.in_loop(self.out.start)

    def open_journal(self, name: str) -> None:
        """Begin a journal; the status names it from now on."""
        self.file = JournalFile.create(
            self.folder / f"{name}{JOURNAL_SUFFIX}",
            meta={"bench": "maize"},
            views=ledger.views(),
            wall_us=clock.wall_us,
            on_committed=self._reports.on_committed,
            on_fault=self._reports.on_fault,
        )
        self.status = msgspec.structs.replace(self.status, journal=f"{name}{JOURNAL_SUFFIX}")

    def in_loop(self, do: Callable[[], T]) -> T:
        """Do something in the loop's thread, as the daemon would."""

        async def run() -> T:
            return do()

        return asyncio.run_coroutine_threadsafe(run(), self._loop).result(WAIT_S)

    def write(self, kind: str, **data: Any) -> int:
        """Write a record and wait until it is safe; its row."""
        text = msgspec.json.encode(data).decode()
        row = self.file.append([Entry(clock.boottime_ns(), ledger.RECORDS[kind], (), text)], True)
        self._reports.wait_for(lambda: self.file.committed >= row)
        return row

    def weigh(self, portions: Iterable[int]) -> None:
        """Write a weight of each portion."""
        for portion in portions:
            self.write("weight", portion=portion, mass_kg=0.03)

    def wait_for(self, right: Callable[[], object]) -> None:
        """Wait until something of ours is so."""
        try:
            wait_until(right)
        except NotInTime as error:
            raise NotInTime(f"{error}: {self.out.status}, {self.said}") from error

    def signal(self, number: signal.Signals) -> None:
        """Send a signal to the MQTT process."""
        process = self.out._process
        assert process is not None
        process.send_signal(number)

    def die(self) -> None:
        """Close the pipes as the kernel does when the daemon is killed."""
        process = self.out._process
        assert process is not None

        def close() -> None:
            assert self.out._timer is not None
            self.out._timer.cancel()
            self.out._let_go(process)

        self.in_loop(close)

    def end(self) -> None:
        """End everything, as the daemon does; harmless when repeated."""
        if self._has_ended:
            return
        self._has_ended = True
        process = self.out._process
        self.in_loop(self.out.end)
        if process is not None:
            # A process that a test has frozen would not hear of the end.
            process.send_signal(signal.SIGCONT)
            process.wait(WAIT_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(WAIT_S)
        self._loop.close()
        self.file.close()

    def _status_line(self) -> bytes:
        now: BenchStatus = msgspec.structs.replace(self.status, now_ns=clock.boottime_ns())
        return msgspec.json.encode(now)


def portion_of(heard: Heard) -> int:
    """The portion of a weight."""
    return round(heard.values["portion"])


def once(messages: list[Heard]) -> list[Heard]:
    """The messages without those that came again: each goes out at least once."""
    places: dict[tuple[str, float], Heard] = {}
    for one in messages:
        places.setdefault((one.values["journal"], one.values["row"]), one)
    return list(places.values())


def has_gap(messages: list[Heard]) -> bool:
    """Whether a message is missing between these, as a reader sees it from their places alone."""
    places = [(one.values["journal"], one.values["row"]) for one in messages]
    before = [(one.values.get("after-journal"), one.values.get("after-row")) for one in messages]
    return places[:-1] != before[1:]
