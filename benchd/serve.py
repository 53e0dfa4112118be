"""The daemon with its event loop: one bench, in the foreground.

Everything here is an edge: port, socket, journal thread, timers and signals, each handed to `App`.
Whatever ends this process ends it through `_end`, which sends stop first; the board stops by itself
if even that does not come through.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import signal
import threading
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from benchd.analysis.last_life import read_last_life
from benchd.app import App
from benchd.config.bench import BenchCard
from benchd.config.broker import broker_of
from benchd.config.dough import dough as read_dough
from benchd.config.errors import CardError
from benchd.config.scale import scale_of
from benchd.core import cycle, inputs, ledger
from benchd.core.facts import Dough
from benchd.core.scale_line import Weight
from benchd.io import clock, paths, ports, request_socket
from benchd.io.journal import JournalFile
from benchd.io.journal_format import Store, journal_path
from benchd.io.log import Log
from benchd.io.loop_watch import HeldTold, LoopWatch
from benchd.io.mqtt_out import MqttOut
from benchd.io.scale_port import ScalePort, not_taken, taken
from benchd.io.serial_link import Link, LinkError, open_port, watched
from protocols.framing import frame
from protocols.requests import REFUSED, REQUESTS
from protocols.status import BenchStatus

if TYPE_CHECKING:
    from serial import Serial

CONNECT_AGAIN_S = 1.0
JOURNAL_AGAIN_S = 5.0
WALL_CLOCK_S = 60.0
STATUS_S = 0.2
"""Least time between two status messages to watchers."""

INVALID_PARAMS = -32602
METHOD_NOT_FOUND = -32601


class Daemon:
    """The edges of one bench."""

    def __init__(self, card: BenchCard, log: Log, *, agreed: bool) -> None:
        self.card = card
        self.say = log.say
        self.log = log
        self._agreed = agreed
        self.loop = asyncio.get_running_loop()
        self.ended = asyncio.Event()
        self.exit_code = 0
        self.link: Link | None = None
        self.server: request_socket.Server | None = None
        self.mqtt: MqttOut | None = None
        self.scale: ScalePort | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._replies: dict[
            tuple[int, int], tuple[request_socket.Reply, request_socket.Refuse]
        ] = {}
        self._ask = 0
        self._status_due = False
        self._link_text = ""
        self._link_state = ""
        self._journal_text = ""
        """Why there is no journal now, in words; empty while there is one."""
        self._journal: JournalFile
        self.folder = Path(paths.make_private(paths.state_dir(card.facts.name)))
        self._watch = LoopWatch(HeldTold(self.folder, lambda text: self.say(text)), self._stood)

    def open_app(self) -> None:
        """Take over from the last journal and open a new one; only once no other daemon can."""
        last = read_last_life(self.folder)
        if last.problem:
            self.say(last.problem)
        self.app = App(
            self.card.facts,
            last.carry,
            wall_us=clock.wall_us(),
            now_ns=clock.boottime_ns(),
            write=self._write,
            make_store=self._make_store,
            clients=self,
            previous_head=last.head,
            last_event=last.last_event,
        )
        self.app.store_name = self._store_path.name

    # The journal.

    def _make_store(self, meta: dict[str, str]) -> Store:
        self._store_path = journal_path(self.folder, clock.wall_us(), secrets.token_hex(4))

        def committed(n: int) -> None:
            self._from_thread(lambda: self._committed(journal, n))

        def fault(reason: str) -> None:
            self._from_thread(lambda: self._journal_fault(reason))

        journal = JournalFile.create(
            self._store_path,
            meta=meta,
            views=ledger.views(),
            wall_us=clock.wall_us,
            on_committed=committed,
            on_fault=fault,
            # Only the first is waited for: nothing is served yet.
            wait=not self._journal_text,
        )
        self._journal = journal
        return journal

    def _from_thread(self, do: Callable[[], None]) -> None:
        with contextlib.suppress(
            RuntimeError
        ):  # The loop has ended; nobody needs to know any more.
            self.loop.call_soon_threadsafe(self._guarded, do)

    def _journal_fault(self, reason: str) -> None:
        if not self._journal_text:
            self.say(reason)
        self._journal_text = reason
        self.app.on_journal_fault(reason, clock.boottime_ns())
        self.loop.call_later(JOURNAL_AGAIN_S, self._guarded, self._journal_again)

    def _journal_again(self) -> None:
        self.app.reopen_journal(clock.boottime_ns())

    def _committed(self, journal: JournalFile, n: int) -> None:
        if journal is not self._journal:
            return  # A late one of the file before; its numbers mean nothing in this one.
        self.app.on_committed(n, clock.boottime_ns())
        if self._journal_text and self.app.state.journal_ok:
            self._journal_text = ""
            self.app.store_name = self._store_path.name
            self.say(f"The journal goes on in {self._store_path}.")

    # Every call into the app goes through here.

    def _guarded(self, do: Callable[..., None], *given: Any) -> None:
        """Do it, then see to the timer; an error of ours stops the bench before it ends the
        daemon."""
        try:
            do(*given)
        except Exception as error:
            self._fail(error)
            return
        if self.app.state.link != self._link_state or self._link_state == "wrong":
            self._tell_link()
        self._set_timer()
        self._status_soon()

    def _loop_failed(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """Take an error that no caller of ours caught for what it is."""
        error = context.get("exception")
        self._fail(error if isinstance(error, Exception) else RuntimeError(context["message"]))

    def _fail(self, error: Exception) -> None:
        where = self.folder / f"error-{clock.wall_us()}.txt"
        with contextlib.suppress(OSError):
            where.write_text("".join(traceback.format_exception(error)))
        self.say(f"The daemon met an error of its own and stops the bench; details are in {where}.")
        self.exit_code = 1
        self.ended.set()

    def _set_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        delay_s = max(self.app.next_wake_ns - clock.boottime_ns(), 0) / 1e9
        self._timer = self.loop.call_later(delay_s, self._guarded, self._wake)

    def _wake(self) -> None:
        self.app.on_wake(clock.boottime_ns())

    def _stood(self, time_s: float) -> None:
        """This machine stood still; called from the watching thread."""
        self._from_thread(lambda: self.app.on_stood(round(time_s, 3), clock.boottime_ns()))

    def _tell_link(self) -> None:
        """Say once what is wrong with what answers, and that the right board does."""
        state = self.app.state
        if state.link != self._link_state:
            self.log.detail("link", state=state.link, port=self.card.port)
        if state.link == "wrong" and state.link_text != self._link_text:
            self._link_text = state.link_text
            self.say(state.link_text)
        elif state.link == "up" and self._link_state != "up":
            self._link_text = ""
            board = state.board
            self.say(f"The board answers: firmware {board.firmware}, build {board.build}.")
        self._link_state = state.link

    # The port.

    def _write(self, data: bytes, urgent: bool) -> None:
        if self.link is not None:
            self.link.write(data, urgent)

    def connect(self) -> None:
        """Open the port, or say once why not and try again in a while."""
        try:
            if not self._agreed and ports.is_real(self.card.port):
                raise LinkError(
                    f"The port {self.card.port} is a real one by now, and nobody has agreed to it: "
                    "end this daemon and call 'benchd serve' again, which shows the cautions."
                )
            if "://" not in self.card.port:
                self._opened(open_port(self.card.port, self.card.baud))
                return
        except LinkError as error:
            self._not_opened(error)
            return
        # A host that does not answer is waited for by a thread that nobody waits for.
        threading.Thread(target=self._open_address, name="connect", daemon=True).start()

    def _open_address(self) -> None:
        try:
            handle = open_port(self.card.port, self.card.baud)
        except LinkError as error:
            no = error  # The name of an `except` is gone after it.
            self._from_thread(lambda: self._not_opened(no))
        else:
            self._from_thread(lambda: self._opened(handle))

    def _not_opened(self, error: LinkError) -> None:
        self._link_down(str(error))
        self.loop.call_later(CONNECT_AGAIN_S, self._guarded, self.connect)

    def _opened(self, handle: Serial) -> None:
        if self.ended.is_set():
            handle.close()
            return
        try:
            self.link = watched(
                self.card.port,
                handle,
                on_bytes=lambda data, t_ns: self._guarded(self.app.on_bytes, data, t_ns),
                on_closed=lambda reason: self._guarded(self._hung_up, reason),
            )
        except LinkError as error:
            self._not_opened(error)
            return
        self._link_text = ""
        self.say(f"Port {self.card.port} is open.")
        slow = ports.slow_sentence(self.card.port)
        if slow:
            self.say(slow)
        self.app.on_link_up(self.card.port, clock.boottime_ns(), self.card.baud)

    def _hung_up(self, reason: str) -> None:
        self.link = None
        self._link_down(reason)
        self.loop.call_later(CONNECT_AGAIN_S / 4, self._guarded, self.connect)

    def _link_down(self, reason: str) -> None:
        # While the port stays away, each try fails alike: told and recorded once.
        if reason != self._link_text or self.app.state.link != "down":
            self._link_text = reason
            self.say(reason)
            self.app.on_link_down(reason, clock.boottime_ns())

    # Clients.

    def on_request(
        self,
        client_id: int,
        method: str,
        params: dict[str, Any] | list[Any],
        reply: request_socket.Reply,
        refuse: request_socket.Refuse,
    ) -> None:
        """Take a request from the socket."""
        self.log.detail("request", client=client_id, method=method)
        self._guarded(self._request, client_id, method, params, reply, refuse)

    def _request(
        self,
        client: int,
        method: str,
        params: dict[str, Any] | list[Any],
        reply: request_socket.Reply,
        refuse: request_socket.Refuse,
    ) -> None:
        cls = REQUESTS.get(method)
        if cls is None:
            text = (
                f"There is no request '{method}': the daemon is of another version than who asks; "
                "end it, then start it again with 'benchd serve'."
            )
            refuse(METHOD_NOT_FOUND, text, None)
            return
        if method == "status":
            reply(msgspec.to_builtins(self._status()))
            return
        try:
            if not isinstance(params, dict):
                raise msgspec.ValidationError("parameters go by name")
            msgspec.convert(params, cls)
        except msgspec.ValidationError as error:
            refuse(INVALID_PARAMS, f"The request '{method}' cannot be read: {error}.", None)
            return
        dough: Dough | None = None
        if isinstance(params.get("dough"), str):
            try:
                dough = read_dough(params["dough"], "dough card", self.app.state.facts)
            except CardError as error:
                refuse(REFUSED, str(error), {"condition": "card"})
                return
        if method == "plan":
            reply(self._plan(dough))
            return
        self._ask += 1
        self._replies[client, self._ask] = (reply, refuse)
        self.app.on_request(client, self._ask, method, params, dough, clock.boottime_ns())

    def _plan(self, dough: Dough | None) -> dict[str, float]:
        assert dough is not None  # The request's own type asks for a card.
        shortest_s = cycle.shortest_period_s(self.app.state, dough)
        return {
            "stroke_m": dough.stroke_m,
            "take_up_m": dough.take_up_m,
            "aim_kg": dough.aim_kg,
            "shortest_s": shortest_s,
            "auto_stroke": dough.auto_stroke,
        }

    def on_gone(self, client_id: int) -> None:
        """A client's connection closed."""
        self.log.detail("gone", client=client_id)
        for key in [key for key in self._replies if key[0] == client_id]:
            del self._replies[key]
        self._guarded(self.app.on_gone, client_id, clock.boottime_ns())

    def reply(self, client: int, ask: int, result: dict[str, Any]) -> None:
        """Answer a request, if its client is still there."""
        held = self._replies.pop((client, ask), None)
        if held is not None:
            held[0](result)

    def refuse(self, client: int, ask: int, code: int, message: str, data: dict[str, Any]) -> None:
        """Refuse a request, if its client is still there."""
        held = self._replies.pop((client, ask), None)
        if held is not None:
            held[1](code, message, data)

    def publish(self, topic: str, data: dict[str, Any]) -> None:
        """Tell every watcher."""
        if self.server is not None and self.server.client_count:
            self.server.publish(topic, msgspec.json.encode(data))

    def _status_soon(self) -> None:
        if not self._status_due and self.server is not None and self.server.client_count:
            self._status_due = True
            self.loop.call_later(STATUS_S, self._publish_status)

    def _publish_status(self) -> None:
        self._status_due = False
        if self.server is not None:
            self.server.publish("status", msgspec.json.encode(self._status()), keep=True)

    def _status(self) -> BenchStatus:
        status = self.app.status(clock.boottime_ns())
        if self.mqtt is None:
            return status
        return msgspec.structs.replace(status, broker=self.mqtt.status)

    # The scale and the broker, if the card names them.

    def _open_scale(self) -> None:
        card = scale_of(self.card.values, self.card.port)
        if card is not None:
            self.scale = ScalePort(card, on_weight=self._weighed, say=self.say)
            self.scale.start()

    def _weighed(self, weight: Weight) -> None:
        """Take a weight of the scale for the oldest unweighed portion, as if it was typed."""

        def no(code: int, message: str, data: Any) -> None:
            self.say(not_taken(weight, message))
            self.publish("message", {"text": not_taken(weight, message)})

        self._ask += 1
        self._replies[inputs.SCALE, self._ask] = (lambda told: self.say(taken(told)), no)
        asked = {"mass_kg": weight.mass_kg, "text": weight.text}
        now_ns = clock.boottime_ns()
        self._guarded(self.app.on_request, inputs.SCALE, self._ask, "weigh", asked, None, now_ns)

    def _open_mqtt(self) -> None:
        broker = broker_of(self.card.values)
        if broker is not None:
            self.mqtt = MqttOut(
                broker,
                self.card.facts.name,
                self.folder,
                status=lambda: msgspec.json.encode(self._status()),
                say=self.say,
            )
            self.mqtt.start()

    # From start to end.

    async def run(self) -> int:
        """Serve until a signal, or an error of ours; 0 or 1."""
        name = self.card.facts.name
        self.loop.set_exception_handler(self._loop_failed)
        paths.make_private(paths.runtime_dir())
        self.server = await request_socket.serve(paths.socket_path(name), self, bench=name)
        try:
            self.open_app()
        except BaseException:
            await self.server.close()
            raise
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            # Whoever started us with a signal ignored, as nohup does, wants us to outlive it.
            if signal.getsignal(number) != signal.SIG_IGN:
                self.loop.add_signal_handler(number, self.ended.set)
        try:
            self._watch.start()
            self._open_mqtt()
            self._open_scale()
            self._guarded(self.connect)
            self.say(f"Bench {self.card.facts.name} is served; journal {self._store_path}.")
            while not self.ended.is_set():
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self.ended.wait(), WALL_CLOCK_S)
                self._guarded(self._tell_wall_clock)
        finally:
            await self._end()
        return self.exit_code

    def _tell_wall_clock(self) -> None:
        self.app.tell(inputs.WallClock(clock.wall_us()), clock.boottime_ns())

    async def _end(self) -> None:
        """Stop the bench, then close port, socket and journal."""
        self._watch.end()
        if self._timer is not None:
            self._timer.cancel()
        link = self.link
        if link is not None:
            link.write(frame(b"stop 0"), urgent=True)
            await asyncio.sleep(0.02)  # The line leaves the process; the board needs no more of us.
            link.close()  # Of this one also when the cable was pulled meanwhile.
        if self.mqtt is not None:
            self.mqtt.end()
        if self.scale is not None:
            self.scale.end()
        if self.server is not None:
            await self.server.close()
        self.app.close()


def run(card: BenchCard, log: Log, *, agreed: bool) -> int:
    """Serve one bench until it is ended; 0, or 1 after an error.

    `agreed`: a person has agreed to the port; without it a real port is not opened.
    Raises: request_socket.DaemonRunning, JournalError, OSError: one sentence each.
    """

    async def main() -> int:
        return await Daemon(card, log, agreed=agreed).run()

    try:
        return asyncio.run(main())
    finally:
        log.close()
