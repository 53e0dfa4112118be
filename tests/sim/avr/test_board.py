"""The machine code in its chip: it greets, keeps time, remembers its boots, and is off at once."""

from __future__ import annotations

from itertools import pairwise

import pytest

from protocols.codes import CAUSES
from protocols.framing import LineDecoder, frame
from protocols.messages import Beat, Bench, BoardMessage, Boot, decode
from sim.avr import memory, tools
from sim.avr.board import STOP_RESET, AvrBoard
from sim.board import SAFE_PINS
from sim.machine import STOP_LINE


def messages(data: bytes) -> list[BoardMessage]:
    """The lines in these bytes, all of them good."""
    found = [decode(line) for line in LineDecoder().feed(data) if isinstance(line, bytes)]
    assert len(found) == data.count(b"\n")
    return [message for message in found if isinstance(message, BoardMessage)]


def booted(data: bytes) -> Bench:
    """The first greeting in these bytes."""
    return next(message for message in messages(data) if isinstance(message, Bench))


def test_it_greets_with_the_hash_of_its_sources() -> None:
    board = AvrBoard()
    board.run_until(50_000)
    heard = messages(board.tx())
    bench = heard[0]
    assert isinstance(bench, Bench)
    assert (bench.board, bench.build) == ("328p", tools.build_word())
    assert any(isinstance(message, Boot) for message in heard)


@pytest.mark.parametrize(("baud", "cycles"), [(250_000, 640), (115_200, 1360)])
def test_bytes_take_their_time_on_the_line(baud: int, cycles: int) -> None:
    """Ten bits a byte, 115200 being 2.1 % fast (the chip's data sheet, asynchronous double
    speed)."""
    board = AvrBoard(baud=baud)
    board.run_until(5_000)
    assert board.byte_cycles == cycles
    board.run_until(150_000)
    board.tx()
    start = board.cycle
    board.rx(frame(b"hello"))
    board.run_until_cycle(start + cycles * len(frame(b"hello")))
    assert b"bench" not in board.tx()
    board.run_for(20_000, stop=0)
    assert b"bench" in board.tx()
    assert board.overruns == 0


def test_a_run_ends_where_it_was_asked_to_even_in_sleep() -> None:
    board = AvrBoard()
    for cycle in (1, 700_000, 700_003, 900_001):
        board.run_until_cycle(cycle)
        # An instruction takes at most five cycles, an interrupt's way in included.
        assert 0 <= board.cycle - cycle <= 5
    assert board.run_for(1_000_000, STOP_LINE) < 1_000_000


def test_beats_come_by_the_boards_own_clock() -> None:
    board = AvrBoard()
    board.run_until(1_000_000)
    beats = [m for m in messages(board.tx()) if isinstance(m, Beat)]
    assert len(beats) >= 9
    assert all(abs(b.t_us - a.t_us - 100_000) <= 1500 for a, b in pairwise(beats))


@pytest.mark.parametrize("cause", range(len(CAUSES)), ids=CAUSES)
def test_a_restart_says_its_cause_and_counts(cause: int) -> None:
    board = AvrBoard(boot=41)
    board.run_until(30_000)
    assert booted(board.tx()).boot == 41
    board.reset(cause)
    board.run_for(30_000, stop=0)
    bench = booted(board.tx())
    assert (bench.cause, bench.boot) == (CAUSES[cause], 42)


def test_a_main_loop_that_hangs_is_restarted_by_the_watchdog() -> None:
    board = AvrBoard()
    board.set_inputs(SAFE_PINS)
    board.run_until(30_000)
    board.tx()
    start_us = board.now_us
    board.hang(200)
    assert board.run_until(start_us + 150_000, STOP_RESET) & STOP_RESET
    assert 55_000 <= board.now_us - start_us <= 75_000
    board.run_for(30_000, stop=0)
    assert booted(board.tx()).cause == "watchdog"


@pytest.mark.slow
@pytest.mark.parametrize("cycles", range(0, 6000, 1733))
def test_a_reset_ends_a_hang_wherever_it_was(cycles: int) -> None:
    """The loop hangs where its next pass begins; whichever place that is, the restart runs on."""
    board = AvrBoard()
    board.set_inputs(SAFE_PINS)
    board.run_until_cycle(30_000 * 16 + cycles)
    board.tx()
    board.hang(10_000)
    board.run_for(20_000, stop=0)
    board.reset(1)
    board.run_for(300_000, stop=0)
    heard = messages(board.tx())
    assert [m.cause for m in heard if isinstance(m, Bench)] == [CAUSES[1]]
    assert sum(isinstance(m, Beat) for m in heard) >= 2


@pytest.mark.parametrize(
    ("copies", "boot"),
    [
        ((), 0),
        ((memory.record(1, boot=9),), 10),
        ((memory.record(1, boot=9), memory.record(2, boot=10)), 11),
        ((memory.record(0, boot=10), memory.record(255, boot=9)), 11),
        ((memory.record(1, boot=9), memory.record(2, boot=10)[:-1] + b"\0"), 10),
        ((b"\0" * 8, b"\0" * 8), 0),
        ((b"\xff" * 8, memory.record(7, boot=65535)), 0),
    ],
)
def test_the_newest_whole_copy_counts(copies: tuple[bytes, ...], boot: int) -> None:
    board = AvrBoard(stored=memory.image(*copies))
    board.run_until(60_000)
    assert booted(board.tx()).boot == boot
    stored = board.stored()
    held = [stored[at : at + 8] for at in memory.PLACES]
    assert any(copy[1:3] == boot.to_bytes(2, "little") for copy in held)
    # The other copy is as it was, so that a supply that fails now costs nothing.
    before = (*copies, b"\xff" * 8, b"\xff" * 8)
    assert sum(held[i] != before[i] for i in range(2)) == 1


def test_it_is_deterministic() -> None:
    def once() -> bytes:
        board = AvrBoard(boot=3)
        board.run_until(100_000)
        board.rx(frame(b"hello"))
        board.run_until(200_000)
        return board.tx()

    assert once() == once()
