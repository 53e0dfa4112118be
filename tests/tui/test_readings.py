"""Readings beside their limits."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from tests.quiet_status import STATUS
from tui.readings import readings_row


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"thrust_n": 204.0}, "thrust 204 N of 400"),
        ({"thrust_n": 431.0}, "thrust [431 N] of 400 N at most"),
        ({"air_pa": 1.4e5}, "thrust 8 N of 400; air [1.4 bar] of 1.5 bar at least"),
        ({"air_pa": 6.5e5, "thrust_n": None}, "air [6.5 bar] of 6.0 bar at most"),
        ({"air_pa": 0.0}, "thrust 8 N of 400"),
        ({"supply_v": 4.31}, "thrust 8 N of 400; supply [4.31 V] of 4.50 V at least"),
        ({"thrust_n": 8.0, "bounds": {}}, "thrust 8 N"),
        ({"thrust_n": None}, None),
        ({"thrust_n": 431.0, "state": "NO LINK"}, None),
    ],
)
def test_what_is_read_stands_with_its_limit_and_in_brackets_outside(
    changes: dict[str, Any], words: str | None
) -> None:
    bounds = {"thrust_n": (None, 400.0), "air_pa": (1.5e5, 6e5), "supply_v": (4.5, None)}
    status = msgspec.structs.replace(STATUS, **{"bounds": bounds, **changes})
    row = readings_row(status)
    assert (None if row is None else row.text) == words
