"""Cards lying in a folder, as the screens offer them."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

BYTES_MAX = 256 * 1024
"""A longer file is no card."""


class Card(NamedTuple):
    """A card: the name of its file, "bench" or "dough", its text."""

    name: str
    kind: str
    text: str


def cards_in(folder: str) -> list[Card]:
    """Return the cards of a folder, by name; what cannot be read, or is no card, is left out."""
    found = []
    for path in sorted(Path(folder).glob("*.y*ml")):
        try:
            if path.stat().st_size > BYTES_MAX:
                continue
            text = path.read_text("utf-8")
        except (OSError, UnicodeDecodeError):
            continue
        kind = kind_of(text)
        if kind:
            found.append(Card(path.name, kind, text))
    return found


def dough_cards(folder: str) -> list[Card]:
    """Return the dough cards of a folder, by name."""
    return [card for card in cards_in(folder) if card.kind == "dough"]


def chosen_of(cards: list[Card], name: str) -> Card | None:
    """Return the card of that name, else the first; None when there is none."""
    return next((card for card in cards if card.name == name), next(iter(cards), None))


def kind_of(text: str) -> str:
    """Return which card a text is, by its first key; "" when it is none."""
    for line in text.splitlines():
        key = line.split(":", 1)[0]
        if key in ("bench", "dough"):
            return key
    return ""
