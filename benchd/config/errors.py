"""What is said when a card cannot be used."""

from __future__ import annotations

from collections.abc import Iterable

TOLD_MAX = 50
"""Most mistakes told of one card; who made more has given us something that is no card."""

SENTENCE_MAX = 400
"""Longest sentence told; what a card holds may be of any length."""


class CardError(ValueError):
    """A card cannot be used. `sentences`: every mistake, with file and line, in order of lines."""

    def __init__(self, sentences: Iterable[str]) -> None:
        self.sentences: tuple[str, ...] = tuple(sentences)
        super().__init__("\n".join(self.sentences))


class Problems:
    """Mistakes found so far in one card, by line."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._found: list[tuple[int, str]] = []

    def add(self, line: int, sentence: str) -> None:
        """Note one mistake; line 0 is the card as a whole."""
        self._found.append((line, printable(sentence)))

    def __bool__(self) -> bool:
        return bool(self._found)

    @property
    def full(self) -> bool:
        """Whether more mistakes are here than are told, so that none needs a hint any more."""
        return len(self._found) > TOLD_MAX

    def sentences(self) -> tuple[str, ...]:
        """Return every mistake with file and line, in order of lines; at most TOLD_MAX."""
        found = sorted(self._found, key=lambda pair: pair[0])
        told = [
            f"{self.name}, line {line}: {text}" if line else f"{self.name}: {text}"
            for line, text in found[:TOLD_MAX]
        ]
        if len(found) > TOLD_MAX:
            told.append(f"{self.name}: has {len(found) - TOLD_MAX} more mistakes after these.")
        return tuple(told)

    def raise_if_any(self) -> None:
        """Raise CardError with everything found, if anything was."""
        if self._found:
            raise CardError(self.sentences())


def printable(text: str) -> str:
    """Return a text that a terminal shows and does not obey, shortened in its middle."""
    plain = "".join(sign if sign.isprintable() else "\ufffd" for sign in text)
    if len(plain) <= SENTENCE_MAX:
        return plain
    half = SENTENCE_MAX // 2
    return f"{plain[:half]} ... {plain[-half:]}"
