"""What screens share that show past journals: which journals and archives there are, to choose one
of, and what stands where an answer of the study process has not come."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tui import view
from tui.frame import Line
from tui.screens.base import Desk, Screen

WHICH = "Which journal?"
NONE = "There is no journal of this bench yet."


class Choice:
    """A list of journals, the newest first, with one of them pointed at."""

    def __init__(self) -> None:
        self.found: list[dict[str, Any]] = []
        self._read = False
        self._at = 0

    def take(self, found: list[dict[str, Any]]) -> None:
        """Take the list anew; what was pointed at stays so."""
        name = self.name
        self.found, self._read = found, True
        self.point(name)

    def names(self) -> list[str]:
        """Return the names of those that can be read, the newest first."""
        return [one["name"] for one in self.found if not one["problem"]]

    def point(self, name: str) -> None:
        """Point at a journal."""
        names = [one["name"] for one in self.found]
        self._at = names.index(name) if name in names else 0

    def lines(self, width: int, room: int) -> list[Line]:
        """Return the list around the one that is pointed at; nothing before it was read."""
        if not self.found:
            return [Line(NONE)] if self._read else []
        first = min(max(self._at - room // 2, 0), max(len(self.found) - room, 0))
        shown = []
        for n, one in enumerate(self.found[first : first + room], first):
            sign = ">" if n == self._at else " "
            about = one["problem"] or f"{one['state']}, {one['entries']} entries"
            text = view.plain(f"{sign} {one['name']}  {about}")[:width]
            shown.append(Line(text, "strong" if n == self._at else ""))
        return shown

    def step(self, key: str) -> bool:
        """Take up or down; False for any other key."""
        if key not in ("up", "down"):
            return False
        if self.found:
            self._at = (self._at + (1 if key == "down" else -1)) % len(self.found)
        return True

    @property
    def name(self) -> str:
        """The journal that is pointed at; "" when there is none."""
        return str(self.found[self._at]["name"]) if self._at < len(self.found) else ""


class PastScreen(Screen):
    """A screen about one past journal, which is chosen from a list."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._choice = Choice()
        self._choosing = False
        """Whether the list is shown."""
        self._journal = ""
        """The journal that is shown; "" for none."""
        self._failed: set[str] = set()
        """What was asked for last in vain."""

    def _study(
        self,
        ask: str,
        given: Mapping[str, Any],
        then: Callable[[Any], None],
        wanted: Callable[[], bool] = lambda: True,
    ) -> None:
        """Ask about past journals; `then(result)` where it is `wanted()` still."""

        def take(result: Any) -> None:
            if wanted():
                then(result)

        def failed() -> None:
            if wanted():
                self._failed.add(ask)

        self._failed.discard(ask)
        self.desk.study(ask, given, take, failed)

    def _unread(self, ask: str, again: str = "o") -> str:
        """Return why there is no answer to show, and the keys that ask `again` where none comes."""
        failed = f"it could not be read; {again} asks anew"
        return failed if ask in self._failed else "it is being read"

    def _open(self, name: str) -> None:
        """Show this journal."""
        raise NotImplementedError

    def _take_list(self, found: list[dict[str, Any]]) -> None:
        """Take which journals there are."""
        self._choice.take(found)

    def _ask_list(self) -> None:
        self._study("journals", {}, self._take_list)

    def _show_list(self) -> None:
        """Show the list, read anew."""
        self._choice.point(self._journal)
        self._choosing = True
        self._ask_list()

    def _in_list(self, key: str) -> bool:
        """Take a key while the list is shown; False when it means nothing there."""
        if key in ("escape", "o"):
            self._choosing = False
        elif key == "enter" and self._choice.name:
            self._choosing = False
            self._open(self._choice.name)
        else:
            return self._choice.step(key)
        return True

    @property
    def hints_now(self) -> str:
        """What keys do on the face that is shown."""
        return "up/down choose  ENTER reads it  o or ESC back" if self._choosing else self.hints

    def _list_lines(self, width: int, room: int) -> list[Line]:
        """Return the list of journals."""
        unread = Line(f"The list: {self._unread('journals', 'o twice')}.")
        return [Line(WHICH), *(self._choice.lines(width, room - 1) or [unread])]
