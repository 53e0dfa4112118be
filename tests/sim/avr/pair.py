"""The core on this machine and the machine code on the chip, given the same lines and pins.

Both keep time by their own main loop, some two milliseconds apart. So that no answer hangs on that,
everything is given on a grid of 20 ms, leases go back at each beat, and while something moves
nothing is given near its end.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from protocols.codec import Number
from protocols.framing import frame
from protocols.limits import LIMITS, digest
from protocols.messages import (
    MESSAGES,
    BoardMessage,
    Command,
    Ended,
    Moved,
    No,
    Phase,
    Trip,
    Yes,
)
from sim.avr.board import supply_read_mv
from tests.firmware.talk import Talk
from tests.sim.avr.avr_talk import AvrTalk

GRID_MS = 20
NEAR_MS = 4
TIMED = {3: ("value",), 4: ("value",), 48: ("value", "bound")}
"""Reasons whose answer tells a time, or beats' numbers: those parts may differ by NEAR_MS."""

NONCE = object()
"""Stands for the number of a board's own newest beat."""

NUMBERED = [tag for tag, spec in MESSAGES.items() if issubclass(spec.cls, Command)]


def said(talk: Talk, start: int) -> tuple[list[Yes | No], list[tuple[object, ...]]]:
    """Answers, and events without their times and readings, from that place on."""
    answers = [m for m in talk.heard[start:] if isinstance(m, Yes | No)]
    return answers, [told for m in talk.heard[start:] if (told := _event(m)) is not None]


def _event(message: BoardMessage) -> tuple[object, ...] | None:
    match message:
        case Trip():
            return ("trip", message.interlock)
        case Moved():
            return ("moved", message.kind, message.reason)
        case Ended():
            return ("ended", message.portion, message.outcome)
        case Phase():
            return ("phase", message.portion, message.phase)
    return None


def same(a: Yes | No, b: Yes | No) -> bool:
    """Whether two answers are the same, times apart, and the count of bytes, in which a lease may
    be on its way."""
    if isinstance(a, Yes) or isinstance(b, Yes):
        return type(a) is type(b) and a.id == b.id
    timed = TIMED.get(a.reason, ())
    fixed = [name for name in ("id", "reason", "value", "bound") if name not in timed]
    return all(getattr(a, name) == getattr(b, name) for name in fixed) and all(
        abs(getattr(a, name) - getattr(b, name)) <= NEAR_MS for name in timed
    )


