"""Skips what needs the 8-bit compiler and the chip's simulator where they are missing, and says how
to get them."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.avr import tools

HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip the tests of this folder where they cannot run."""
    missing = tools.missing_simulator()
    for item in items if missing else ():
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.skip(reason=missing))
