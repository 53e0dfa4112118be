"""The screens there are, by their keys."""

from __future__ import annotations

from tui.screens.base import Screen
from tui.screens.cards import Cards
from tui.screens.feed import Feed
from tui.screens.interlocks import Interlocks
from tui.screens.journal import Journal
from tui.screens.judge import Judge
from tui.screens.series import Series
from tui.screens.tube import Tube
from tui.screens.watch import Watch
from tui.screens.weigh import Weigh
from tui.screens.why import Why

SCREENS: dict[str, type[Screen]] = {
    "w": Watch,
    "f": Feed,
    "t": Tube,
    "s": Series,
    "g": Weigh,
    "z": Judge,
    "i": Interlocks,
    "c": Cards,
    "j": Journal,
    "v": Why,
}
"""Key to its screen, in the order they are shown; the single table of screens."""