class Pair:
    """Both boards, awake, and what was given to them."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.both = (Talk().wake(), AvrTalk().wake())
        self.last_id = max(talk.last_id for talk in self.both)
        self.last_body = b""
        self.lines = self.pins = self.answers = self.events = 0
        self.t_us = -(-max(talk.now_us for talk in self.both) // 100_000) * 100_000
        self.told: list[list[tuple[object, ...]]] = [[], []]
        self.go(0)
        self.sent = [self._count(talk) for talk in self.both]

    def _count(self, talk: Talk) -> list[int]:
        """Count what is sent from now on, onto what the board says that it took."""
        count = [talk.beat().taken]
        rx = talk.board.rx

        def counted(data: bytes) -> int:
            count[0] += len(data)
            return rx(data)

        talk.board.rx = counted  # type: ignore[method-assign]
        return count

    def all_taken(self) -> bool:
        """Whether each board took every byte that was sent to it, which says that none was lost."""
        self.each(lambda talk: setattr(talk, "leasing", False))
        self.go(200)
        taken = [talk.beat().taken for talk in self.both]
        self.each(lambda talk: setattr(talk, "leasing", True))
        return taken == [count[0] % 65536 for count in self.sent]

    def go(self, ms: int) -> None:
        """Let time pass; afterwards both must have said the same."""
        starts = [len(talk.heard) for talk in self.both]
        self.t_us += ms * 1000
        for talk in self.both:
            talk.run_to(self.t_us)
        (answers, events), (avr_answers, avr_events) = map(said, self.both, starts)
        right = len(answers) == len(avr_answers) and all(map(same, answers, avr_answers))
        assert right, (self.last_body, answers, avr_answers)
        self.told[0] += events
        self.told[1] += avr_events
        # One may be told just before the border, and its twin just after.
        ahead = sorted(self.told, key=len)
        assert ahead[0] == ahead[1][: len(ahead[0])], (self.last_body, ahead[1][-6:])
        assert len(ahead[1]) - len(ahead[0]) <= 2, (self.last_body, ahead[1][-6:])
        self.answers += len(answers)
        self.events += len(events)

    def each(self, do: Callable[[Talk], object]) -> None:
        """Do the same with both."""
        for talk in self.both:
            do(talk)

    def raw(self, line: bytes) -> None:
        """Send bytes that end with a newline."""
        self.lines += 1
        self.last_body = line
        self.each(lambda talk: talk.board.rx(line))

    def order(self, tag: str, *values: object) -> None:
        """Send the next numbered line."""
        self.last_id += 1
        self.lines += 1
        for talk in self.both:
            fields = (talk.nonce if value is NONCE else value for value in values)
            self.last_body = " ".join(map(str, (tag, self.last_id, *fields))).encode()
            talk.board.rx(frame(self.last_body))

    def supply(self, mv: int) -> None:
        """Give both the supply that the chip would read."""
        self.both[0].supply(supply_read_mv(mv))
        self.both[1].supply(mv)

    # What may happen.

    def any_line(self) -> None:
        """A numbered line with fields inside, at and outside their borders."""
        tag = self.rng.choice([t for t in NUMBERED if t not in ("set", "adopt")])
        fields = MESSAGES[tag].fields[1:]
        self.order(tag, *(self._field(name, field) for name, field in fields))

    def _field(self, name: str, field: object) -> object:
        assert isinstance(field, Number)
        chance = self.rng.random()
        if name == "nonce" and chance < 0.5:
            return NONCE
        if chance < 0.5:
            return self.rng.randint(field.low, min(field.high, 40))
        if chance < 0.8:
            return self.rng.choice([field.low, field.high, field.low - 1, field.high + 1])
        return self.rng.choice(["", "-0", "01", "x", "1.0", "99999999999", "+1"])

    def damaged(self) -> None:
        """A line that must be dropped, or is no line at all."""
        good = frame(b"drive %d 1" % (self.last_id + 1))
        at = self.rng.randrange(len(good) - 1)
        noise = bytes(self.rng.choices(range(0x20, 0x7F), k=self.rng.randint(1, 55)))
        flipped = good[at] ^ 1 << self.rng.randrange(7)
        changed = good[:at] + bytes([flipped]) + good[at + 1 :]
        self.raw(self.rng.choice([changed.replace(b"\n", b"\r")[:-1] + b"\n", noise + b"\n"]))

    def repeated(self) -> None:
        """The last number again, an older one, or the same with another body."""
        body = f"lock {self.last_id} 1".encode()
        older = f"lock {max(1, self.last_id - self.rng.randint(1, 9))} 0".encode()
        self.raw(frame(self.rng.choice([body, body, older])))

    def unnumbered(self) -> None:
        """A line without a number, or of no known kind."""
        bodies = [b"hello", b"stop 0", b"stop 1", b"stop 2", b"stop", b"seen x", b"lease 65535"]
        self.raw(frame(self.rng.choice([*bodies, b"dance 5", b"dance", b"7", b"hello 1"])))

    def limit(self) -> None:
        """Limits loaded rightly or wrongly; in force again afterwards, as they were."""
        rows = self.rng.sample(LIMITS, 3)
        for row in rows:
            wrong = self.rng.choice([row.low - 1, row.high + 1, row.low, row.high])
            self.order("set", row.key, max(-(2**31) + 1, min(wrong, 2**31 - 1)))
            self.go(GRID_MS)
        self.any_line()
        self.go(GRID_MS)
        for row in rows:
            self.order("set", row.key, self.both[0].limits[row.name])
            self.go(GRID_MS)
        self.order("adopt", digest(self.both[0].limits))

    def pin(self) -> None:
        """A contact changes for a while, and goes back."""
        if any(talk.board.valve_on or talk._plan for talk in self.both):
            self.go(1500)  # a cutter under way moves its contacts by itself, at times of its own
        names = ("guard", "stop", "ends", "home", "far", "forward", "reverse", "button")
        name = self.rng.choice(names)
        rest = name in ("guard", "stop", "ends", "home")
        for on in (not rest, rest):
            self.pins += 1
            self.each(lambda talk, on=on: talk.pin(name, on))  # type: ignore[misc]
            self.go(GRID_MS * self.rng.choice([1, 2, 5, 10]))
            self.any_line()
            self.go(GRID_MS)
        self.here()

    def reading(self) -> None:
        """Eye, air or supply change."""
        kind = self.rng.randrange(3)
        if kind == 0:
            dough = self.rng.random() < 0.5
            self.each(lambda talk: talk.eye(dough))
        elif kind == 1:
            hpa = self.rng.choice([500, 2000, 2000, 5000])
            self.each(lambda talk: talk.air(hpa))
        else:
            self.supply(self.rng.choice([5000, 5000, 4300, 4800]))

    def feed(self) -> None:
        """A long move, lines that come meanwhile, and what ends it."""
        distance = self.rng.choice([1, -1]) * self.rng.randint(20_000, 40_000)
        kind = self.rng.choice([0, 0, 1, 2, 3, 4])
        self.order("move", kind, distance, self.rng.choice([500, 2000, 8000]), NONCE)
        self.go(4 * GRID_MS)
        for _ in range(self.rng.randrange(4)):
            self.any_line()
            self.go(GRID_MS)
        self.rng.choice([self._stop, self._guard, self._silence])()
        self.here()

    def here(self) -> None:
        """Say where the feed stands once it rests: where it stopped hangs on milliseconds."""
        self.go(300)
        self.order("here", 0)
        self.go(GRID_MS)

    def _stop(self) -> None:
        self.raw(frame(b"stop %d" % self.rng.randrange(2)))

    def _guard(self) -> None:
        self.pins += 2
        self.each(lambda talk: talk.pin("guard", False))
        self.go(2 * GRID_MS)
        self.each(lambda talk: talk.pin("guard", True))

    def _silence(self) -> None:
        self.each(lambda talk: setattr(talk, "leasing", False))
        self.go(900)
        self.each(lambda talk: setattr(talk, "leasing", True))
        self.go(200)

    def portion(self) -> None:
        """A whole portion, or one that a stop ends."""
        self.each(lambda talk: talk.eye(True))
        number = self.rng.randint(1, 65535)
        self.order("draft", number, 50, self.rng.randint(1, 300), 4000)
        self.go(GRID_MS)
        self.order("detail", number, 40, 150, 20)
        self.go(GRID_MS)
        self.order("run", number, 0, NONCE)
        self.go(1500)

    def stroke(self) -> None:
        """A dry stroke."""
        self.order("arm")
        self.go(GRID_MS)
        self.order("fire", NONCE)
        self.go(1000)

    def recover(self) -> None:
        """Everything as after the start: nothing latched, drive on, position known."""
        self.go(300)
        self.each(lambda talk: talk.air(2000))
        self.supply(5000)
        self.go(GRID_MS)
        for number in (20, 1, 2, 5, 6, 7, 8, 9, 11, 12, 14, 16, 18, 24, 29):
            self.order("clear", number)
            self.go(GRID_MS)
        for tag, value in (("drive", 1), ("lock", 0), ("here", 0)):
            self.order(tag, value)
            self.go(GRID_MS)
        self.go(400)

    def something(self) -> None:
        """One of these by chance."""
        doings = (
            (self.any_line, 50), (self.damaged, 14), (self.repeated, 7), (self.unnumbered, 8),
            (self.limit, 2), (self.pin, 3), (self.reading, 3), (self.feed, 2),
            (self.portion, 1), (self.stroke, 1), (self.recover, 3),
        )  # fmt: skip
        doing = self.rng.choices([d for d, _ in doings], [w for _, w in doings])[0]
        doing()
        self.go(GRID_MS)
