"""Cards as they are read on a screen."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.fake_daemon import FakeDaemon
from tests.tui.rig import said_in, screens
from tests.waiting import until
from tui.said import keyed
from tui.screens.cards import _folded

EXAMPLES = sorted((Path(__file__).parents[2] / "benchd" / "examples").glob("*.yaml"))


@pytest.mark.parametrize("card", EXAMPLES, ids=lambda path: path.stem)
def test_a_card_keeps_every_word_and_every_comment_stays_one(card: Path) -> None:
    text = card.read_text().splitlines()
    shown = [line.text for line in _folded(text, 80)]
    assert max(map(len, shown)) <= 80

    def words(lines: list[str]) -> str:
        return re.sub(r"[#\s]", "", "".join(lines))

    assert words(shown) == words(text)
    keys = [line for line in text if line and "#" not in line[:1]]
    told = [line for line in shown if re.match(r" *[a-z_]+:", line)]
    assert len(told) == sum(bool(re.match(r" *[a-z_]+:", line)) for line in keys)


def test_a_comment_is_filled_anew_and_its_items_stay_apart() -> None:
    text = [
        "# One sentence that goes on to where the line of the card ends, eighty signs and more on,",
        "# and then on.",
        "# - An item.",
        "# short",
        "key: 1  # what is said behind a key, at such a length that it does not fit into one line",
    ]
    assert [line.text for line in _folded(text, 80)] == [
        "# One sentence that goes on to where the line of the card ends, eighty signs and",
        "# more on, and then on.",
        "# - An item.",
        "# short",
        "key: 1  # what is said behind a key, at such a length that it does not fit into",
        "        # one line",
    ]


@pytest.mark.slow
async def test_two_kinds_of_cards_are_not_compared(
    peer: FakeDaemon, socket_at: str, folder: str
) -> None:
    async with screens(socket_at, "c", folder=folder) as (app, pilot):
        page = app.page
        kinds = [card.kind for card in page._cards]  # type: ignore[attr-defined]
        other = next(n for n, kind in enumerate(kinds) if kind != kinds[0])
        await pilot.press("k", *["down"] * other, "d")
        await until(lambda: "only two of a kind can be compared" in said_in(app))
        assert page._read is None  # type: ignore[attr-defined]


def test_the_key_of_the_screen_that_is_shown_is_left_out() -> None:
    text = "Shut it, then 'benchd clear IL-02'; 'benchd here' says."
    assert keyed(text, "i") == "Shut it, then key ENTER; keys f,h say."
    assert keyed(text) == "Shut it, then keys i,ENTER; keys f,h say."
