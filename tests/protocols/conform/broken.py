"""Boards that break SPEC.md, each in one way: a sound board behind a wire that lies for it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from msgspec.structs import replace

from protocols.codes import PIN
from protocols.framing import LineDecoder, check_value, frame
from protocols.limits import LIMITS, digest
from protocols.messages import (
    Beat,
    Edge,
    Event,
    Message,
    No,
    Yes,
    decode,
    encode,
)
from tests.protocols.conform.peers import BoardPeer, host_board

Says = Callable[[Any], Iterable[Message]]


class Broken:
    """A board that hears and says what it should, until a subclass does otherwise."""

    def __init__(self) -> None:
        self.peer = host_board()
        self.newest = self.event = 0
        self._ear = LineDecoder()
        self._rest = b""

    @property
    def hands(self) -> Any:
        return self.peer

    @property
    def now_us(self) -> int:
        return self.peer.now_us

    def late_ms(self) -> float:
        return 0.0

    def send(self, data: bytes) -> None:
        """Bytes from the host, whole lines at a time to `hears`."""
        *whole, self._rest = (self._rest + data).split(b"\n")
        for line in whole:
            for heard in self.hears(line):
                self.peer.send(heard + b"\n")

    def listen(self, ms: float) -> bytes:
        """What the board says, each message by way of `says`."""
        said = b""
        for body in self._ear.feed(self.peer.listen(ms)):
            assert isinstance(body, bytes)
            message = decode(body)
            if isinstance(message, Beat):
                self.newest = message.nonce
            elif isinstance(message, Event):
                self.event = message.event
            said += b"".join(frame(encode(one)) for one in self.says(message))
        return said

    def hears(self, line: bytes) -> Iterable[bytes]:
        """A line from the host, without its newline."""
        return (line,)

    def says(self, message: Message) -> Iterable[Message]:
        """A message to the host."""
        return (message,)


def saying(kind: type[Message], how: Says) -> type[Broken]:
    """A board that says something else in the place of one kind of message."""

    class Lies(Broken):
        def says(self, message: Message) -> Iterable[Message]:
            return how(message) if isinstance(message, kind) else (message,)

    return Lies


def hearing(word: bytes, how: Callable[[Broken, list[bytes]], list[bytes]]) -> type[Broken]:
    """A board that takes a line with this first word, in its words, for another; [] for none."""

    class Mishears(Broken):
        def hears(self, line: bytes) -> Iterable[bytes]:
            words = line.split(b" ")
            if words[0] != word or frame(line[:-5])[:-1] != line:
                return (line,)
            other = how(self, words[:-1])
            return (frame(b" ".join(other))[:-1],) if other else ()

    return Mishears


def but(**fields: object) -> Says:
    """The same message with other values: a number, or what makes one of the old."""

    def change(message: Any) -> Iterable[Message]:
        new = {k: v(getattr(message, k)) if callable(v) else v for k, v in fields.items()}
        return (replace(message, **new),)

    return change


def nothing(_: Message) -> Iterable[Message]:
    """No message at all."""
    return ()


def on(pin: str) -> Says:
    """The beat with a pin always on."""
    return but(pins=lambda pins: pins | 1 << PIN[pin])


class IgnoresCheck(Broken):
    """Takes any line, whatever its check value."""

    def hears(self, line: bytes) -> Iterable[bytes]:
        body = line.rpartition(b" ")[0]
        good = b"%b %04X" % (body, check_value(body))
        return (good,)


class StripsBytes(Broken):
    """Passes over bytes that do not belong in a line."""

    def hears(self, line: bytes) -> Iterable[bytes]:
        return (bytes(byte for byte in line if 0x20 <= byte < 0x7F),)


class TakesTail(Broken):
    """Takes what follows the most bytes of a line for a line of its own."""

    def hears(self, line: bytes) -> Iterable[bytes]:
        tail = line[len(line) // 2 :].lstrip(b"x") if len(line) > 96 else line
        return (tail,)


class Lenient(Broken):
    """Reads numbers as a forgiving parser does."""

    def hears(self, line: bytes) -> Iterable[bytes]:
        words = line.split(b" ")
        if words[0] == b"lock" and words[2:3] in ([b"01"], [b"+1"]):
            return (frame(b"lock %b 1" % words[1])[:-1],)
        return (line,)


class PauseEnds(Broken):
    """Takes a pause between two bytes for the end of the line."""

    def send(self, data: bytes) -> None:
        super().send(data if data.endswith(b"\n") else data + b"\n")


class LosesBursts(Broken):
    """Has room for 50 bytes at a time."""

    def send(self, data: bytes) -> None:
        self.peer.send(data[:50])


class Repeats(Broken):
    """Takes a number used before for a new one, so that a repeated command is done again."""

    def __init__(self) -> None:
        super().__init__()
        self._last = 0
        self._shift = 0

    def hears(self, line: bytes) -> Iterable[bytes]:
        words = line.split(b" ")[:-1]
        if len(words) < 2 or not words[1].isdigit() or words[0] in (b"lease", b"seen", b"stop"):
            return (line,)
        number = int(words[1])
        self._shift += number <= self._last
        self._last = number
        words[1] = b"%d" % (number + self._shift)
        return (frame(b" ".join(words))[:-1],)

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, (Yes, No)):
            return (replace(message, id=self._last),)
        return (message,)


class KeepsNoAnswer(Broken):
    """Refuses the last number when it comes again."""

    def __init__(self) -> None:
        super().__init__()
        self._answered: set[int] = set()

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, (Yes, No)):
            if message.id in self._answered:
                return (No(message.id, 49, message.id, message.id, message.taken),)
            self._answered.add(message.id)
        return (message,)


class InARow(Broken):
    """Takes no number but the next."""

    def __init__(self) -> None:
        super().__init__()
        self._last = 0

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, (Yes, No)):
            gap, self._last = message.id > self._last + 1, message.id
            return (No(message.id, 49, 0, 0, message.taken),) if gap else (message,)
        return (message,)


class AnswersLeases(Broken):
    """Says yes to a lease too."""

    def says(self, message: Message) -> Iterable[Message]:
        return (message, Yes(1, 0)) if isinstance(message, Beat) else (message,)


class LeasesItself(Broken):
    """Needs no word from the host to go on."""

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, Beat):
            self.peer.send(frame(b"lease %d" % message.nonce))
        return (message,)


class AddsUp(Broken):
    """Lets each renewal of the same number prolong the lease once more."""

    def __init__(self) -> None:
        super().__init__()
        self._seen: set[bytes] = set()
        self._more = 0
        self._told_us: int | None = None

    def hears(self, line: bytes) -> Iterable[bytes]:
        self._more += line.startswith(b"lease") and line in self._seen
        self._seen.add(line)
        return (line,)

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, Beat) and self._more:
            self._more -= 1
            self.peer.send(frame(b"lease %d" % message.nonce))
            self._told_us = message.lease_t_us if self._told_us is None else self._told_us
        if isinstance(message, Beat) and self._told_us is not None:
            return (replace(message, lease_t_us=self._told_us),)
        return (message,)


class SaysOnce(Broken):
    """Sends no event again."""

    def __init__(self) -> None:
        super().__init__()
        self._said: set[int] = set()

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, Event):
            if message.event in self._said:
                return ()
            self._said.add(message.event)
        return (message,)


class LosesEvents(Broken):
    """Drops every third event."""

    def says(self, message: Message) -> Iterable[Message]:
        return () if isinstance(message, Event) and message.event % 3 == 0 else (message,)


class LateEvents(Broken):
    """Keeps an event back until three beats have gone out."""

    def __init__(self) -> None:
        super().__init__()
        self._kept: list[Message] = []
        self._beats = 0

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, Event):
            self._kept.append(message)
            self._beats = 0
            return ()
        self._beats += isinstance(message, Beat)
        if self._beats < 3:
            return (message,)
        kept, self._kept = self._kept, []
        return (*kept, message)


class Bounces(Broken):
    """Makes ten events of each change of a switch."""

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, Edge) and message.signal == PIN["forward"]:
            return [replace(message, event=message.event + k * 1000) for k in range(10)]
        return (message,)


class SkipsBeats(Broken):
    """Sends every other beat."""

    def says(self, message: Message) -> Iterable[Message]:
        return () if isinstance(message, Beat) and message.nonce % 2 else (message,)


class Garbles(Broken):
    """Spoils its samples."""

    def listen(self, ms: float) -> bytes:
        said = super().listen(ms).splitlines(keepends=True)
        return b"".join(b"?" + line if line.startswith(b"sample") else line for line in said)


class HasWordsOfItsOwn(Broken):
    """Says things that SPEC.md does not know, with good check values."""

    def listen(self, ms: float) -> bytes:
        return super().listen(ms) + frame(b"sample 1 2") + frame(b"lease 3")


class StartsAgain(Broken):
    """Moves on by itself once a latch is cleared."""

    def __init__(self) -> None:
        super().__init__()
        self._cleared = False

    def hears(self, line: bytes) -> Iterable[bytes]:
        self._cleared |= line.startswith(b"clear")
        return (line,)

    def says(self, message: Message) -> Iterable[Message]:
        if isinstance(message, Beat) and self._cleared:
            return (replace(message, position=message.position + message.nonce),)
        return (message,)


class OtherRamps(Broken):
    """Speeds up and slows down at a rate of its own."""

    def __init__(self) -> None:
        super().__init__()
        self._values = {limit.name: limit.start for limit in LIMITS}

    def hears(self, line: bytes) -> Iterable[bytes]:
        words = line.split(b" ")[:-1]
        if words[:1] == [b"set"] and len(words) == 4 and words[2].isdigit():
            if words[2] in (b"2", b"3"):
                words[3] = b"90000"
            if 0 < int(words[2]) <= len(LIMITS):
                self._values[LIMITS[int(words[2]) - 1].name] = int(words[3])
        elif words[:1] == [b"adopt"]:
            words[2] = b"%d" % digest(self._values)
        else:
            return (line,)
        return (frame(b" ".join(words))[:-1],)


class Blind(Broken):
    """Looks at no input and no sensor."""

    class Numb(BoardPeer):
        def _show(self) -> None:
            self.board.set_inputs(self._pins, (100, 102, 286), 5000)

        def pins(self, **levels: bool) -> None:
            return

        def readings(self, *_: int, **__: int) -> None:
            self._readings = (100, 102, 286), 5000
            self._show()

    def __init__(self) -> None:
        super().__init__()
        self.peer = self.Numb(self.peer.board)
