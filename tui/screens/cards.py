"""The screen *Cards*: read the cards of this folder, compare two, choose the one to portion by."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tui import view
from tui.cards import Card, cards_in, chosen_of
from tui.frame import Line, fold
from tui.screens.base import Desk, Press, Screen

TITLE = 50
"""Columns of a title at most."""

BEGINNING_LEAST = 5
"""Lines below the list from which on the chosen card is shown there."""


class Cards(Screen):
    """A list of cards; one read, or the difference of two."""

    name = "Cards"
    hints = (
        "up/down choose or scroll  ENTER read  k mark  d what changed from the marked one  "
        "u portion by it  l plan of it"
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._cards: list[Card] = []
        self._at = 0
        self._marked = ""
        self._read: list[str] | None = None
        self._title = ""
        self._from = 0

    def shown(self) -> None:
        """Look what lies in the folder."""
        self._cards = cards_in(self.desk.folder)
        self._at = min(self._at, max(len(self._cards) - 1, 0))
        self._read = None

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return the list, or the text that is read."""
        if self._read is not None:
            text = _folded(self._read, width)
            last = max(len(text) - room + 1, 0)
            self._from = min(self._from, last)
            shown = text[self._from : self._from + room - 1]
            of = f"lines {self._from + 1} to {self._from + len(shown)} of {len(text)}"
            title = Line(f"{self._title}; {of}; ESC goes back"[:width], "strong")
            return [title, *shown]
        if not self._cards:
            none = f"No card lies in {self.desk.folder}: 'benchd init' writes examples."
            return fold(none, width)
        first = min(max(self._at - room // 2, 0), max(len(self._cards) - room, 0))
        listed = [
            self._line(n, card) for n, card in enumerate(self._cards[first : first + room], first)
        ]
        return [*listed, *self._beginning(width, room - len(listed))]

    def _beginning(self, width: int, room: int) -> list[Line]:
        """Return how the chosen card begins, where there is room for that."""
        if room < BEGINNING_LEAST:
            return []
        card = self._cards[self._at]
        text = card.text.splitlines()
        # What stands above its first key is said to whoever reads it whole.
        first = next((n for n, one in enumerate(text) if one and one[0] != "#"), 0)
        shown = _folded(text[first:], width)
        of = (
            "all of it" if not first and len(shown) < room else f"from line {first + 1}; ENTER: all"
        )
        return [Line(f"- {view.plain(card.name)[:40]}; {of}", "dim"), *shown[: room - 1]]

    def _line(self, n: int, card: Card) -> Line:
        doughs = [one for one in self._cards if one.kind == "dough"]
        used = "  portioned by" if card == chosen_of(doughs, self.desk.card_name) else ""
        mark = "  marked" if card.name == self._marked else ""
        sign = ">" if n == self._at else " "
        text = f"{sign} {card.kind:<6} {view.plain(card.name)[:40]:<40}{used}{mark}"
        return Line(text, "strong" if n == self._at else "")

    def pressed(self, press: Press) -> bool:
        """Take a key."""
        if self._read is not None and press.key in ("escape", "up", "down", "pageup", "pagedown"):
            self._scroll(press.key)
            return True
        if not self._cards:
            return False
        card = self._cards[self._at]
        keys: dict[str, Callable[[], None]] = {
            "up": lambda: self._choose(-1),
            "down": lambda: self._choose(1),
            "enter": lambda: self._open(card.name, card.text.splitlines()),
            "k": lambda: self._mark(card),
            "d": lambda: self._compare(card),
            "u": lambda: self._use(card),
            "l": lambda: self._plan(card),
        }
        do = keys.get(press.key)
        if do is not None:
            do()
        return do is not None

    def _scroll(self, key: str) -> None:
        steps = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10}
        if key == "escape":
            self._read = None
        else:
            self._from = max(self._from + steps[key], 0)

    def _choose(self, step: int) -> None:
        self._at = (self._at + step) % len(self._cards)

    def _open(self, title: str, lines: list[str]) -> None:
        self._read, self._title, self._from = lines, view.plain(title)[:TITLE], 0

    def _mark(self, card: Card) -> None:
        self._marked = card.name
        self.desk.say(f"{card.name} is marked: choose another, then d.")

    def _compare(self, card: Card) -> None:
        marked = next((one for one in self._cards if one.name == self._marked), None)
        if marked is None:
            self.desk.say("No card is marked: choose one, then k.")
            return
        if marked.kind != card.kind:
            self.desk.say(
                f"{marked.name} is a {marked.kind} card and {card.name} a {card.kind} card: only "
                "two of a kind can be compared."
            )
            return
        self._open(f"{marked.name} to {card.name}", ["They are being compared."])
        waits = self._read

        def take(lines: list[str]) -> None:
            if self._read is waits:
                self._read, self._from = lines, 0

        def failed() -> None:
            take(["They could not be compared; ESC, then d compares them anew."])

        asked = {"names": [marked.name, card.name], "texts": [marked.text, card.text]}
        self.desk.study("cards", asked, take, failed)

    def _use(self, card: Card) -> None:
        if card.kind != "dough":
            self.desk.say(
                f"{card.name} is a bench card: 'benchd serve {card.name}' starts a daemon by it."
            )
            return
        self.desk.card_name = card.name
        self.desk.say(f"Portions are made by {card.name}: s, then m.")

    def _plan(self, card: Card) -> None:
        def planned(plan: Mapping[str, Any]) -> None:
            self.desk.say(
                f"{card.name}: stroke {plan['stroke_m'] * 1e3:.1f} mm, take-up "
                f"{plan['take_up_m'] * 1e3:.2f} mm, aim {plan['aim_kg'] * 1e3:.1f} g, one every "
                f"{plan['shortest_s']:.1f} s at the shortest."
            )

        if card.kind == "dough":
            self.desk.ask("plan", {"dough": card.text}, planned)
        else:
            self.desk.say(f"{card.name} is a bench card; a plan is of a dough card.")


def _folded(text: list[str], width: int) -> list[Line]:
    """Return lines of a card; those that are too long go on in the next one, and what a comment
    says there goes on with them."""
    lines: list[Line] = []
    comment: list[str] = []
    for one in [*(one.expandtabs(4) for one in text), ""]:
        if comment and not _goes_on(comment, one):
            lines += _comment(comment, width)
            comment = []
        if one.startswith("# "):
            comment.append(one)
        elif len(one) > width:
            # What is said behind a key stays a comment below it.
            at = one.find(" #") + 1
            hang = f"{' ' * at}# " if 0 < at < width // 2 else "  "
            lines += fold(one, width, hang=hang)
        else:
            lines.append(Line(view.plain(one)))
    return lines[:-1]


def _goes_on(comment: list[str], one: str) -> bool:
    """Return whether a line goes on with the sentence of the comment above it."""
    begins = len(one) - len(one.lstrip("# "))
    inset = 4 if comment[0].startswith("# - ") else 2
    return (
        one.startswith("#")
        and begins == inset
        and one[begins : begins + 1].isalnum()
        and (not comment[-1].endswith("."))
    )


def _comment(text: list[str], width: int) -> list[Line]:
    """Return lines that are one sentence or more, filled anew where one of them is too long."""
    if max(map(len, text)) <= width:
        return [Line(view.plain(one)) for one in text]
    hang = "#   " if text[0].startswith("# - ") else "# "
    return fold(" ".join([text[0], *(one.lstrip("# ") for one in text[1:])]), width, hang=hang)
