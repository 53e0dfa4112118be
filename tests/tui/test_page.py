"""The guide's page of the screens names every screen and every key of it, each with its command."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.tui.key_table import CASES
from tui.screens.table import SCREENS

PAGE = (Path(__file__).parents[2] / "benchd" / "guide" / "screens.md").read_text("utf-8")
NAMED = {"left/right": ["left", "right"], "up/down": ["up", "down"], "right/+": ["right", "+"]}
NAMED |= {"=": ["digits"], "left/-": ["left", "-"], "digits,": ["digits"], "arrows": ["arrows"]}
KEY = re.compile(r"(?:^|  )(\S+)")
ROW = re.compile(r"^\| ([^|]+) \| ([^|]+) \| ([^|]+) \|([^|]*)\|$", re.MULTILINE)

SPELLED = {"plus": "+", "minus": "-", "enter": "ENTER", "escape": "ESC"}
"""Keys of the terminal library as the page names them."""
SIGNS = {"full_stop", "comma", "minus", "equals_sign", *"0123456789"}
ARROWS = {"up", "down", "left", "right"}

LOOKS = {
    ("every", "w f t s g z i c j v"), ("every", "ESC"), ("every", "q"), ("Feed", "k"),
    ("Weigh", "backspace; delete, ESC"), ("Why", "a"), ("Why", "x"),
    ("Cards", "up, down, pageup, pagedown, ESC"),
}  # fmt: skip
"""What only chooses what is shown or typed here, so that a command has nothing to do likewise."""


def rows(screen: str) -> list[tuple[set[str], str]]:
    """The rows of a screen: their keys, and the command."""
    mine = [row for row in ROW.findall(PAGE) if screen in row[0].split(", ")]
    return [
        (set(re.split(r"[,; ]+", keys.strip())), command.strip()) for _, keys, _, command in mine
    ]


def on_page(screen: str, key: str) -> str:
    """A key of the terminal library as the page names it."""
    if screen == "Weigh" and key in SIGNS | ARROWS:
        return "digits" if key in SIGNS else "arrows"
    return SPELLED.get(key, key)


@pytest.mark.parametrize("key", list(SCREENS))
def test_the_keys_of_a_screen_stand_on_the_page(key: str) -> None:
    screen = SCREENS[key]
    named = {word for hint in KEY.findall(screen.hints) for word in NAMED.get(hint, [hint])}
    named |= {on_page(screen.name, case.key) for case in CASES if case.screen == screen.name}
    assert not named - {word for keys, _ in rows(screen.name) for word in keys}
    assert f" {key}" in re.search(r"\| every \| (.*) \| go to", PAGE)[0]


@pytest.mark.parametrize("key", list(SCREENS))
def test_a_key_that_asks_the_daemon_for_something_has_a_command(key: str) -> None:
    screen = SCREENS[key]
    asking = {case.key for case in CASES if case.screen == screen.name and case.asks}
    for one in asking | screen.moving:
        commands = [
            command for keys, command in rows(screen.name) if on_page(screen.name, one) in keys
        ]
        assert commands, one
        assert all(command.startswith("`benchd ") for command in commands), one


def test_a_key_without_a_command_only_chooses_what_is_shown() -> None:
    bare = {
        (names, keys.strip())
        for names, keys, _, command in ROW.findall(PAGE)
        if not command.strip()
    }
    assert bare == LOOKS
