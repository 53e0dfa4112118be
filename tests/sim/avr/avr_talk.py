"""The host of the firmware's tests, speaking to the machine code, and what branches off a run."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from typing import Any, TypeVar

from sim.avr.board import AvrBoard
from tests.firmware.talk import Talk

T = TypeVar("T")
STEP_CYCLES = 800
"""One step at 20000 steps/s."""


class AvrTalk(Talk):
    """As Talk; the 8-bit board has no clock that could be set."""

    board: AvrBoard  # type: ignore[assignment]

    def power_up(self, board_us: int) -> Any:
        """The board to speak to."""
        assert board_us == 0
        return AvrBoard()


def at_full_speed(*parts: str, **limits: int) -> AvrTalk:
    """A bench whose feed runs forward at 20000 steps/s."""
    talk = AvrTalk(*parts, speed_max=20_000, accel=500_000, stop_decel=500_000, **limits)
    talk.wake()
    talk.move(0, 90_000, 20_000)
    talk.run(100)
    return talk


def branch(do: Callable[[], T]) -> T:
    """Do something in a copy of this process, so that nothing here changes; return its result."""
    ear, mouth = os.pipe()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            os.close(ear)
            with os.fdopen(mouth, "wb") as out:
                pickle.dump(do(), out)
            status = 0
        finally:
            os._exit(status)
    os.close(mouth)
    with os.fdopen(ear, "rb") as came:
        data = came.read()
    _, status = os.waitpid(child, 0)
    assert status == 0, "the branch failed; what it said stands above"
    result: T = pickle.loads(data)
    return result


def after_edge(talk: AvrTalk, pin: str, offset: int) -> tuple[int, int]:
    """Open a contact so many cycles from now; return how many pulses followed, and the cycles from
    the edge to the last of them (0 for none)."""

    def do() -> tuple[int, int]:
        board = talk.board
        edge = board.cycle + offset
        board.pin_at(edge, pin, False)
        board.trace_steps(1000)
        board.run_until_cycle(edge + 20 * STEP_CYCLES)
        later = [cycle - edge for cycle in board.traced_cycles() if cycle >= edge]
        return len(later), max(later, default=0)

    return branch(do)
