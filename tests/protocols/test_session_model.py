"""A session against a model board over a link that damages lines: what must hold whatever happens.

Goal: every event is delivered as it was made, in order, once, or is part of a recorded gap; every
command is done at most once in a life of the board, in order, and answered or abandoned; no more
than the window is under way; a stop goes first. Method: a rule-based search over sends, commits,
waits, resets, reconnects and faults; at the end the link is left alone and everything still owed
must arrive.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from protocols.limits import HOST_LINE_BYTES_MAX, STOP_RESERVE_BYTES, WINDOW_BYTES
from protocols.messages import (
    Beat,
    Bench,
    BoardMessage,
    Command,
    Drive,
    Event,
    Lease,
    Move,
    No,
    Seen,
    Set,
    Stop,
    Yes,
)
from protocols.session import Abandoned, EventGap, Notice, Session
from tests.protocols.model_board import MS, ModelBoard

FAULTS = ("drop", "twice", "cut", "merge", "flip")


def damage(line: bytes, fault: str, chance: random.Random) -> bytes:
    """What arrives of a line."""
    match fault:
        case "drop":
            return b""
        case "twice":
            return line + line
        case "cut":
            return line[: chance.randrange(len(line))]
        case "merge":
            return line[:-1]
        case _:
            place = chance.randrange(len(line) * 8)
            damaged = bytearray(line)
            damaged[place // 8] ^= 1 << place % 8
            return bytes(damaged)


class SessionMachine(RuleBasedStateMachine):
    """Host, link and board, and the books kept of what was sent and delivered."""

    @initialize(chance=st.randoms(use_true_random=False))
    def begin(self, chance: random.Random) -> None:
        self.chance = chance
        self.now_ns = 0
        self.board = ModelBoard()
        self.noise = 0.0
        self.holding = False
        self.next_id = 1
        self.boot: int | None = None
        self.delivered: dict[tuple[int, int], Event] = {}
        self.last_delivered: dict[int, int] = {}
        self.gaps: dict[int, set[int]] = {}
        self.sent: list[Command] = []
        self.answers: dict[int, int] = {}
        self.abandoned: set[int] = set()
        self.session = Session()

    # What the host does.

    @rule(kind=st.integers(0, 2))
    def ask(self, kind: int) -> None:
        command: Command = [
            Drive(self.next_id, 1),
            Set(self.next_id, 37, 2_147_483_647),
            Move(self.next_id, 0, -123456, 20000, 54321),
        ][kind]
        if self.session.commands_waiting < 64:
            self.next_id += 1
            self.sent.append(command)
            self.session.send(command, self.now_ns)
        self.flush()

    @rule()
    def commit(self) -> None:
        if self.boot is not None and self.boot in self.last_delivered:
            self.session.send(Seen(self.last_delivered[self.boot]), self.now_ns)
        self.flush()

    @rule(level=st.integers(0, 1))
    def stop(self, level: int) -> None:
        room = WINDOW_BYTES - self.session.in_flight_bytes
        self.session.send(Stop(level), self.now_ns)
        sent = self.flush()
        assert sent.startswith(b"stop ") == (room >= STOP_RESERVE_BYTES)

    @rule()
    def reconnect(self) -> None:
        """The port is opened again: a new session with what the journal knows."""
        self.abandoned |= {c.id for c in self.sent if c.id not in self.answers}
        self.now_ns += 50 * MS
        self.board.advance(self.now_ns)
        self.board.said.clear()
        last = self.last_delivered.get(self.boot, 0) if self.boot is not None else 0
        self.session = Session(boot=self.boot, last_event=last, safe_event=0)
        self.flush()

    # What the world does.

    @rule(count=st.integers(1, 30))
    def happen(self, count: int) -> None:
        for _ in range(count):
            self.board.make()
        self.carry()

    @rule(milliseconds=st.sampled_from([1, 5, 40, 100, 130, 260, 600]))
    def wait(self, milliseconds: int) -> None:
        self.now_ns += milliseconds * MS
        self.board.advance(self.now_ns)
        self.carry()

    @rule(noise=st.sampled_from([0.0, 0.05, 0.3]))
    def weather(self, noise: float) -> None:
        self.noise = noise

    @rule()
    def hold(self) -> None:
        """The adapter holds what the board says."""
        self.holding = not self.holding
        self.carry()

    @rule()
    def reset(self) -> None:
        self.holding = False
        self.carry()
        self.board.start(self.now_ns)
        self.carry()

    @rule(noise=st.binary(max_size=120))
    def foreign(self, noise: bytes) -> None:
        self.hear(self.session.receive(noise, self.now_ns))
        self.flush()

    # The link.

    def carry(self) -> None:
        while self.board.said and not self.holding:
            line = self.board.said.popleft()
            # A restart of which no line gets through at all looks like none: events do not carry
            # the boot number.
            if line is self.board.first_greeting:
                line = b"\n" + line
            elif self.chance.random() < self.noise:
                line = damage(line, self.chance.choice(FAULTS), self.chance)
            self.hear(self.session.receive(line, self.now_ns))
            self.flush()
        self.flush()

    def flush(self) -> bytes:
        sent = self.session.outgoing(self.now_ns)
        arrives = sent
        if sent and self.chance.random() < self.noise:
            # A fault that made bytes more would be no loss, and the window counts losses only.
            arrives = damage(sent, self.chance.choice(["drop", "cut", "flip"]), self.chance)
        self.board.hear(arrives)
        assert len(self.board.waiting) <= WINDOW_BYTES
        return sent

    def hear(self, items: list[BoardMessage | Notice]) -> None:
        for item in items:
            if isinstance(item, Bench):
                self.boot = item.boot
            elif isinstance(item, EventGap):
                assert self.boot is not None
                self.gap(item)
            elif isinstance(item, Abandoned):
                assert item.command.id not in self.answers
                self.abandoned.add(item.command.id)
            elif isinstance(item, Yes | No):
                assert item.id not in self.answers
                assert item.id not in self.abandoned
                self.answers[item.id] = 43 if isinstance(item, No) else 0
                assert not isinstance(item, No) or item.reason in (43, 49)
            elif isinstance(item, Beat):
                if self.chance.random() < 0.7:
                    self.session.send(Lease(item.nonce), self.now_ns)
            elif isinstance(item, Event):
                assert self.boot is not None
                key = (self.boot, item.event)
                assert self.board.made[key] == item
                last = self.last_delivered.get(self.boot, 0)
                missing = set(range(last + 1, item.event))
                assert item.event > last, "delivered again, or out of order"
                assert missing <= self.gaps.get(self.boot, set()), "missing without a gap"
                assert item.event not in self.gaps.get(self.boot, set()), "was told as lost"
                self.delivered[key] = item
                self.last_delivered[self.boot] = item.event

    def gap(self, gap: EventGap) -> None:
        assert self.boot is not None
        numbers = set(range(gap.first, gap.last + 1))
        held = {event.event for event in self.board.ring} if self.boot == self.board.boot else set()
        assert numbers
        assert not numbers & held, "told as lost, and still held"
        assert not numbers & {n for b, n in self.delivered if b == self.boot}
        assert not numbers & self.gaps.setdefault(self.boot, set()), "told twice"
        self.gaps[self.boot] |= numbers

    # What holds at all times, and at the end.

    @invariant()
    def the_books_balance(self) -> None:
        assert 0 <= self.session.in_flight_bytes <= WINDOW_BYTES
        assert self.session.commands_waiting <= 64
        for boot in {boot for boot, _ in self.board.done}:
            of_boot = [command.id for b, command in self.board.done if b == boot]
            assert of_boot == sorted(set(of_boot))
        wake_ns = self.session.wake_at_ns
        assert wake_ns is None or wake_ns > self.now_ns - 1

    def teardown(self) -> None:
        if not hasattr(self, "session"):
            return
        self.noise, self.holding = 0.0, False
        for turn in range(80):
            # A `seen` of an earlier life may have made the board forget events of this one before
            # the host knew; the gap shows with the next event.
            if turn % 40 == 0:
                self.board.make()
            self.wait(100)
            self.commit()
        assert self.session.greeting is not None
        assert self.session.greeting.boot == self.board.boot
        assert self.session.commands_waiting == 0
        assert not self.board.ring
        known = {n for boot, n in self.delivered if boot == self.board.boot}
        known |= self.gaps.get(self.board.boot, set())
        assert known == set(range(1, self.board.event + 1))
        for command in self.sent:
            assert (command.id in self.answers) != (command.id in self.abandoned)
        assert self.session.in_flight_bytes < HOST_LINE_BYTES_MAX
        wake_ns = self.session.wake_at_ns
        assert wake_ns is None or wake_ns > self.now_ns


TestSession = pytest.mark.slow(SessionMachine.TestCase)
TestSession.settings = settings(max_examples=60, stateful_step_count=40)
