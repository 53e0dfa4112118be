"""A board as SPEC.md has it, as far as a session can tell: numbered commands, events, the window.

Small enough to check by reading. It shares the lines' encoding with the house, not the session.
"""

from __future__ import annotations

from collections import deque

from protocols.errors import FrameError, PeerError
from protocols.framing import LineDecoder, frame
from protocols.limits import BEAT_MS, FRESH_MS, PROTOCOL, RESEND_MS, RING_EVENTS
from protocols.messages import (
    Beat,
    Bench,
    Boot,
    Command,
    Event,
    Freed,
    Hello,
    Lease,
    Lost,
    Message,
    No,
    Seen,
    Stop,
    Yes,
    decode,
    encode,
)

MS = 1_000_000


def line_of(message: Message) -> bytes:
    """The line of a message, newline included."""
    return frame(encode(message))


class ModelBoard:
    """One board over several lives. `said` holds lines for the host, oldest first."""

    def __init__(self) -> None:
        self.boot = 0
        self.said: deque[bytes] = deque()
        self.made: dict[tuple[int, int], Event] = {}
        self.done: list[tuple[int, Command]] = []
        self.stops = 0
        self.start(0)

    def start(self, now_ns: int) -> None:
        """A reset: memory is empty, the boot number one more; it greets by itself."""
        self.boot += 1
        self.born_ns = self.now_ns = now_ns
        self.ring: list[Event] = []
        self.event = 0
        self.dropped = 0
        self.waiting = b""
        self.decoder = LineDecoder()
        self.taken = 0
        self.bad = 0
        self.nonce = 0
        self.lease = 0
        self.last: tuple[int, bytes, bool] = (0, b"", True)
        self.beat_ns = now_ns + BEAT_MS * MS
        self.resend_ns = now_ns + RESEND_MS * MS
        self.make(Boot(1, 0, 1, self.boot))
        self.greet()
        self.first_greeting = self.said[-1]

    @property
    def t_us(self) -> int:
        """Board time."""
        return (self.now_ns - self.born_ns) // 1000 % 2**32

    def greet(self) -> None:
        """Say who is here."""
        oldest = self.ring[0].event if self.ring else 0
        uptime_s = (self.now_ns - self.born_ns) // 1_000_000_000
        last_id = self.last[0]
        bench = Bench(PROTOCOL, "1", "a", "m", self.boot, "power", uptime_s, last_id, 0, oldest)
        self.said.append(line_of(bench))

    def make(self, event: Event | None = None) -> None:
        """Something happens; it is held and sent, or lost if the ring is full."""
        if len(self.ring) >= RING_EVENTS:
            self.event += 1
            self.dropped += 1
            return
        if self.dropped:
            self._hold(Lost(self.event + 1, self.t_us, self.dropped))
            self.dropped = 0
        self._hold(event or Freed(self.event + 1, self.t_us, 1))

    def _hold(self, event: Event) -> None:
        self.event = event.event
        if len(self.ring) >= RING_EVENTS:
            self.dropped += 1
            return
        self.made[self.boot, event.event] = event
        self.ring.append(event)
        self.said.append(line_of(event))

    def hear(self, data: bytes) -> None:
        """Bytes reach the receive ring."""
        self.waiting += data

    def advance(self, now_ns: int) -> None:
        """Time passes: first what waits in the ring is taken, then what is due is sent."""
        self.now_ns = now_ns
        data, self.waiting = self.waiting, b""
        for byte in data:
            self.taken = (self.taken + 1) % 65536
            for item in self.decoder.feed(bytes([byte])):
                self._item(item)
        while self.beat_ns <= now_ns:
            self.beat_ns += BEAT_MS * MS
            self.nonce = (self.nonce + 1) % 65536
            state = (0, 0, 0, 0, 0, 0)
            beat = Beat(self.nonce, self.t_us, self.lease, 0, *state, self.bad, self.taken)
            self.said.append(line_of(beat))
        if self.resend_ns <= now_ns:
            self.resend_ns = now_ns + RESEND_MS * MS
            self.said += [line_of(event) for event in self.ring]

    def _item(self, item: bytes | FrameError) -> None:
        try:
            if isinstance(item, FrameError):
                raise item
            message = decode(item)
        except (FrameError, PeerError):
            self.bad = (self.bad + 1) % 65536
            return
        if isinstance(message, Hello):
            self.greet()
            self.said += [line_of(event) for event in self.ring]
        elif isinstance(message, Stop):
            self.stops += 1
        elif isinstance(message, Lease) and 0 <= self.nonce - message.nonce <= FRESH_MS // BEAT_MS:
            self.lease = message.nonce
        elif isinstance(message, Seen) and message.event <= self.event:
            if self.ring and self.ring[0].event <= message.event:
                self.resend_ns = self.now_ns + RESEND_MS * MS
            self.ring = [event for event in self.ring if event.event > message.event]
            if self.dropped and len(self.ring) < RING_EVENTS:
                count, self.dropped = self.dropped, 0
                self._hold(Lost(self.event + 1, self.t_us, count))
        elif isinstance(message, Command):
            self._command(message, item)

    def _command(self, command: Command, body: bytes) -> None:
        last_id, last_body, accepted = self.last
        if command.id < last_id:
            self.said.append(line_of(No(command.id, 49, command.id, last_id, self.taken)))
            return
        if command.id == last_id and body != last_body:
            self.said.append(line_of(No(command.id, 50, command.id, 0, self.taken)))
            return
        if command.id > last_id:
            accepted = command.id % 3 != 0
            self.last = (command.id, body, accepted)
            self.done.append((self.boot, command))
        answer = Yes(command.id, self.taken) if accepted else No(command.id, 43, 0, 0, self.taken)
        self.said.append(line_of(answer))
