"""The screen *Judge*: whether the weights are consistent, in the words of `benchd judge`.

The judgement comes from the study process, out of the journal.
"""

from __future__ import annotations

from typing import Any

from tui import view
from tui.frame import Line
from tui.said import keyed
from tui.screens.base import SCROLL, Desk, Press
from tui.screens.past import NONE, PastScreen


class Judge(PastScreen):
    """A judgement of one journal, to be scrolled; or the list of journals."""

    name = "Judge"
    hints = "up/down scroll  y judge anew  o journals"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._text: list[str] | None = None
        self._weighed = 0
        self._from = 0

    def shown(self) -> None:
        """Look which journals there are, and judge."""
        self._ask_list()

    def _take_list(self, found: list[dict[str, Any]]) -> None:
        super()._take_list(found)
        names = self._choice.names()
        if self._choosing:
            return
        if names:
            self._ask(self._journal if self._journal in names else names[0])
        else:
            self._text = [NONE]

    def _ask(self, name: str) -> None:
        if name != self._journal:
            self._text, self._from = None, 0
        self._journal = name
        status = self.desk.model.status
        self._weighed = 0 if status is None else status.n_weighed

        def told(text: list[str]) -> None:
            self._text = text

        self._study("judge", {"journal": name}, told, lambda: name == self._journal)

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return the judgement, or the list."""
        if self._choosing:
            return self._list_lines(width, room)
        if self._text is None:
            unread = self._unread("judge" if self._journal else "journals")
            text = f"Journal {self._journal or '-'}: {unread}."
            return [Line(view.plain(text)[:width])]
        status = self.desk.model.status
        newest = self._choice.names()[:1] == [self._journal]
        more = 0 if status is None or not newest else status.n_weighed - self._weighed
        last = max(len(self._text) - room + 1, 0)
        self._from = min(self._from, last)
        shown = self._text[self._from : self._from + room - 1]
        of = f"lines {self._from + 1} to {self._from + len(shown)} of {len(self._text)}"
        since = f"; {view.several(more, 'weight')} since: y" if more > 0 else ""
        head = view.plain(f"Journal {self._journal or '-'}; {of}{since}")
        return [
            Line(head[:width], "strong"),
            *(Line(view.plain(keyed(text))[:width]) for text in shown),
        ]

    def pressed(self, press: Press) -> bool:
        """Scroll, choose a journal, judge anew."""
        if self._choosing:
            return self._in_list(press.key)
        if press.key in SCROLL:
            self._from = max(self._from + SCROLL[press.key], 0)
        elif press.key == "y":
            self.shown()
        elif press.key == "o":
            self._show_list()
        else:
            return False
        return True

    def _open(self, name: str) -> None:
        self._from = 0
        self._ask(name)
