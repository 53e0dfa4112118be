"""The machine code on the chip answers as the core on this machine does: one firmware, two
compilers, two sizes of an int."""

from __future__ import annotations

import pytest

from tests.sim.avr.pair import Pair

LINES = 10_000


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_random_lines_and_pins_get_identical_answers(seed: int, part: int) -> None:
    pair = Pair(seed + part)
    while pair.lines < LINES // 4:
        pair.something()
    assert pair.all_taken()
    assert pair.both[1].board.overruns == 0
    # What was compared must have been worth it.
    assert pair.answers > 0.5 * pair.lines
    assert pair.pins > 50
    assert pair.events > 50
