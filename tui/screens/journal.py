"""The screen *Journal*: what the daemon records, as it happens, and what past journals hold."""

from __future__ import annotations

from typing import Any

from tui import view
from tui.frame import Line, fold
from tui.model import Piece
from tui.said import keyed
from tui.screens.base import SCROLL, Desk, Field, Press
from tui.screens.past import PastScreen
from tui.sentences import SENTENCES, news_sentence

KINDS: tuple[str, ...] = ("all", *SENTENCES)
"""Kinds to choose from: topics of news, and of records."""

PAGE = 200
"""Entries of a past journal that are asked for at once."""


class Journal(PastScreen):
    """News since these screens opened, newest last; a past journal; or the list of journals."""

    name = "Journal"
    hints = "l which kind  n with a word  up/down scroll  end newest  o past journals"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._kind = KINDS[0]
        self._word = ""
        self._back = 0
        """Lines scrolled back from the newest."""
        self._entries: list[tuple[int, str]] = []
        self._before: int | None = None
        """The entry that the next question goes on before; None at the beginning."""
        self._waits = False
        self._asked = 0

    # What is asked.

    def _read(self, *, anew: bool) -> None:
        """Ask for the newest entries of the past journal, or for those before."""
        if anew:
            self._entries, self._before, self._back = [], None, 0
        elif self._before is None or (self._waits and "entries" not in self._failed):
            return
        asked: dict[str, Any] = {
            "journal": self._journal,
            "kind": "" if self._kind == "all" else self._kind,
            "word": self._word,
            "before": self._before,
            "count": PAGE,
        }
        self._waits = True
        self._asked += 1
        mine = self._asked

        def take(told: dict[str, Any]) -> None:
            self._waits = False
            self._entries = [*map(tuple, told["lines"]), *self._entries]
            self._before = told["from"]

        # Meanwhile another journal, kind or word may have been chosen, or the same anew.
        self._study("entries", asked, take, lambda: mine == self._asked)

    # What is shown.

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return the newest that fit."""
        if self._choosing:
            return self._list_lines(width, room)
        kinds = self._kind if self._kind != "all" else "everything"
        about = f"{kinds} with '{self._word}'" if self._word else kinds
        if self._journal:
            head = fold(f"{about}, past journal {self._journal}; ESC: the news", width, "strong")
            lines = [Line(line) for _, text in self._entries for line in _folded(text, width)]
            none = "Nothing of that kind is in it."
            if self._waits:
                none = f"{self._unread('entries').capitalize()}."
        else:
            status = self.desk.model.status
            name = status.journal if status is not None else "none"
            text = f"{about}, since these screens opened; journal {name}"
            head = fold(text, width, "strong")
            lines = [line for piece in self.desk.model.news for line in self._lines(piece, width)]
            kind = "" if about == "everything" else " of that kind"
            none = f"Nothing{kind} was recorded since."
        if not lines:
            return [*head, Line(none)]
        room = max(room - len(head), 1)
        most = max(len(lines) - room, 0)
        if self._back > most and self._journal:
            self._read(anew=False)
        self._back = min(self._back, most)
        end = len(lines) - self._back
        return [*head, *lines[max(end - room, 0) : end]]

    def _lines(self, piece: Piece, width: int) -> list[Line]:
        if self._kind not in ("all", piece.topic):
            return []
        text = keyed(news_sentence(piece.topic, piece.data))
        if not text or self._word not in text.lower():
            return []
        up = piece.topic == "trip" and piece.data.get("up")
        return [Line(line, "strong" if up else "") for line in _folded(f"{piece.at} {text}", width)]

    # What keys do.

    def pressed(self, press: Press) -> bool:
        """Choose a kind, a word or a journal; scroll."""
        if self._choosing:
            return self._in_list(press.key)
        if press.key == "l":
            self._kind = KINDS[(KINDS.index(self._kind) + 1) % len(KINDS)]
            self._changed()
        elif press.key == "n":
            self.fill_in([Field("Only what has this in it (nothing: all)")], self._with)
        elif press.key in SCROLL:
            self._back = max(self._back - SCROLL[press.key], 0)
        elif press.key == "end":
            self._back = 0
        elif press.key == "o":
            self._show_list()
        elif press.key == "escape" and self._journal:
            self._journal = ""
            self._changed()
        else:
            return False
        return True

    def _with(self, texts: list[str]) -> None:
        self._word = texts[0].lower()
        self._changed()

    def _changed(self) -> None:
        self._back = 0
        if self._journal:
            self._read(anew=True)

    def _open(self, name: str) -> None:
        self._journal = name
        self._read(anew=True)


def _folded(text: str, width: int) -> list[str]:
    return view.wrapped(view.plain(text), width, " " * 9, break_long_words=True)
