"""The screen *Why*: one past portion on a band of good ones, and what may have caused it.

Nothing here asks anything of the daemon: past journals come from the study process.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tui import lanes, view
from tui.frame import Line, fold
from tui.screens.base import SCROLL, Desk, Field, Press
from tui.screens.past import NONE, PastScreen

REPLAY = "REPLAY - nothing moves from here"
EMPTY = "no portion is in it"
FINE_S = 0.01
"""One step of the cursor."""

SAME_S = 0.0005
"""Events this near to the cursor are at it."""


def _warns(text: str) -> bool:
    return text.startswith("CAUTION")


class Why(PastScreen):
    """Lanes of a portion, or its causes, or the list of journals."""

    name = "Why"
    hints = (
        "left/right 10 ms  e b event on, back  up/down portion  n its number  "
        "a at push or cut  x closer  d causes  o journals"
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._portions: list[dict[str, Any]] = []
        self._listed = False
        """Whether the portions of the journal have come."""
        self._number: int | None = None
        self._told: dict[str, Any] | None = None
        self._why: list[str] = []
        """Its first causes, in short."""
        self._case: list[str] = []
        """What `benchd why` says of it, in its own lines."""
        self._shows = "lanes"
        self._from = 0
        self._align = "push"
        self._near = False
        self._after_s = 0.0
        """The cursor, from the moment that the band is laid over at."""

    # What is asked.

    def shown(self) -> None:
        """Look at what there is by now; what was chosen before stays."""
        self._ask_list()

    def _take_list(self, found: list[dict[str, Any]]) -> None:
        super()._take_list(found)
        names = self._choice.names()
        if not found:
            self.desk.say(NONE)
        elif not self._choosing and names:
            self._open(self._journal if self._journal in names else names[0])

    def _open(self, name: str) -> None:
        if name != self._journal:
            self._journal, self._portions, self._number, self._told = name, [], None, None
            self._listed = False

        def take(found: list[dict[str, Any]]) -> None:
            self._portions, self._listed = found, True
            numbers = [one["number"] for one in found]
            if numbers and (self._told is None or self._number not in numbers):
                self._choose(self._number if self._number in numbers else numbers[-1])

        self._study("portions", {"journal": name}, take, lambda: name == self._journal)

    def _choose(self, number: int | None) -> None:
        self._number, self._told, self._why, self._case, self._from = number, None, [], [], 0

        def told(result: dict[str, Any]) -> None:
            self._told = result

        def why(result: list[str]) -> None:
            self._why = result

        self._ask("timeline", told)
        self._ask("why", why)
        if self._shows == "causes":
            self._ask_case()

    def _ask(self, what: str, take: Callable[[Any], None]) -> None:
        """Ask about the portion that is chosen."""
        mine = (self._journal, self._number)

        def wanted() -> bool:
            # Meanwhile another may have been chosen.
            return (self._journal, self._number) == mine

        self._study(what, {"journal": mine[0], "portion": mine[1]}, take, wanted)

    def _ask_case(self) -> None:
        def case(result: list[str]) -> None:
            self._case = result

        if self._number is not None and not self._case:
            self._ask("case", case)

    # What is shown.

    @property
    def hints_now(self) -> str:
        """What keys do on the face that is shown."""
        if self._choosing or self._shows == "lanes":
            return super().hints_now
        return "up/down pageup pagedown scroll  n its number  d or ESC the lanes  o journals"

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return what was chosen, under the line that nothing moves."""
        told = self._told
        head = Line(self._head_text(told, width), "strong")
        if self._choosing:
            return [head, *self._list_lines(width, room - 1)]
        if self._shows == "causes":
            return [head, *self._cause_lines(width, room - 1)]
        if told is None:
            wait = self._none() if self._number is None else self._unread("timeline")
            return [head, *fold(f"Journal {self._journal or '-'}: {wait}.", width)]
        return [head, *self._lane_lines(told, width, room - 1)]

    def _none(self) -> str:
        """Return why no portion is chosen."""
        return f"{EMPTY}; o chooses another" if self._listed else self._unread("portions")

    def _head_text(self, told: dict[str, Any] | None, width: int) -> str:
        parts = [REPLAY]
        if self._number is None:
            parts.append(self._journal or "no journal")
        else:
            parts.append(f"portion {self._number}")
        if told is not None:
            weight = "not weighed" if told["mass_kg"] is None else view.grams(told["mass_kg"])
            parts += [f"{told['class']}, {told['outcome']}", weight, f"tube {told['tube'] or '-'}"]
        # The tube, which is worth least, goes where there is no room for it.
        while len(parts) > 2 and len("; ".join(parts)) > width:
            parts.pop()
        return view.plain("; ".join(parts))[:width]

    def _lane_lines(self, told: dict[str, Any], width: int, room: int) -> list[Line]:
        shown = lanes.window(told, self._align, self._cursor_s(told), width, near=self._near)
        band = fold(self._band_words(told), width)
        ordered = self._why[1:] + self._why[:1]
        caution = [line for text in filter(_warns, ordered) for line in fold(text, width)]
        causes = [line for text in ordered if not _warns(text) for line in fold(text, width)]
        tall = lanes.height(told, room - len(band) - len(caution) - len(causes))
        drawn = [*lanes.lines(told, shown, tall), self._event_line(told, width)]
        left = max(room - len(drawn) - len(caution), 0)
        if left > len(band) or not causes:
            left -= len(band)
        else:
            band = []
        if len(causes) > left > 0:
            causes = [
                *causes[: left - 1],
                Line(f"{causes[left - 1].text[: width - 6].rstrip()} ... d"),
            ]
        # What warns comes whole, and before what may have no room.
        return [*drawn, *caution, *band, *causes[:left]]

    def _band_words(self, told: dict[str, Any]) -> str:
        many = len(told["good"])
        if told["at_s"][self._align] is None:
            return f"No band: it never came to its {self._align}; times are from its beginning."
        if not many:
            return f"No band: no good one of the same card. Times are from its {self._align}."
        good = view.several(many, "good one")
        return f"(least..most) of {good}, at the {self._align}; ^ above, v below all."

    def _event_line(self, told: dict[str, Any], width: int) -> Line:
        cursor_s = self._cursor_s(told)
        at = [text for t_s, text in told["events"] if abs(t_s - cursor_s) <= SAME_S]
        return Line(view.plain(f"{'Event':<{lanes.LABEL}}{'; '.join(at) or '-'}")[:width])

    def _cause_lines(self, width: int, room: int) -> list[Line]:
        text = [Line(view.plain(one)[:width]) for one in self._case]
        self._from = min(self._from, max(len(text) - room, 0))
        wait = self._none() if self._number is None else self._unread("case", "d twice")
        return text[self._from : self._from + room] or [Line(f"The causes: {wait}.")]

    # What keys do.

    def pressed(self, press: Press) -> bool:
        """Take a key. None of them asks the bench for anything."""
        if self._choosing:
            return self._in_list(press.key)
        if self._shows == "causes" and press.key in SCROLL:
            self._from = max(self._from + SCROLL[press.key], 0)
            return True
        keys: dict[str, Callable[[], None]] = {
            "left": lambda: self._step(-FINE_S),
            "right": lambda: self._step(FINE_S),
            "b": lambda: self._event(-1),
            "e": lambda: self._event(1),
            "up": lambda: self._portion(-1),
            "down": lambda: self._portion(1),
            "n": self._ask_number,
            "a": self._turn,
            "x": self._closer,
            "d": lambda: self._show("lanes" if self._shows == "causes" else "causes"),
            "o": self._list,
        }
        if press.key == "escape" and self._shows == "causes":
            self._show("lanes")
            return True
        do = keys.get(press.key)
        if do is not None:
            do()
        return do is not None

    def _show(self, what: str) -> None:
        self._shows, self._from = what, 0
        if what == "causes":
            self._ask_case()

    def _list(self) -> None:
        self._show("lanes")
        self._show_list()

    def _cursor_s(self, told: dict[str, Any]) -> float:
        return lanes.zero_s(told, self._align) + self._after_s

    def _go(self, told: dict[str, Any], t_s: float) -> None:
        t_s = min(max(t_s, 0.0), lanes.end_s(told))
        self._after_s = t_s - lanes.zero_s(told, self._align)

    def _step(self, by_s: float) -> None:
        if self._told is not None:
            self._go(self._told, self._cursor_s(self._told) + by_s)

    def _event(self, way: int) -> None:
        told = self._told
        if told is None:
            return
        now_s = self._cursor_s(told)
        further = [t_s for t_s, _ in told["events"] if (t_s - now_s) * way > SAME_S]
        if further:
            self._go(told, min(further) if way > 0 else max(further))

    def _portion(self, way: int) -> None:
        numbers = [one["number"] for one in self._portions]
        if self._number in numbers:
            at = numbers.index(self._number) + way
            if 0 <= at < len(numbers):
                self._choose(numbers[at])

    def _ask_number(self) -> None:
        def done(texts: list[str]) -> None:
            numbers = [one["number"] for one in self._portions]
            if texts[0].isdecimal() and int(texts[0]) in numbers:
                self._choose(int(texts[0]))
            elif numbers:
                self.desk.say(
                    f"There is no portion {texts[0] or '-'} in this journal: it has {numbers[0]} "
                    f"to {numbers[-1]}."
                )
            else:
                self.desk.say("No portion is in this journal: o chooses another.")

        self.fill_in([Field("Portion", frozenset("0123456789"))], done)

    def _turn(self) -> None:
        told = self._told
        at_s = self._cursor_s(told) if told is not None else 0.0
        self._align = "cut" if self._align == "push" else "push"
        if told is not None:
            self._go(told, at_s)

    def _closer(self) -> None:
        self._near = not self._near
