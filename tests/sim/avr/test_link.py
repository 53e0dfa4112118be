"""No byte from the host is lost while the feed runs, as long as the host keeps to the window."""

from __future__ import annotations

import pytest

from protocols.framing import frame
from protocols.limits import WINDOW_BYTES
from protocols.messages import Moved, No, Stop, Yes
from tests.sim.avr.avr_talk import AvrTalk

pytestmark = pytest.mark.slow

FILLER = frame(b"seen 0")


class Flood:
    """Sends as much as the window allows, all the time; every line is good."""

    def __init__(self, talk: AvrTalk) -> None:
        self.talk = talk
        talk.leasing = talk.acknowledging = False
        talk.run(30)
        self.taken = self.sent = talk.beat().taken
        self.lines = 0
        self.seen = len(talk.heard)

    def go_on(self, ms: float) -> None:
        """Keep the window full for some time."""
        end_us = self.talk.now_us + round(ms * 1000)
        while self.talk.now_us < end_us:
            self._fill()
            self.talk.run(0.2)
            for message in self.talk.heard[self.seen :]:
                taken = getattr(message, "taken", None)
                if taken is not None:
                    self.taken = taken
            self.seen = len(self.talk.heard)

    def _fill(self) -> None:
        """A command, a lease when one is due, and what fits behind them."""
        talk = self.talk
        command = frame(f"lock {talk.last_id + 1} 0".encode())
        if self._room() < WINDOW_BYTES:
            return  # the answer to the last command tells that all was taken
        talk.last_id += 1
        lines = [command, frame(f"lease {talk.nonce}".encode())]
        while sum(map(len, lines)) + len(FILLER) <= WINDOW_BYTES:
            lines.insert(0, FILLER)
        for line in lines[:-2] + lines[:-3:-1]:
            assert talk.board.rx(line) == len(line)
            self.sent += len(line)
            self.lines += 1

    def _room(self) -> int:
        return WINDOW_BYTES - (self.sent - self.taken) % 65536


@pytest.mark.parametrize("accel", [500_000, 400_000, 20_000])
def test_interrupts_are_never_off_for_longer_than_a_byte(accel: int) -> None:
    """Longer ones came from a division that the compiler had put behind a lock; they held up a step
    by half its time, and once in some hundred stops a byte was lost."""
    talk = AvrTalk("guard", "stop", "eye", "local", speed_max=20_000, accel=accel,
                   stop_decel=accel)  # fmt: skip
    talk.wake()
    talk.move(0, 90_000, 20_000)
    talk.board.longest_deaf()  # the start is longer, and hears nobody
    talk.run(1200)
    talk.say(Stop(0))
    moved = talk.moved()
    assert 0 < moved.position < 90_000
    cycles, place = talk.board.longest_deaf()
    assert cycles <= talk.board.byte_cycles, f"at {place:#x}"


@pytest.mark.parametrize(
    ("speed", "accel"), [(20_000, 500_000), (20_000, 20_000), (4000, 2000), (100, 100)]
)
def test_nothing_is_lost_while_the_window_is_kept_full(speed: int, accel: int) -> None:
    talk = AvrTalk("guard", "stop", "eye", "local", speed_max=20_000, accel=accel,
                   stop_decel=accel)  # fmt: skip
    talk.wake()
    bad = talk.beat().bad
    flood = Flood(talk)
    talk.last_id += 1
    distance = min(30_000, speed * speed // accel + speed)
    move = frame(f"move {talk.last_id} 0 {distance} {speed} {talk.nonce}".encode())
    talk.board.rx(move)
    flood.sent += len(move)
    start = len(talk.heard)
    for _ in range(100):
        flood.go_on(100)
        if talk.of(Moved, start):
            break
    assert talk.of(Moved, start)
    assert abs(talk.board.steps) == distance
    talk.run(50)
    beat = talk.beat()
    assert talk.board.overruns == 0
    assert beat.bad == bad
    assert beat.taken == flood.sent % 65536
    assert not talk.of(No, start)
    assert flood.lines > 300
    assert len(talk.of(Yes, start)) > 100
