"""Every pulse counts: whatever interrupts a move, the board's position is what went out."""

from __future__ import annotations

import random

import pytest

from protocols.framing import frame
from protocols.messages import Clear, Drive, Here, Move, Moved, Phase, Stop, Tally
from sim.avr.tools import CPU_HZ
from tests.sim.avr.avr_talk import AvrTalk

pytestmark = pytest.mark.slow

MOVES = 1000
PARTS = 4
ACCEL = 400_000


def interrupt(talk: AvrTalk, rng: random.Random) -> None:
    """Do one of the things that end a move before its time."""
    match rng.randrange(5):
        case 0 | 1:
            talk.board.rx(frame(b"stop 0"))
        case 2:
            talk.board.rx(frame(b"stop 1"))
        case _:
            name = rng.choice(["guard", "stop"])
            edge = talk.board.cycle + rng.randrange(1600)
            talk.board.pin_at(edge, name, False)
            talk.board.pin_at(edge + 16_000 * rng.randint(1, 5), name, True)
            talk.board.run_until_cycle(edge + 16_000 * 6)


@pytest.mark.parametrize("part", range(PARTS))
def test_positions_are_exact_after_interrupted_moves(seed: int, part: int) -> None:
    """Each part makes its share of the moves that were interrupted; those that came to their end
    first are checked as well, and not counted."""
    rng = random.Random(seed + part)
    talk = AvrTalk("guard", "stop", "eye", "local", speed_max=20_000, accel=ACCEL,
                   stop_decel=ACCEL)  # fmt: skip
    talk.wake()
    interrupted = reached = 0
    while interrupted < MOVES // PARTS:
        began = talk.board.steps
        speed = rng.choice([200, 1000, 5000, 20_000])
        distance = rng.choice([1, -1]) * rng.randint(speed // 50, speed // 5)
        start = len(talk.heard)
        talk.do(Move, 0, distance, speed, talk.nonce)
        lasts_s = abs(distance) / speed + speed / ACCEL
        talk.board.run_until_cycle(talk.board.cycle + int(rng.random() * lasts_s * CPU_HZ))
        interrupt(talk, rng)
        talk.until(lambda start=start: bool(talk.of(Moved, start)), 20_000)  # type: ignore[misc]
        moved = talk.of(Moved, start)[-1]
        went = talk.board.steps - began
        # The direction line is low in reverse (limit `direction` 0).
        assert moved.position == went
        if went == distance:
            reached += 1
        else:
            interrupted += 1
            assert 0 <= went * (1 if distance > 0 else -1) < abs(distance)
        talk.pins(guard=True, stop=True)
        talk.run(30)
        recover(talk)
    assert reached < interrupted
    assert talk.board.overruns == 0


def recover(talk: AvrTalk) -> None:
    """Ready for the next move, at position 0."""
    for number in (1, 2, 18):
        talk.do(Clear, number)
    talk.do(Drive, 1)
    talk.do(Here, 0)


def test_a_portion_is_told_whole_wherever_its_last_step_falls() -> None:
    """The last step of each of these strokes falls on another moment of the main loop's pass."""
    talk = AvrTalk()
    talk.wake()
    talk.eye(True)
    for push in range(20, 60):
        talk.do(Here, 0)
        talk.plan(push, take_up=0, push=push)
        start = len(talk.heard)
        talk.start(push)
        talk.until(lambda start=start: len(talk.of(Phase, start)) == 3)  # type: ignore[misc]
        talk.say(Stop(0))
        talk.ended()
        (tally,) = talk.of(Tally, start)
        assert (tally.asked, tally.made) == (push, push)
