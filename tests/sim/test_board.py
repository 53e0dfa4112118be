"""The simulated board as a thing of its own: its clock, its wires, what stops a run."""

from __future__ import annotations

import pytest

from protocols.framing import LineDecoder, frame
from protocols.messages import Beat, Bench, Boot, decode
from sim.board import SAFE_PINS, Board, build_word
from sim.machine import STOP_LINE, STOP_STEPS
from tests.firmware.talk import Talk


def _messages(data: bytes) -> list[object]:
    return [decode(line) for line in LineDecoder().feed(data) if isinstance(line, bytes)]


def test_it_greets_with_the_hash_of_its_sources() -> None:
    board = Board()
    board.run_until(20_000)
    bench, boot = (m for m in _messages(board.tx()) if isinstance(m, (Bench, Boot)))
    assert isinstance(bench, Bench)
    assert (bench.board, bench.build, len(bench.build)) == ("host", build_word(), 8)
    assert isinstance(boot, Boot)


def test_time_passes_to_the_moment_asked_for() -> None:
    board = Board(now_us=5_000_000)
    assert board.now_us == 5_000_000
    board.run_until(5_000_123)
    assert board.now_us == 5_000_123
    board.run_until(4_000_000)
    assert board.now_us == 5_000_123
    assert board.run_for(1000, stop=0) == 1000


def test_a_run_stops_at_a_line_and_the_byte_time_is_40_us() -> None:
    board = Board()
    board.run_until(1_000_000, STOP_LINE)
    line = board.tx()
    assert line.startswith(b"bench 1 ")
    assert line.endswith(b"\n")
    assert board.now_us == 40 * len(line)
    assert board.run_for(1_000_000) < 1_000_000


def test_bytes_to_the_board_take_their_time() -> None:
    board = Board()
    board.run_until(500_000)
    board.tx()
    line = frame(b"hello")
    board.rx(line)
    board.run_until(500_000 + 40 * len(line) - 1)
    assert b"bench" not in board.tx()
    board.run_for(10_000, stop=0)
    assert b"bench" in board.tx()


def test_what_finds_no_room_is_lost() -> None:
    board = Board()
    assert board.rx(b"x" * 5000) == 4096


def test_a_reset_keeps_eeprom_and_starts_the_boards_clock() -> None:
    board = Board(board_us=1_000_000)
    board.run_until(250_000)
    first = _messages(board.tx())
    board.reset(3, board_us=7_000_000)
    board.run_until(500_000)
    second = _messages(board.tx())
    benches = [m for m in (*first, *second) if isinstance(m, Bench)]
    assert [b.cause for b in benches] == ["power", "watchdog"]
    assert benches[1].boot == benches[0].boot + 1
    beats = [m for m in second if isinstance(m, Beat)]
    assert 7_000_000 <= beats[0].t_us < 7_010_000
    assert board.now_us == 500_000


def test_runs_are_the_same_every_time() -> None:
    def once() -> tuple[bytes, list[int], list[object]]:
        talk = Talk().wake()
        talk.board.trace_steps(10_000)
        talk.plan()
        talk.start()
        talk.ended()
        return repr(talk.heard).encode(), talk.board.traced_half_us(), [*talk.board.edges()]

    assert once() == once()


def test_small_slices_change_nothing() -> None:
    """Cutting time finer gives the same pulses and the same lines."""
    runs = []
    for slice_us in (137, 10_000):
        talk = Talk("eye", "local").wake()
        start_us = talk.now_us
        talk.plan()
        talk.leasing = False
        talk.board.trace_steps(10_000)
        talk.start()
        talk.leasing = True
        while talk.now_us < start_us + 700_000:
            talk.run(slice_us / 1000)
        runs.append(talk.board.traced_half_us()[:1000])
    assert runs[0] == runs[1]


def test_it_stops_after_so_many_steps() -> None:
    talk = Talk().wake()
    talk.board.stop_every_steps(100)
    talk.move(0, 1000, 4000)
    start = talk.board.steps
    stops = []
    while len(stops) < 5:
        if talk.board.run_until(talk.now_us + 1_000_000, STOP_STEPS) & STOP_STEPS:
            stops.append(talk.board.steps)
    first = start - start % 100
    assert stops == [first + 100 * k for k in range(1, 6)]


@pytest.mark.parametrize("mask", [0, 1 << 3])
def test_pins_do_not_act_before_they_are_fitted(mask: int) -> None:
    board = Board()
    board.set_inputs(mask)
    board.run_until(300_000)
    beats = [m for m in _messages(board.tx()) if isinstance(m, Beat)]
    assert beats[-1].pins == 0b10011
    assert beats[-1].latches == 1 << 19
    board.set_inputs(SAFE_PINS)
