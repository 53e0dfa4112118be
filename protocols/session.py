"""One link's life, from open port to hang-up: bytes in, messages and notices out, and the reverse.

Pure: no I/O and no clock; `now_ns` comes in with every call and never runs back. What SPEC.md asks
of the host's side of the link is here and nowhere else: the greeting, the order of events, one
command at a time and its repeats, the window of bytes under way, and `stop` before everything. What
the messages mean is not decided here.
"""

from __future__ import annotations

from collections import deque

import msgspec

from protocols.errors import FrameError, PeerError, QueueFull
from protocols.framing import LineDecoder, frame
from protocols.limits import HOST_LINE_BYTES_MAX, LINE_BYTES_MAX, PROTOCOL, WINDOW_BYTES
from protocols.messages import (
    Beat,
    Bench,
    BoardMessage,
    Boot,
    Command,
    Event,
    Hello,
    HostMessage,
    Lease,
    Lost,
    No,
    Sample,
    Seen,
    Stop,
    Yes,
    decode,
    encode,
)
from protocols.window import Window

RESEND_NS = 250_000_000
"""A command without an answer is repeated after this time (SPEC.md, section 6)."""

LEASE_AGE_NS_MAX = 100_000_000
"""A lease that could not leave within this time is dropped: a newer beat is due."""

HELLO_NS = 500_000_000
"""Time between two `hello` while no greeting came, or while a missing event does not come."""

COMMANDS_MAX = 64
"""Most commands that wait, the one under way included."""

OVERTAKEN_US = 100_000
"""A line may carry a time this much earlier than the line before it: it was overtaken."""

STRANGE_LINES_MAX = 40
"""After this many bad lines without a greeting the other side is no board of ours."""

STRANGE_BYTES_MAX = STRANGE_LINES_MAX * LINE_BYTES_MAX
"""The same for bytes without a single good line among them."""


class Notice(msgspec.Struct, frozen=True):
    """Something about the link itself that the rest of the house must know."""


class LineFault(Notice, frozen=True):
    """A line was dropped.

    `reason` is that of FrameError, or "peer" (the board may not say this), or "echo" (a line of
    ours came back). `line` is what came, without its newline, at most LINE_BYTES_MAX bytes.
    """

    reason: str
    line: bytes


class EventGap(Notice, frozen=True):
    """Events `first` to `last` will never come; the next event delivered is `last` + 1 or later."""

    first: int
    last: int


class WrongProtocol(Notice, frozen=True):
    """The board greets with another version of the protocol; only `stop` goes to it."""

    version: int


class NotABoard(Notice, frozen=True):
    """Bytes come, but nobody greets in our language. Told once in a session."""


class Abandoned(Notice, frozen=True):
    """This command was meant for what is over: it gets no answer, and is not sent again.

    Either it waited when a stop went out, or the board has restarted.
    """

    command: Command


class Outstanding(msgspec.Struct):
    """The one command that waits for its answer.

    `end` counts the bytes sent up to the end of its first copy, `sent_ns` is when it left last.
    It may be repeated once a beat came since: a silent board may have restarted, and its next life
    would take a repeat for a new command.
    """

    command: Command
    body: bytes
    end: int
    sent_ns: int
    may_repeat: bool = False

    def repeat_is_due(self, now_ns: int) -> bool:
        """Whether it is time to send the command again."""
        return self.may_repeat and now_ns - self.sent_ns >= RESEND_NS


