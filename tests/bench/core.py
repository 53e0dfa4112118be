"""Speed of the simulated board."""

from __future__ import annotations

import time
from typing import NamedTuple

from protocols.framing import frame
from protocols.messages import MESSAGES, Event, Here
from sim.board import Board
from tests.firmware.talk import AIR, EYE_DOUGH, NO_FORCE, SMALLEST, Talk

QUANTUM_US = 10_000
PORTION_S = 4
PINS = 0b10111
EVENTS = {tag.encode() for tag, spec in MESSAGES.items() if issubclass(spec.cls, Event)}


class Speed(NamedTuple):
    """Simulated seconds per second of processor time, and what was done in them."""

    ratio: float
    simulated_s: int
    portions: int


def core_speed(portions: int = 300) -> Speed:
    """Measure a portion every 4 s with a plant that does next to nothing.

    A Python loop in slices of 10 ms sets the inputs, lets the board run, reads bytes and steps, and
    returns a lease for each beat.
    """
    talk = Talk(*SMALLEST).wake()
    board = talk.board
    adc = [EYE_DOUGH, NO_FORCE, AIR]
    steps = 0
    start_s = time.process_time()
    for portion in range(1, portions + 1):
        end_us = board.now_us + PORTION_S * 1_000_000
        _begin(talk, portion)
        rest = b""
        while board.now_us < end_us:
            board.set_inputs(PINS, adc, 5000)
            board.run_until(board.now_us + QUANTUM_US)
            sent = rest + board.tx()
            if b"\n" in sent:
                *lines, rest = sent.split(b"\n")
                _reply(board, lines)
            steps = board.steps
        del talk.heard[:]
    used_s = time.process_time() - start_s
    assert steps
    return Speed(portions * PORTION_S / used_s, portions * PORTION_S, portions)


def _reply(board: Board, lines: list[bytes]) -> None:
    for line in lines:
        word, _, tail = line.partition(b" ")
        number = tail.partition(b" ")[0]
        if word == b"beat":
            board.rx(frame(b"lease " + number))
        elif word in EVENTS:
            board.rx(frame(b"seen " + number))


def _begin(talk: Talk, portion: int) -> None:
    talk.run(150)
    talk.do(Here, 0)
    talk.plan(portion)
    talk.start(portion)


if __name__ == "__main__":
    print(core_speed())
