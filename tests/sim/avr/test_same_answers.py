"""The machine code on the chip answers as the core on this machine does: one firmware, two
compilers, two sizes of an int."""

from __future__ import annotations

import pytest

from protocols.codes import MOVE_ENDINGS, MOVES
from tests.firmware.talk import Talk
from tests.sim.avr.avr_talk import AvrTalk
from tests.sim.avr.pair import Pair

pytestmark = pytest.mark.slow

LINES = 10_000
PARTS = 4


@pytest.mark.parametrize("part", range(PARTS))
def test_random_lines_and_pins_get_identical_answers(seed: int, part: int) -> None:
    pair = Pair(seed + part)
    while pair.lines < LINES // PARTS:
        pair.something()
    assert pair.all_taken()
    assert pair.both[1].board.overruns == 0
    # What was compared must have been worth it.
    assert pair.answers > 0.7 * pair.lines
    assert pair.pins > 50
    assert pair.events > 20


@pytest.mark.parametrize(("kind", "most"), [(Talk, 0), (AvrTalk, 1)])
def test_a_relieve_that_finds_nothing_ends_at_once(kind: type[Talk], most: int) -> None:
    """On the chip its first step goes out before the main loop looks; both keep to the wire's law,
    and a stroke is then refused for 100 ms on one of them only."""
    talk = kind().wake()
    talk.move(MOVES.index("relieve"), -1000)
    moved = talk.moved()
    assert MOVE_ENDINGS[moved.reason] == "relieved"
    assert moved.position == talk.board.steps
    assert -most <= moved.position <= 0
