"""The pictures of the README are those of the real screens."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.tui.pictures import FOLDER, PICTURES, picture

README = Path(__file__).parents[2] / "README.md"


@pytest.mark.slow
@pytest.mark.parametrize("name", list(PICTURES))
async def test_a_picture_is_what_the_screen_shows(name: str) -> None:
    """If not: python -m tests.tui.pictures."""
    kept = (FOLDER / f"{name}.svg").read_text("utf-8")
    assert await picture(*PICTURES[name]) == kept


@pytest.mark.parametrize("name", list(PICTURES))
def test_the_readme_shows_the_picture(name: str) -> None:
    assert f"tui/pictures/{name}.svg" in README.read_text("utf-8")
