"""A host for the cases: it sends lines, keeps what it hears, and waits on the board's own clock.

Leases and acknowledgements go back by themselves unless a case turns them off. The window of
SPEC.md, section 6, is kept: what could exceed it waits for the answer under way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TypeVar

from protocols.codes import MODES, PIN
from protocols.conform.peer import INPUTS, Hands, Peer
from protocols.errors import PeerError
from protocols.framing import LineDecoder, frame
from protocols.limits import HOST_LINE_BYTES_MAX, LIMITS, digest
from protocols.messages import (
    Adopt,
    Arm,
    Beat,
    Bench,
    BoardMessage,
    Boot,
    Clear,
    Command,
    Detail,
    Draft,
    Drive,
    Ended,
    Event,
    Fire,
    Hello,
    Here,
    HostMessage,
    Lease,
    Lock,
    Move,
    Moved,
    No,
    Run,
    Sample,
    Seen,
    Set,
    Stop,
    Yes,
    decode,
    encode,
)

M = TypeVar("M", bound=BoardMessage)

ANSWER_MS = 250
"""A host repeats a command after this time without an answer."""

START = {limit.name: limit.start for limit in LIMITS}
BASE = START | {
    "travel_min": -100_000, "travel_max": 400_000, "cut_ms": 50, "return_ms": 50, "still_ms": 50,
    "sample_ms": 20, "sample_busy_ms": 10,
}  # fmt: skip
"""Limits that most cases begin with: nothing is fitted, so that nothing need be connected."""

SAFE_PINS = {
    "guard": True, "stop": True, "home": True, "far": False, "ends": True, "forward": False,
    "reverse": False, "button": False, "drop": False,
}  # fmt: skip
_PATIENCE_MS = 3_000
_SLOWEST = 10
"""A simulated board on a busy computer may be so many times slower than this end."""
_MOVING = {MODES.index(mode) for mode in ("moving", "portion", "stroke")}


class NotKept(Exception):
    """The board did not do what SPEC.md asks; the text says what was heard instead."""


class Talk:
    """One board, and what it said."""

    def __init__(self, peer: Peer) -> None:
        self.peer = peer
        self.heard: list[BoardMessage] = []
        self.strange: list[str] = []
        self.leasing = True
        self.acknowledging = True
        self.last_id = 0
        self.clock_us = 0
        self.heard_us = 0
        self.values = dict(BASE)
        self._loaded: dict[str, int] = {}
        self._decoder = LineDecoder()
        self._board_us: int | None = None
        self._owed: dict[str, HostMessage] = {}
        self._alone = False
        self._dry_needed = True

    @property
    def can(self) -> frozenset[str]:
        """What can be done to the board beside speaking to it."""
        return self.peer.hands.can if self.peer.hands else frozenset()

    @property
    def hands(self) -> Hands:
        """What changes inputs and power; only for cases that need it."""
        assert self.peer.hands is not None
        # Guard, stop or air may be touched, after which a portion wants a dry stroke first.
        self._dry_needed = True
        return self.peer.hands

    # Lines.

    def say(self, message: HostMessage) -> None:
        """Send one message."""
        self.peer.send(frame(encode(message)))

    def raw(self, data: bytes) -> None:
        """Send any bytes, in pieces that keep the window, each taken before the next is sent."""
        with self.alone():
            for at in range(0, len(data), HOST_LINE_BYTES_MAX):
                if at:
                    self.beat()
                self.peer.send(data[at : at + HOST_LINE_BYTES_MAX])

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Keep leases and acknowledgements back for a while: one would end a line that is not whole
        yet, or go beyond the window."""
        self._alone = True
        try:
            yield
        finally:
            self._alone = False

    def listen(self, ms: float) -> None:
        """Take what the board says next, or let this time pass; pay what is owed to it."""
        for item in self._decoder.feed(self.peer.listen(ms)):
            try:
                message = decode(item) if isinstance(item, bytes) else None
            except PeerError:
                message = None
            if isinstance(message, BoardMessage):
                self._take(message)
            else:
                self.strange.append(ascii(item if isinstance(item, bytes) else item.line))
        if not self._alone:
            for owed in self._owed.values():
                self.say(owed)
            self._owed.clear()

    def _take(self, message: BoardMessage) -> None:
        self.heard.append(message)
        if isinstance(message, (Beat, Sample)):
            before_us = message.t_us if self._board_us is None else self._board_us
            step_us = (message.t_us - before_us) % 2**32
            # A sample may have waited while a beat overtook it.
            self.clock_us += step_us if step_us < 2**31 else 0
            self._board_us = message.t_us if step_us < 2**31 else before_us
            self.heard_us = self.peer.now_us
        if isinstance(message, Boot):
            self._dry_needed = True
        if isinstance(message, Bench):
            self._board_us = None
            # A greeting may have been under way when the last command left.
            self.last_id = max(self.last_id, message.last_id)
        elif isinstance(message, Beat) and self.leasing:
            self._owed["lease"] = Lease(message.nonce)
        elif isinstance(message, Event) and self.acknowledging:
            self._owed["seen"] = Seen(message.event)

    # Waiting.

    def until(self, condition: Callable[[], bool], what: str, ms: float = _PATIENCE_MS) -> None:
        """Listen until the condition holds.

        Raises NotKept when it does not within so many ms of the board's clock, which may be slow
        where the board is simulated, or much longer of this end's.
        """
        end_us = self.clock_us + round(ms * 1000)
        last_us = self.peer.now_us + round((_SLOWEST * ms + _PATIENCE_MS) * 1000)
        while not condition():
            in_time = self.clock_us < end_us and self.peer.now_us < last_us
            self.check(in_time, f"no {what} within {ms:.0f} ms")
            self.listen(ANSWER_MS)

    def wait(self, ms: float) -> None:
        """Let this time pass on the board's clock."""
        end_us = self.clock_us + round(ms * 1000)
        self.until(lambda: self.clock_us >= end_us, "sign of life", ms)

    def next(self, kind: type[M], ms: float = _PATIENCE_MS, since: int | None = None) -> M:
        """Return the next message of a kind, or the first one since a mark."""
        start = self.mark if since is None else since
        self.until(lambda: bool(self.of(kind, start)), f"'{kind.__name__.lower()}'", ms)
        return self.of(kind, start)[0]

    @property
    def behind_us(self) -> int:
        """How much later this end's clock was than the board's when the board last told its time
        [us], from any start: it grows where a simulated board is too slow, or its word waits."""
        return self.heard_us - self.clock_us

    @property
    def mark(self) -> int:
        """Where what is heard from now on begins."""
        return len(self.heard)

    def of(self, kind: type[M], since: int = 0) -> list[M]:
        """Return what was heard of a kind, each event once."""
        found: dict[object, M] = {}
        for place, message in enumerate(self.heard[since:]):
            if isinstance(message, kind):
                found.setdefault(message.event if isinstance(message, Event) else -place, message)
        return list(found.values())

    def check(self, kept: bool, heard: str = "") -> None:
        """Raise NotKept unless this holds, with what was heard, or else the last lines."""
        if not kept:
            raise NotKept(heard or self._last_lines())

    def same(self, what: str, got: object, asked: object) -> None:
        """Raise NotKept unless the two are equal."""
        self.check(got == asked, f"{what} {got}, not {asked}")

    def near(self, what: str, got: float, asked: float, within: float) -> None:
        """Raise NotKept unless the two are as near as this."""
        self.check(abs(got - asked) <= within, f"{what} {got:g}, not {asked:g} (+-{within:g})")

    def _last_lines(self) -> str:
        told = [m for m in self.heard if not isinstance(m, (Beat, Sample))][-3:]
        return "last: " + (", ".join(encode(m).decode() for m in told) or "nothing")

    # Commands.

    def ask(self, cls: type[Command], *values: int) -> Yes | No:
        """Send the next command; return its answer."""
        self.last_id += 1
        return self.ask_as(self.last_id, cls, *values)

    def ask_as(self, number: int, cls: type[Command], *values: int) -> Yes | No:
        """Send a command with this number; return its answer."""
        answer = self.ask_body(encode(cls(number, *values)))
        self.same("an answer to number", answer.id, number)
        if cls is Set and isinstance(answer, Yes):
            self._loaded[LIMITS[values[0] - 1].name] = values[1]
        return answer

    def ask_body(self, body: bytes) -> Yes | No:
        """Send any body; return the answer that it gets."""
        start = self.mark
        with self.alone():
            self.peer.send(frame(body))
            what = f"answer to '{body.decode()}'"
            self.until(lambda: bool(self.answers(start)), what, ANSWER_MS)
        return self.answers(start)[0]

    def answers(self, since: int) -> list[Yes | No]:
        """Return the answers heard since a mark."""
        return [m for m in self.heard[since:] if isinstance(m, (Yes, No))]

    def do(self, cls: type[Command], *values: int) -> None:
        """Send the next command, which must be accepted."""
        answer = self.ask(cls, *values)
        self.check(isinstance(answer, Yes), f"'{cls.tag}' got {encode(answer).decode()!r}")

    def refused(
        self, reason: int, cls: type[Command], *values: int,
        value: int | None = None, bound: int | None = None,
    ) -> No:  # fmt: skip
        """Send the next command, which must be refused for this reason, with what it tells."""
        return self.is_no(self.ask(cls, *values), reason, value=value, bound=bound)

    def is_no(
        self, answer: Yes | No, reason: int, *, value: int | None = None, bound: int | None = None
    ) -> No:
        """Return an answer that must be this refusal. Raises: NotKept when it is not."""
        told = encode(answer).decode()
        if not isinstance(answer, No):
            raise NotKept(f"{told!r}, not 'no' {reason}")
        self.same(f"{told!r}: reason", answer.reason, reason)
        self.same(f"{told!r}: value", answer.value, answer.value if value is None else value)
        self.same(f"{told!r}: bound", answer.bound, answer.bound if bound is None else bound)
        return answer

    # What the board shows.

    def beat(self) -> Beat:
        """Return the next beat."""
        return self.next(Beat)

    def fresh(self) -> int:
        """Return the number of a beat that has just come."""
        return self.beat().nonce

    def settled(self) -> Beat:
        """Return a beat that was made after all that has been sent was taken."""
        self.beat()
        return self.beat()

    def pin(self, name: str, beat: Beat | None = None) -> bool:
        """Whether a pin is on, in this beat or the next settled one."""
        return bool((beat or self.settled()).pins >> PIN[name] & 1)

    def mode(self) -> str:
        """Return the mode of the next settled beat."""
        return MODES[self.settled().mode]

    def latches(self, beat: Beat | None = None) -> set[int]:
        """Return the interlocks latched, in this beat or the next settled one."""
        bits = (beat or self.settled()).latches
        return {number for number in range(1, 31) if bits >> (number - 1) & 1}

    def greeting(self) -> Bench:
        """Ask for the greeting."""
        start = self.mark
        self.say(Hello())
        return self.next(Bench, since=start)

    # Beginnings.

    def meet(self, ms: float) -> Bench:
        """Return the greeting of a board that may only just be starting, asked for until it comes.

        Raises NotKept when it does not within so many ms.
        """
        end_us = self.peer.now_us + round(ms * 1000)
        while not self.of(Bench):
            self.check(self.peer.now_us < end_us, f"no greeting within {ms / 1000:g} s")
            self.say(Hello())
            self.listen(ANSWER_MS)
        # What a port picks up before its first whole line is no word of the board.
        self.strange.clear()
        return self.of(Bench)[-1]

    def begin(self) -> None:
        """Bring the board to rest: nothing moves, no latch, drive off, limits at BASE."""
        self.leasing = self.acknowledging = True
        if self.peer.hands and INPUTS in self.can:
            self.peer.hands.pins(**SAFE_PINS)
            self.peer.hands.readings()
        self.say(Stop(1))
        self.greeting()
        self.until(lambda: self._rests(self.beat()), "rest after 'stop'", 10_000)
        self.values = dict(BASE)
        self.load()
        self.do(Lock, 0)
        self.do(Drive, 0)
        # A beat after an answer was made after it.
        beat = self.beat()
        for interlock in sorted(self.latches(beat)):
            self.do(Clear, interlock)
            # Its event comes and is acknowledged before the case begins.
            self.beat()
        # The limits say which level of the valve brings the cutter home; only a stroke does so.
        if self._dry_needed or self.pin("valve", beat):
            # A board that makes none is told by the cases that want one.
            with suppress(NotKept):
                self.dry_stroke()

    def dry_stroke(self) -> None:
        """Make the dry stroke that comes before a portion where air may have been away."""
        self.wait(self.values["return_ms"] + self.values["still_ms"] + 60)
        start = self.mark
        self.do(Arm)
        self.do(Fire, self.fresh())
        self.same("outcome of a dry stroke", self.ended(start).outcome, 0)
        self.beat()
        self._dry_needed = False

    def rest(self) -> None:
        """Leave the board at rest and its drive without power, without waiting for a word of it."""
        self.say(Stop(1))

    def _rests(self, beat: Beat) -> bool:
        return beat.mode not in _MOVING and not beat.phase and not self.pin("waiting", beat)

    def forget_limits(self) -> None:
        """Note that the board started anew: its limits are as at boot."""
        self._loaded = dict(START)

    def load(self, **instead: int) -> None:
        """Put limits in force: those of this case, with these changed."""
        self.values |= instead
        # What is fitted and not connected may say that air is away.
        self._dry_needed |= self.values["fitted"] != 0
        for limit in LIMITS:
            if self._loaded.get(limit.name) != self.values[limit.name]:
                self.do(Set, limit.key, self.values[limit.name])
        self.do(Adopt, digest(self.values))

    def wake(self, **instead: int) -> None:
        """Limits in force, drive on, position 0 known, cutter home for long enough."""
        self.load(**instead)
        self.do(Drive, 1)
        self.do(Here, 0)
        self.wait(self.values["return_ms"] + self.values["still_ms"] + 60)

    def move(self, kind: int, distance: int, speed: int = 2000) -> None:
        """Start a move."""
        self.do(Move, kind, distance, speed, self.fresh())

    def plan(
        self, portion: int = 7, *, take_up: int = 100, push: int = 1000, speed: int = 4000,
        draw_back: int = 200, settle: int = 150, dwell: int = 50,
    ) -> None:  # fmt: skip
        """Load a program."""
        self.do(Draft, portion, take_up, push, speed)
        self.do(Detail, portion, draw_back, settle, dwell)

    def start(self, portion: int = 7, trigger: int = 0) -> None:
        """Run the program that is loaded."""
        self.do(Run, portion, trigger, self.fresh())

    def moved(self, since: int | None = None) -> Moved:
        """Return the end of a move."""
        return self.next(Moved, 8_000, since)

    def ended(self, since: int | None = None) -> Ended:
        """Return the end of a portion or stroke."""
        return self.next(Ended, 8_000, since)
