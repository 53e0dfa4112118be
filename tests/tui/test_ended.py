"""A move that ended, in words."""

from __future__ import annotations

import pytest

from tui.ended import how_far


@pytest.mark.parametrize(
    ("moved_m", "says"),
    [
        (-0.000004, "Moved +0.00 mm (relieved)"),
        (-0.000006, "Moved -0.01 mm (relieved)"),
        (0.0127, "Moved +12.70 mm (relieved)"),
        (None, "Moved an unknown way (relieved)"),
    ],
)
def test_how_far_a_move_went(moved_m: float | None, says: str) -> None:
    assert how_far({"moved_m": moved_m, "ending": "relieved"}) == says
