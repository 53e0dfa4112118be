"""The first picture, drawn before the library of the screens is loaded."""

from __future__ import annotations

import subprocess
import sys

import pytest

from protocols.status import Abnormal
from tests.quiet_status import told
from tui import first

GUARD = Abnormal("IL-02", 3, "Guard open.", "The drive is off.", "Shut it.", 1, True, "prove")


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (60, 12), (80, 3)])
def test_it_says_state_energy_and_that_no_key_counts_yet(size: tuple[int, int]) -> None:
    status = told(state="TRIPPED", abnormals=(GUARD,), not_watched=("thrust",))
    lines = [line.text for line in first.lines("maize", status, *size)]
    assert len(lines) <= size[1]
    assert max(map(len, lines)) <= size[0]
    assert lines[0].startswith("TRIPPED")
    assert lines[-1] == first.OPENING[: size[0]]
    if size[1] > 3:
        assert any(line.startswith("ENERGY") for line in lines)
        assert any(line.startswith("!3 STOP") for line in lines)
    assert "SPACE = stop now" not in "\n".join(lines), "it is not true yet"


def test_what_draws_it_begins_at_the_top_and_never_scrolls() -> None:
    drawn = first.drawn(first.lines("maize", told(), 80, 24), 80)
    assert drawn.startswith("\x1b[H")
    assert drawn.count("\n") == 23


@pytest.mark.slow
def test_it_needs_no_library_of_the_screens() -> None:
    heavy = ("textual", "rich", "asyncio", "msgspec")
    code = f"import sys, tui.first; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
