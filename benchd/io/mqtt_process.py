"""The MQTT process: reads journals and the daemon's status, and tells the broker. Watch-only.

It subscribes to nothing, and has no way to the bench but a pipe that says how it is doing. It may
hang, grow old or die without the daemon noticing more than that.

Promises:
- A record goes out at least once, in order, and after it is safe on disk.
- At most `keep` records wait; the oldest are dropped, counted, and missed in the chain of places.
- The broker says that the bench is gone when this process or the daemon dies (the last will), and
  this process says so when the daemon hangs or ends.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
import traceback
from collections import deque
from pathlib import Path

import msgspec

from benchd.io import clock
from benchd.io.journal_format import JOURNAL_SUFFIX
from benchd.io.mqtt_broker import Message, Session, Trouble, pause_s
from benchd.io.mqtt_follow import Cursor, Follower, Told, load_cursor, save_cursor
from benchd.io.mqtt_orders import END, GOODBYE_S_MAX, Orders
from protocols import news
from protocols.news import Counts, Place
from protocols.senml import SenmlError
from protocols.status import BenchStatus, BrokerStatus

LOOK_S = 0.25
"""Time between two looks at the journal."""

SILENT_S = 10.0
"""The daemon counts as hung when it said nothing for this long, or for three of its messages."""

SAVE_EVERY = 100
"""Records between two savings of the cursor while many go out."""

LINE_BYTES_MAX = 1 << 20


class Publisher:
    """What is known, what waits to go out, and the tasks that see to it."""

    def __init__(self, orders: Orders, status: BenchStatus) -> None:
        self.orders = orders
        self.folder = Path(orders.folder)
        self.cursor = load_cursor(self.folder) or self._begin(status)
        self.dropped = self.cursor.dropped
        self.follower = Follower(self.folder, orders.broker.keep, self.cursor)
        self.waiting: deque[Told] = deque()
        self.status = status
        self.is_fresh = True
        self.is_hung = False
        self.is_ending = False
        self.connected = False
        self.trouble = ""
        self.something = asyncio.Event()
        self.gone = asyncio.Event()
        """There is no connection, nor one being made."""
        self.gone.set()
        self._reported = BrokerStatus(False, 0, 0)

    def _begin(self, status: BenchStatus) -> Cursor:
        """The first cursor of a bench: it tells its present journal, and none before that.

        Kept at once, so that the next daemon tells what no broker took from this one.
        """
        cursor = Cursor(status.journal.removesuffix(JOURNAL_SUFFIX), 0)
        save_cursor(self.folder, cursor)
        return cursor

    async def run(self, lines: asyncio.StreamReader) -> None:
        """Work until the daemon ends."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._follow(), name="journal")
            tasks.create_task(self._tell(), name="broker")
            await self._listen(lines)
            # Whatever a thread is still doing, such as asking for a name, is not waited for.
            os._exit(0)

    # What comes in.

    async def _listen(self, lines: asyncio.StreamReader) -> None:
        """Take what the daemon says; return when it has ended."""
        silent_s = max(SILENT_S, 3 * self.orders.broker.every_s)
        while True:
            try:
                line = await asyncio.wait_for(lines.readline(), silent_s)
            except TimeoutError:
                self.is_hung = True
                self.something.set()
                continue
            if not line:
                return
            if line == END:
                await self._take_leave()
                return
            self.status = msgspec.json.decode(line, type=BenchStatus)
            self.is_fresh, self.is_hung = True, False
            self.something.set()

    async def _take_leave(self) -> None:
        self.is_ending = True
        self.something.set()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self.gone.wait(), GOODBYE_S_MAX)

    async def _follow(self) -> None:
        """Look at the journal again and again."""
        while True:
            await asyncio.sleep(LOOK_S)
            found, passed_over = await asyncio.to_thread(self.follower.look, self.status.journal)
            self.dropped += passed_over
            self.waiting.extend(found)
            self._drop_oldest()
            if self.waiting:
                self.something.set()
            self._report()

    def _drop_oldest(self) -> None:
        while len(self.waiting) > self.orders.broker.keep:
            self.waiting.popleft()
            self.dropped += 1

    def _report(self) -> None:
        """Say how it goes, if that changed; a daemon that does not listen is not waited for."""
        now = BrokerStatus(self.connected, len(self.waiting), self.dropped, self.trouble)
        if now != self._reported:
            with contextlib.suppress(OSError):
                os.write(sys.stdout.fileno(), msgspec.json.encode(now) + b"\n")
                self._reported = now

    # What goes out.

    async def _tell(self) -> None:
        """Hold a connection; after each that failed, wait longer for the next."""
        tries = 0
        while True:
            self.gone.clear()
            try:
                will = self._online(up=False, why="gone without a word", is_will=True)
                async with Session(self.orders.broker, self.orders.bench, will) as session:
                    await session.publish(self._online(up=True))
                    self.connected, self.trouble, tries = True, "", 0
                    await self._tell_all(session)
                    return
            except Trouble as error:
                self.trouble = str(error)
            finally:
                self.connected = False
                self.gone.set()
            await asyncio.sleep(pause_s(tries, int.from_bytes(os.urandom(4)) / 2**32))
            tries += 1

    async def _tell_all(self, session: Session) -> None:
        """Tell what there is to tell, until the daemon ends."""
        said_hung = False
        while True:
            await session.wait_for(self.something)
            self.something.clear()
            await self._tell_records(session)
            if self.is_fresh:
                self.is_fresh = False
                await session.publish(self._state())
            if self.is_hung != said_hung:
                said_hung = self.is_hung
                why = "the daemon is silent" if said_hung else ""
                await session.publish(self._online(up=not said_hung, why=why))
            if self.is_ending:
                await session.publish(self._online(up=False, why="ended"))
                return

    async def _tell_records(self, session: Session) -> None:
        count = 0
        while self.waiting:
            told = self.waiting.popleft()
            try:
                await self._tell_record(session, told)
            except BaseException:
                # It goes out again with the next connection: it may have arrived or not.
                self.waiting.appendleft(told)
                self._drop_oldest()
                self._save(count)
                raise
            self.cursor = Cursor(told.at.journal, told.at.row, self.dropped)
            count += 1
            if count % SAVE_EVERY == 0:
                self._save(count)
        self._save(count)

    async def _tell_record(self, session: Session, told: Told) -> None:
        base = self._topic(told.kind)
        try:
            data = msgspec.json.decode(told.text, type=dict)
            payload = news.record(base, told.at, told.after, told.time_s, told.kind, data)
        except (SenmlError, msgspec.MsgspecError, TypeError, AttributeError):
            # A damaged record; those behind it shall not wait for it.
            self.dropped += 1
            return
        await session.publish(Message(base, payload, False))

    def _save(self, count: int) -> None:
        if count:
            save_cursor(self.folder, self.cursor)

    # Messages.

    def _topic(self, word: str) -> str:
        return news.topic(self.orders.broker.topic, self.orders.bench, word)

    def _place(self) -> Place:
        """The last record that went out: where a reader's chain of places stands."""
        return Place(self.cursor.journal, self.cursor.row)

    def _online(self, *, up: bool, why: str = "", is_will: bool = False) -> Message:
        base = self._topic(news.ONLINE)
        time_s = None if is_will else clock.wall_us() / 1e6
        return Message(base, news.online(base, self._place(), time_s, up=up, why=why), True)

    def _state(self) -> Message:
        base = self._topic(news.STATE)
        age_us = (clock.boottime_ns() - self.status.now_ns) // 1000
        counts = Counts(len(self.waiting), self.dropped)
        time_s = (clock.wall_us() - age_us) / 1e6
        payload = news.state(base, self._place(), time_s, self.status, counts, self.follower.head)
        return Message(base, payload, True)


async def _run() -> None:
    lines = asyncio.StreamReader(limit=LINE_BYTES_MAX)
    loop = asyncio.get_running_loop()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(lines), sys.stdin)
    first, second = await lines.readline(), await lines.readline()
    if not second or second == END:
        return  # The daemon ended before it had begun.
    orders = msgspec.json.decode(first, type=Orders)
    try:
        await Publisher(orders, msgspec.json.decode(second, type=BenchStatus)).run(lines)
    except BaseException as error:
        where = Path(orders.folder) / f"mqtt-error-{clock.wall_us()}.txt"
        with contextlib.suppress(OSError):
            where.write_text("".join(traceback.format_exception(error)))
        raise


def main() -> None:
    """Be the MQTT process of the daemon at the other end of standard input and output."""
    # The daemon says when to end, by a word or by the end of the pipe.
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    # On a small machine the bench comes first.
    os.nice(5)
    os.set_blocking(sys.stdout.fileno(), False)
    asyncio.run(_run())


if __name__ == "__main__":
    main()
