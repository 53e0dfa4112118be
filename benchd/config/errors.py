"""What is said when a card cannot be used."""

from __future__ import annotations

from collections.abc import Iterable


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
        self._found.append((line, sentence))

    def __bool__(self) -> bool:
        return bool(self._found)

    def raise_if_any(self) -> None:
        """Raise CardError with everything found, if anything was."""
        if self._found:
            raise CardError(
                f"{self.name}, line {line}: {text}" if line else f"{self.name}: {text}"
                for line, text in sorted(self._found, key=lambda pair: pair[0])
            )
