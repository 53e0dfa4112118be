"""What every screen shows of a frozen status is what was looked at and kept."""

from __future__ import annotations

import re

import pytest

from tests.tui import snapshots
from tui.paper import STYLES
from tui.screens.table import SCREENS


@pytest.mark.slow
def test_every_screen_shows_what_is_kept_of_it() -> None:
    """If not, look at the difference, then: python -m tests.tui.snapshots."""
    made, pictures = snapshots.make()
    names = {screen.name for screen in SCREENS.values()}
    assert set(made) == {*(f"{name.lower()}.txt" for name in names), snapshots.PICTURES}
    states = [
        f"{size}, {state}{kind}"
        for state in ("normal", "abnormal")
        for size in ("80x24", "120x40")
        for kind in ("", ", mono")
    ]
    assert set(pictures) == {f"{name}, {state}" for name in names for state in states}
    for file, text in made.items():
        kept = (snapshots.FOLDER / file).read_text("utf-8")
        if file != snapshots.PICTURES:
            assert re.findall(r"^== (.*)$", kept, re.MULTILINE) == states
        assert text.splitlines() == kept.splitlines(), file


def test_what_colour_says_is_said_without_it() -> None:
    """Marks that stop or warn are bold or reversed too."""
    for mark, style in STYLES.items():
        if style.color is not None:
            assert style.bold, mark
