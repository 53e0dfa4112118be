"""The core on this machine and the machine code on the chip, given the same lines and pins.

Both keep time by their own main loop, some two milliseconds apart, and on the chip a step may go
out while the main loop is at work: a relieve that finds nothing to relieve ends after one step
there, and after none here. So that no answer hangs on that, pins and readings change on a grid of
20 ms, leases go back at each beat, a stroke is asked for only once the feed has clearly been at
rest, and places and times in answers may be that far apart.
"""

from __future__ import annotations

import operator
import random
from collections import deque
from collections.abc import Callable
from typing import Any

from protocols.codec import Number
from protocols.codes import SIGNALS
from protocols.framing import frame
from protocols.limits import ARM_MS, LIMITS, digest
from protocols.messages import (
    MESSAGES,
    Beat,
    BoardMessage,
    Command,
    Edge,
    Ended,
    Freed,
    Ignored,
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
LINE_MS = 5
"""Time for a line and its answer, as a rule."""

STILL_MS = 100
"""Rest before a stroke, by the limits at start."""

LASTS_MS = {"move": 160, "fire": 600, "run": 1300}
"""How long what a random line can set in motion may last."""

NEAR = {3: {"value": 5}, 4: {"value": 5}, 48: {"value": 4, "bound": 4}, 57: {"value": 32}}
"""Reasons whose answer tells a time [ms], beats' numbers or a place [steps], and how much those
parts may differ: by the way of some milliseconds."""

STOPPING = {SIGNALS.index(name) for name in ("guard", "stop", "ends")}

NONCE = object()
"""Stands for the number of a board's own newest beat."""

NUMBERED = [tag for tag, spec in MESSAGES.items() if issubclass(spec.cls, Command)]


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
        case Freed():
            return ("freed", message.interlock)
        case Ignored():
            return ("ignored", message.signal, message.reason)
        case Edge() if message.signal in STOPPING:
            return ("edge", message.signal, message.level)
    return None


def same(a: Yes | No, b: Yes | No) -> bool:
    """Whether two answers are the same, times apart, and the count of bytes, in which a lease may
    be on its way."""
    if isinstance(a, Yes) or isinstance(b, Yes):
        return type(a) is type(b) and a.id == b.id
    near = NEAR.get(a.reason, {}) if a.reason == b.reason else {}
    return all(
        abs(getattr(a, name) - getattr(b, name)) <= near.get(name, 0)
        for name in ("id", "reason", "value", "bound")
    )


class Pair:
    """Both boards, awake, and what was given to them."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.both = (Talk().wake(), AvrTalk().wake())
        self.last_id = max(talk.last_id for talk in self.both)
        self.lines = self.pins = self.answers = self.events = self.due = 0
        self.given: deque[tuple[int, bytes]] = deque(maxlen=12)
        self.moved_us = self.armed_us = -10_000_000
        self.accepted = False
        self.answered: list[list[Yes | No]] = [[], []]
        self.told: list[list[tuple[object, ...]]] = [[], []]
        self.sent = [self._count(talk) for talk in self.both]
        self.t_us = -(-max(talk.now_us for talk in self.both) // 100_000) * 100_000
        self.go(0)

    def _count(self, talk: Talk) -> list[int]:
        """Count what is sent from now on, onto what the board says that it took."""
        talk.leasing = False
        talk.run(20)
        count = [talk.beat().taken]
        talk.leasing = True
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
        """Let time pass; afterwards both must have said the same, as far as both have said it."""
        self.t_us += ms * 1000
        for talk, answered, told in zip(self.both, self.answered, self.told, strict=True):
            start, steps = len(talk.heard), talk.board.steps
            talk.run_to(self.t_us)
            if talk.board.steps != steps:
                self.moved_us = self.t_us
            for message in talk.heard[start:]:
                if isinstance(message, Yes | No):
                    answered.append(message)
                elif (event := _event(message)) is not None:
                    told.append(event)
        if all(self.answered):
            self.accepted = isinstance(self.answered[0][0], Yes)
        self.answers += self._compare(self.answered, same)
        self.events += self._compare(self.told, operator.eq)

    def _compare(self, said: list[list[Any]], right: Callable[[Any, Any], bool]) -> int:
        """Compare what both have said and take it off; return how much that was."""
        count = min(map(len, said))
        for a, b in zip(*said, strict=False):
            assert right(a, b), f"{a} on this machine, {b} on the chip; {self}"
        for one in said:
            del one[:count]
            # One may be told just before the border, and its twin just after.
            assert len(one) <= 2, f"only one said {one}; {self}"
        return count

    def __str__(self) -> str:
        lines = " ".join(f"{at_us / 1e3:.0f}:{line!r}" for at_us, line in self.given)
        return f"at {self.t_us / 1e3:.0f} ms, line {self.lines}, after {lines}"

    def settle(self) -> None:
        """Let the time of a line pass, and as much more as the answers that are due take."""
        for _ in range(20):
            self.go(LINE_MS)
            if self.answers >= self.due and not any(self.answered):
                return
        raise AssertionError(f"no answer; {self}")

    def each(self, do: Callable[[Talk], object]) -> None:
        """Do the same with both."""
        for talk in self.both:
            do(talk)

    def raw(self, line: bytes, answers: int = 0) -> None:
        """Send bytes that end with a newline."""
        self.lines += 1
        self.given.append((self.t_us, line))
        self.each(lambda talk: talk.board.rx(line))
        self.due = self.answers + answers
        self.settle()

    def order(self, tag: str, *values: object) -> None:
        """Send the next numbered line."""
        self.last_id += 1
        self.lines += 1
        for talk in self.both:
            fields = (talk.nonce if value is NONCE else value for value in values)
            body = " ".join(map(str, (tag, self.last_id, *fields))).encode()
            talk.board.rx(frame(body))
        self.given.append((self.t_us, body))
        self.due = self.answers + 1
        self.settle()

    def supply(self, mv: int) -> None:
        """Give both the supply that the chip would read."""
        self.both[0].supply(supply_read_mv(mv))
        self.both[1].supply(mv)

    def grid(self, count: int = 1) -> None:
        """Let time pass up to the grid, and on by its steps."""
        self.go(-(self.t_us // 1000) % GRID_MS + (count - 1) * GRID_MS)

    # What may happen.

    def any_line(self) -> None:
        """A numbered line with fields inside, at and outside their borders."""
        tag = self.rng.choice([t for t in NUMBERED if t not in ("set", "adopt")])
        if tag in ("arm", "fire"):
            self.be_still()
        if tag == "fire" and abs(self.t_us - self.armed_us - ARM_MS * 1000) < GRID_MS * 1000:
            self.go(2 * GRID_MS)
        if tag == "arm":
            self.armed_us = self.t_us
        fields = MESSAGES[tag].fields[1:]
        self.order(tag, *(self._field(name, field) for name, field in fields))
        if self.accepted and tag in LASTS_MS:
            self.go(LASTS_MS[tag])

    def _field(self, name: str, field: object) -> object:
        assert isinstance(field, Number)
        chance = self.rng.random()
        if name == "nonce" and chance < 0.5:
            return NONCE
        if name == "speed" and chance < 0.5:
            return self.rng.randint(1000, 8000)
        if chance < 0.5:
            return self.rng.randint(max(field.low, -40), min(field.high, 40))
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
        self.raw(frame(self.rng.choice([body, body, older])), 1)

    def unnumbered(self) -> None:
        """A line without a number, or of no known kind."""
        bodies = [b"hello", b"stop 0", b"stop 1", b"stop 2", b"stop", b"seen x", b"lease 65535"]
        body = self.rng.choice([*bodies, b"dance 5", b"dance", b"7", b"hello 1"])
        self.raw(frame(body), int(body == b"dance 5"))
        self.let_stop()

    def be_still(self) -> None:
        """Let a feed that has just moved be at rest for clearly longer than a stroke needs."""
        if self.t_us - self.moved_us < (STILL_MS + GRID_MS) * 1000:
            self.go(STILL_MS + GRID_MS)

    def let_stop(self) -> None:
        """Wait while a feed that was told to stop slows down."""
        if self.t_us == self.moved_us:
            self.go(160)

    def limit(self) -> None:
        """Limits loaded rightly or wrongly; in force again afterwards, as they were."""
        rows = self.rng.sample(LIMITS, 3)
        for row in rows:
            wrong = self.rng.choice([row.low - 1, row.high + 1, row.low, row.high])
            self.order("set", row.key, max(-(2**31) + 1, min(wrong, 2**31 - 1)))
        self.any_line()
        for row in rows:
            self.order("set", row.key, self.both[0].limits[row.name])
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
            self.grid()
            self.each(lambda talk, on=on: talk.pin(name, on))  # type: ignore[misc]
            # Neither of a press of 20 ms nor of a cutter that was home for 50 ms.
            self.go(GRID_MS * self.rng.choice([2, 4, 6]))
            self.any_line()
        self.here()

    def reading(self) -> None:
        """Eye, air, thrust or supply change."""
        kind = self.rng.randrange(4)
        if kind == 0:
            dough = self.rng.random() < 0.5
            self.each(lambda talk: talk.eye(dough))
        elif kind == 1:
            hpa = self.rng.choice([500, 2000, 2000, 5000])
            self.each(lambda talk: talk.air(hpa))
        elif kind == 2:
            dn = self.rng.choice([0, 1000, 2900, 4000])
            self.each(lambda talk: talk.thrust(dn))
        else:
            self.supply(self.rng.choice([5000, 5000, 4300, 4800]))
        self.go(GRID_MS)  # the chip's converter goes from one reading to the next

    def feed(self) -> None:
        """A long move, lines that come meanwhile, and what ends it."""
        distance = self.rng.choice([1, -1]) * self.rng.randint(20_000, 40_000)
        kind = self.rng.choice([0, 0, 1, 2, 3, 4])
        self.order("move", kind, distance, self.rng.choice([500, 2000, 8000]), NONCE)
        self.go(4 * GRID_MS)
        for _ in range(self.rng.randrange(4)):
            self.any_line()
        self.rng.choice([self._stop, self._stop, self._guard, self._guard, self._silence])()
        self.here()

    def here(self) -> None:
        """Say where the feed stands once it rests: where it stopped hangs on milliseconds."""
        self.go(160)
        self.order("here", 0)

    def _stop(self) -> None:
        self.raw(frame(b"stop %d" % self.rng.randrange(2)))

    def _guard(self) -> None:
        self.pins += 2
        self.grid()
        self.each(lambda talk: talk.pin("guard", False))
        self.go(2 * GRID_MS)
        self.each(lambda talk: talk.pin("guard", True))

    def _silence(self) -> None:
        self.each(lambda talk: setattr(talk, "leasing", False))
        self.go(1000)
        self.each(lambda talk: setattr(talk, "leasing", True))
        self.go(120)

    def portion(self) -> None:
        """A whole portion."""
        self.each(lambda talk: talk.eye(True))
        number = self.rng.randint(1, 65535)
        self.order("draft", number, 50, self.rng.randint(1, 300), 4000)
        self.order("detail", number, 40, 150, 20)
        self.order("run", number, 0, NONCE)
        if self.accepted:
            self.go(LASTS_MS["run"])

    def stroke(self) -> None:
        """A dry stroke."""
        self.be_still()
        self.armed_us = self.t_us
        self.order("arm")
        self.order("fire", NONCE)
        if self.accepted:
            self.go(LASTS_MS["fire"])

    def too_soon(self) -> None:
        """A stroke asked for while the feed has hardly come to rest."""
        self.order("move", 0, self.rng.choice([2000, -2000]), 2000, NONCE)
        self.go(80)
        self.raw(frame(b"stop 0"))
        self.go(2 * GRID_MS)
        self.order("arm")
        self.here()

    def recover(self) -> None:
        """Everything as after the start: nothing latched, drive on, position known."""
        self.each(lambda talk: talk.air(2000))
        self.each(lambda talk: talk.thrust(0))
        self.supply(5000)
        self.raw(frame(b"stop 0"))
        self.go(160)
        for number in (20, 1, 2, 5, 6, 7, 8, 9, 11, 12, 14, 16, 18, 24, 29):
            self.order("clear", number)
        for tag, value in (("drive", 1), ("lock", 0), ("here", 0)):
            self.order(tag, value)
        self.go(120)
        a, b = (next(m for m in reversed(talk.heard) if isinstance(m, Beat)) for talk in self.both)
        assert (a.mode, a.latches, a.pins) == (b.mode, b.latches, b.pins), f"{a}, {b}; {self}"

    def something(self) -> None:
        """One of these by chance."""
        doings = (
            (self.any_line, 170), (self.damaged, 50), (self.repeated, 25), (self.unnumbered, 25),
            (self.limit, 3), (self.pin, 12), (self.reading, 6), (self.feed, 4),
            (self.portion, 2), (self.stroke, 1), (self.too_soon, 2), (self.recover, 8),
        )  # fmt: skip
        self.rng.choices([d for d, _ in doings], [w for _, w in doings])[0]()