class Session:
    """The host's end of one link.

    `boot` is the boot number that the journal knows, `last_event` the last event of that boot that
    was delivered before, and `safe_event` the last that is safe on disk. Without them the first
    greeting decides where events begin.
    """

    def __init__(
        self, *, boot: int | None = None, last_event: int = 0, safe_event: int = 0
    ) -> None:
        self._decoder = LineDecoder()
        self._window = Window()
        self._greeting: Bench | None = None
        self._boot = boot
        self._uptime_s = 0
        self._last_t_us: int | None = None
        self._last_event_t_us: int | None = None
        self._next_event: int | None = None if boot is None else last_event + 1
        self._safe_event = safe_event
        self._missing = False
        self._strange_lines = 0
        self._strange_bytes = 0
        self._told_strange = False
        self._wrong_version: int | None = None
        self._stop: Stop | None = None
        self._lease: tuple[Lease, int] | None = None
        self._leases_sent: deque[tuple[int, int]] = deque(maxlen=8)
        self._seen: Seen | None = None
        self._hello_due_ns: int | None = 0
        self._hello_sent_ns = -HELLO_NS
        self._commands: deque[Command] = deque()
        self._abandoned: list[Command] = []
        self._outstanding: Outstanding | None = None
        self._overtaken = False
        self._blocked = False
        self._resends = 0

    @property
    def greeting(self) -> Bench | None:
        """The greeting of the board's present life, in our version of the protocol; None before."""
        return self._greeting

    @property
    def in_flight_bytes(self) -> int:
        """Bytes sent and not known to be taken by the board, 0 to WINDOW_BYTES."""
        return self._window.in_flight

    @property
    def commands_waiting(self) -> int:
        """Commands without an answer, 0 to COMMANDS_MAX."""
        return len(self._commands) + (self._outstanding is not None)

    @property
    def resends(self) -> int:
        """Commands sent again for want of an answer, since the session began."""
        return self._resends

    @property
    def wake_at_ns(self) -> int | None:
        """When time alone makes `outgoing` due; None if only a `receive` or a `send` can."""
        if self._blocked:
            return None
        due = [self._hello_due_ns] if self._hello_due_ns is not None else []
        waiting = self._outstanding
        if waiting is not None and waiting.may_repeat and self._greeting is not None:
            due.append(waiting.sent_ns + RESEND_NS)
        return min(due, default=None)

    # Bytes from the board.

    def receive(self, data: bytes, now_ns: int) -> list[BoardMessage | Notice]:
        """Take bytes as they came; return the messages and notices that they completed, in order.

        A greeting comes first: what a board says before it is dropped, since events and beats come
        again.
        """
        out: list[BoardMessage | Notice] = []
        self._tell_abandoned(out)
        self._strange_bytes += len(data)
        for item in self._decoder.feed(data):
            if isinstance(item, FrameError):
                self._fault(item.reason, item.line, out)
                continue
            try:
                message = decode(item)
            except PeerError:
                self._fault("peer", frame(item)[:-1], out)
                continue
            if isinstance(message, BoardMessage):
                self._strange_lines = self._strange_bytes = 0
                self._message(message, now_ns, out)
            else:
                self._fault("echo", frame(item)[:-1], out)
        self._look_for_strangers(out)
        return out

    def _fault(self, reason: str, line: bytes, out: list[BoardMessage | Notice]) -> None:
        self._strange_lines += 1
        out.append(LineFault(reason, line))

    def _look_for_strangers(self, out: list[BoardMessage | Notice]) -> None:
        strange = (
            self._strange_lines >= STRANGE_LINES_MAX or self._strange_bytes >= STRANGE_BYTES_MAX
        )
        if strange and self._greeting is None and not self._told_strange:
            self._told_strange = True
            out.append(NotABoard())

    def _message(
        self, message: BoardMessage, now_ns: int, out: list[BoardMessage | Notice]
    ) -> None:
        # Most lines are samples, so they are asked for first and as cheaply as can be.
        if isinstance(message, Sample):
            self._see_time(message.t_us, now_ns)
        elif isinstance(message, Bench):
            self._greet(message, now_ns, out)
            return
        elif isinstance(message, Beat):
            self._beat(message, now_ns)
            self._see_time(message.t_us, now_ns)
        elif self._greeting is None:
            return
        elif isinstance(message, Event):
            self._event(message, now_ns, out)
            return
        elif isinstance(message, (Yes, No)) and not self._answers(message, now_ns):
            return
        if self._greeting is not None:
            out.append(message)

    def _see_time(self, t_us: int, now_ns: int) -> None:
        if _runs_back(self._last_t_us, t_us):
            self._doubt(now_ns)
        self._last_t_us = t_us

    def _greet(self, bench: Bench, now_ns: int, out: list[BoardMessage | Notice]) -> None:
        self._hello_due_ns = None
        if bench.protocol != PROTOCOL:
            self._greeting = None
            if bench.protocol != self._wrong_version:
                self._wrong_version = bench.protocol
                out.append(WrongProtocol(bench.protocol))
            return
        known = self._boot is not None
        if known and (bench.boot != self._boot or bench.uptime_s < self._uptime_s):
            self._restart(out)
        self._boot = bench.boot
        self._greeting = bench
        self._uptime_s = bench.uptime_s
        self._last_t_us = self._last_event_t_us = None
        out.append(bench)
        if bench.oldest:
            start = self._next_event or 1
            if bench.oldest > start:
                out.append(EventGap(start, bench.oldest - 1))
            self._next_event = max(start, bench.oldest)
            self._missing = False

    def _restart(self, out: list[BoardMessage | Notice]) -> None:
        self._next_event = None
        self._safe_event = 0
        self._missing = False
        self._window.restart()
        self._leases_sent.clear()
        self._lease = self._seen = None
        if self._outstanding is not None:
            self._abandoned.append(self._outstanding.command)
            self._outstanding = None
        self._abandon_waiting()
        self._tell_abandoned(out)

    def _abandon_waiting(self) -> None:
        self._abandoned += self._commands
        self._commands.clear()

    def _tell_abandoned(self, out: list[BoardMessage | Notice]) -> None:
        out += [Abandoned(command) for command in self._abandoned]
        self._abandoned.clear()

    def _answers(self, answer: Yes | No, now_ns: int) -> bool:
        """Return whether this is the answer that was waited for; answers to repeats come again."""
        self._window.report(answer.taken, now_ns)
        if self._outstanding is None or self._outstanding.command.id != answer.id:
            return False
        self._window.prove(self._outstanding.end)
        self._outstanding = None
        return True

    def _beat(self, beat: Beat, now_ns: int) -> None:
        # The counter before the proof: bytes proven first would be counted a second time by it.
        self._window.report(beat.taken, now_ns)
        for nonce, end in self._leases_sent:
            if nonce == beat.lease:
                self._window.prove(end)
        self._window.beat(now_ns)
        waiting = self._outstanding
        if waiting is None:
            self._overtaken = bool(self._commands)
        else:
            waiting.may_repeat = True
            self._overtaken = waiting.repeat_is_due(now_ns)

    def _doubt(self, now_ns: int) -> None:
        """Ask who is there: the board seems to have restarted, and its greeting was lost."""
        self._greeting = None
        self._window.restart()
        self._want_hello(now_ns)

    def _event(self, event: Event, now_ns: int, out: list[BoardMessage | Notice]) -> None:
        if isinstance(event, Boot) and event.boot != self._boot:
            self._doubt(now_ns)
            return
        if self._next_event is None:
            # Nothing was held at the greeting; only a new one tells if this event is the oldest.
            self._want_hello(now_ns)
            return
        if event.event < self._next_event:
            if event.event <= self._safe_event:
                self._seen = Seen(self._safe_event)
            return
        first_lost = event.event - event.count if isinstance(event, Lost) else event.event
        if first_lost > self._next_event:
            # The board sends from the oldest again by itself; a greeting tells if it no longer can.
            self._missing = True
            self._want_hello(now_ns + HELLO_NS)
            return
        if _runs_back(self._last_event_t_us, event.t_us):
            self._doubt(now_ns)
            return
        self._last_event_t_us = event.t_us
        if event.event > self._next_event:
            out.append(EventGap(self._next_event, event.event - 1))
        self._next_event = event.event + 1
        if self._missing:
            self._missing = False
            self._hello_due_ns = None
        out.append(event)

    def _want_hello(self, at_ns: int) -> None:
        if self._hello_due_ns is None:
            self._hello_due_ns = max(at_ns, self._hello_sent_ns + HELLO_NS)

    # Bytes to the board.

    def send(self, message: HostMessage, now_ns: int) -> None:
        """Queue a message; `outgoing` says what may leave.

        Of `stop` the stronger one is kept, and commands that wait behind it are abandoned. Of
        `lease` and `seen` the newest is kept. A `seen` beyond what
        was delivered in this life of the board is meant for an earlier one, and is left out.

        Raises: QueueFull when COMMANDS_MAX commands wait; OwnError when SPEC.md does not allow the
            message.
        """
        if isinstance(message, Command):
            if self.commands_waiting >= COMMANDS_MAX:
                raise QueueFull(
                    f"{COMMANDS_MAX} commands wait for the board already: it does not answer; "
                    "look at the link, then try again."
                )
            encode(message)
            self._commands.append(message)
        elif isinstance(message, Stop):
            encode(message)
            if self._stop is None or message.level > self._stop.level:
                self._stop = message
            # What was asked before the stop must not do anything after it: what waits is dropped,
            # and the command under way is not repeated. Numbers only grow, so the next is new.
            if self._outstanding is not None:
                self._abandoned.append(self._outstanding.command)
                self._outstanding = None
            self._abandon_waiting()
        elif isinstance(message, Lease):
            encode(message)
            self._lease = (message, now_ns)
        elif isinstance(message, Seen):
            encode(message)
            if self._next_event is not None and message.event < self._next_event:
                self._safe_event = max(self._safe_event, message.event)
                self._seen = Seen(self._safe_event)
        else:
            assert isinstance(message, Hello)
            self._hello_due_ns = now_ns

    def outgoing(self, now_ns: int) -> bytes:
        """Return the lines that may be written now, the most urgent first; they count as written.

        Before a greeting only `stop` and `hello` leave.
        """
        lines: list[bytes] = []
        self._blocked = False
        if self._stop is not None and self._leave(encode(self._stop), WINDOW_BYTES, now_ns, lines):
            self._stop = None
        if self._greeting is not None:
            # A command that did not fit beside the last lease goes first once, or it would never
            # go.
            if self._overtaken:
                self._command(now_ns, lines)
            self._send_lease(now_ns, lines)
            if not self._overtaken:
                self._send_seen(now_ns, lines)
                self._command(now_ns, lines)
        self._hello(now_ns, lines)
        return b"".join(lines)

    def _leave(self, body: bytes, most: int, now_ns: int, lines: list[bytes]) -> bool:
        line = frame(body)
        if self._window.in_flight + len(line) > most:
            self._blocked = True
            return False
        self._window.add(len(line), now_ns)
        lines.append(line)
        return True

    def _send_lease(self, now_ns: int, lines: list[bytes]) -> None:
        if self._lease is None:
            return
        lease, queued_ns = self._lease
        if now_ns - queued_ns > LEASE_AGE_NS_MAX:
            self._lease = None
        elif self._leave(encode(lease), HOST_LINE_BYTES_MAX, now_ns, lines):
            self._leases_sent.append((lease.nonce, self._window.sent))
            self._lease = None

    def _send_seen(self, now_ns: int, lines: list[bytes]) -> None:
        if self._seen is not None and self._leave(
            encode(self._seen), HOST_LINE_BYTES_MAX, now_ns, lines
        ):
            self._seen = None

    def _command(self, now_ns: int, lines: list[bytes]) -> None:
        waiting = self._outstanding
        if waiting is not None:
            if waiting.repeat_is_due(now_ns) and self._leave(
                waiting.body, HOST_LINE_BYTES_MAX, now_ns, lines
            ):
                waiting.sent_ns = now_ns
                waiting.may_repeat = False
                self._resends += 1
                self._overtaken = False
        elif self._commands:
            command = self._commands[0]
            body = encode(command)
            if self._leave(body, HOST_LINE_BYTES_MAX, now_ns, lines):
                self._commands.popleft()
                self._outstanding = Outstanding(command, body, self._window.sent, now_ns)
                self._overtaken = False

    def _hello(self, now_ns: int, lines: list[bytes]) -> None:
        if self._hello_due_ns is None or now_ns < self._hello_due_ns:
            return
        if self._leave(encode(Hello()), HOST_LINE_BYTES_MAX, now_ns, lines):
            self._hello_sent_ns = now_ns
            again = self._missing or (self._greeting is None and self._wrong_version is None)
            self._hello_due_ns = now_ns + HELLO_NS if again else None


def _runs_back(last_us: int | None, t_us: int) -> bool:
    """Return whether board time, modulo 2**32, is clearly earlier: a sign of a restart."""
    return last_us is not None and 2**31 <= (t_us - last_us) % 2**32 < 2**32 - OVERTAKEN_US
