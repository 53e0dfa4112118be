"""The screen *Interlocks*: each with its live value, why an action is refused, how to clear one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from protocols.codes import INTERLOCKS, Interlock
from tui import view
from tui.frame import Line, fold, row
from tui.readings import bars
from tui.said import keyed
from tui.screens.base import NUMBER_SIGNS, Desk, Field, Press, Screen, a_name, a_number, number
from tui.screens.watch import MARKS, tell_seen

if TYPE_CHECKING:
    from protocols.status import Abnormal, BenchStatus

SHELVE_MIN = "15"
"""Time for which an alarm is shelved unless another one is typed [min]."""

PART_OF: dict[int, str] = {
    1: "emergency stop", 2: "guard", 4: "cutter home", 5: "cutter home", 6: "cutter far end",
    7: "cutter home", 8: "cutter far end", 9: "dough at the nozzle", 10: "dough at the nozzle",
    11: "thrust", 12: "thrust", 16: "air pressure", 29: "logic supply",
}  # fmt: skip
"""Interlock to the part that it rests on, in the words of the line NOT WATCHED."""

OF_THE_LIST = ("up", "down", "enter", "a", "k", "b")
"""Keys about the interlock that is chosen in the list."""

ACTIONS: dict[str, str] = {
    "feed": "Feed",
    "relieve": "Relieve",
    "drive": "Drive on",
    "prime": "Prime",
    "portion": "Portion",
    "series": "Series",
    "stroke": "Stroke",
    "tube_out": "Tube out",
    "open": "Opening",
}
"""Action to its word."""


def _up(code: str, up: str, quiet: str) -> Callable[[BenchStatus], str]:
    return lambda status: up if any(one.code == code for one in status.abnormals) else quiet


def _feed_moves(status: BenchStatus) -> bool:
    feeding = status.phase in ("take-up", "push", "draw-back")
    return status.state == "NUDGING" or (status.state == "PORTIONING" and feeding)


def _eased(status: BenchStatus) -> str:
    drive = f"drive {'live' if status.pins.get('drive') else 'off'}"
    return drive if status.thrust_n is None else f"{view.newtons(status.thrust_n)}, {drive}"


def _tube_clock(status: BenchStatus) -> str:
    if status.tube_open_s is None:
        return "no tube"
    return f"tube open {view.whole_seconds(status.tube_open_s)}"


def _pin(name: str, on: str, off: str) -> Callable[[BenchStatus], str]:
    return lambda status: on if status.pins.get(name) else off


LIVE: dict[int, Callable[[BenchStatus], str]] = {
    1: _pin("stop", "released", "PRESSED"),
    2: _pin("guard", "shut", "OPEN"),
    3: lambda s: "feed moves" if _feed_moves(s) else "feed at rest",
    4: _pin("home", "home", "away"),
    5: _pin("home", "home", "away"),
    6: _pin("far", "at the far end", "not at far end"),
    7: _pin("home", "home", "away"),
    8: lambda s: f"home {_on(s, 'home')}, far {_on(s, 'far')}",
    9: lambda s: "-" if s.eye_counts is None else f"eye {s.eye_counts} counts",
    10: lambda s: "-" if s.eye_counts is None else f"eye {s.eye_counts} counts",
    11: lambda s: view.newtons(s.thrust_n),
    12: lambda s: view.newtons(s.thrust_n),
    13: _eased,
    14: lambda s: view.feed_row(s).text if s.position_known else "position not known",
    15: _up("IL-15", "NOT PROVEN", "proven"),
    16: lambda s: bars(s.air_pa),
    17: _up("IL-17", "STROKE WANTED", "none wanted"),
    18: _up("IL-18", "host NOT HEARD", "host heard"),
    19: lambda s: view.link_text(s),
    20: lambda s: s.board.rsplit(", ", 1)[-1] or "-",
    21: lambda s: view.several(s.lines_bad, "bad line"),
    22: lambda s: ", ".join(pin for pin in ("forward", "reverse") if s.pins.get(pin)) or "neither",
    23: _pin("local-lock", "locked", "not locked"),
    24: _pin("valve", "valve live", "valve off"),
    25: lambda s: f"{s.odd[0]} of last {s.odd[1]} odd" if s.odd[1] else "none weighed",
    26: lambda s: f"asked {view.whole_seconds(s.attended_s)} ago",
    27: _tube_clock,
    28: lambda s: "written" if s.journal_ok else "CANNOT BE WRITTEN",
    29: lambda s: view.volts(s.supply_v),
    30: lambda s: "-" if s.clock_error_s is None else f"within {s.clock_error_s * 1e3:.1f} ms",
}
"""Interlock to its live value, at most 18 columns."""


def _on(status: BenchStatus, pin: str) -> str:
    return "on" if status.pins.get(pin) else "off"


def place_of(one: Interlock, status: BenchStatus, up: Mapping[str, Abnormal]) -> str:
    """Return how an interlock stands: its sign and word, or that nobody watches it."""
    found = up.get(one.code)
    if found is not None and found.standing == "shelved":
        return "SHELVED"
    if found is not None:
        return "!3 LATCHED" if found.latched else "!2 UP" if found.rank > 1 else "!1 UP"
    if any(gone.code == one.code for gone in status.returned):
        return "!2 WAS UP"
    if PART_OF.get(one.number) in status.not_watched:
        return "no sensor"
    return "-"


def interlock_line(one: Interlock, status: BenchStatus, up: Mapping[str, Abnormal]) -> str:
    """Return one interlock as columns: code, kind, how it stands, what it watches, live value."""
    kind = "needs" if one.kind == "P" else "trips"
    if view.is_old(status) and one.number not in (19, 28):
        live = "old"
    elif PART_OF.get(one.number) in status.not_watched:
        live = ""
    else:
        live = LIVE[one.number](status)
    return view.plain(f"{one.code} {kind} {place_of(one, status, up):<10} {one.title:<36} {live}")


def _left_out(first: int, shown: int, status: BenchStatus, up: Mapping[str, Abnormal]) -> str:
    """Return which part of the list is in view, and which of the others are not quiet."""
    seen = INTERLOCKS[first : first + shown]
    text = f"- {seen[0].code} to {seen[-1].code} of {len(INTERLOCKS)}"
    others = [one for one in INTERLOCKS if one not in seen]
    loud = [one.code for one in others if place_of(one, status, up)[:2] in (*MARKS, "SH", "!1")]
    return f"{text}; not in view: {', '.join(loud)}" if loud else text


def _count_lines(status: BenchStatus, width: int) -> list[Line]:
    """Return what is shelved, and how many alarms were raised lately."""
    count = view.several(status.raised_lately, "alarm")
    rows = [view.alarm_row(status) or view.Row("Alarms", f"{count} raised in 10 min")]
    shelved = view.shelved_row(status)
    rows += [shelved] if shelved is not None else []
    return [line for one in rows for line in row(one.label, one.text, width)]


def _a_reason(text: str) -> str:
    return "" if text else "It takes a reason."


def _the_word(word: str, typed: str) -> str:
    return "" if typed.lower() == word else f"'{typed}' is not the word {word}."


class Interlocks(Screen):
    """The list, the chosen one in words, and the way to clear it."""

    name = "Interlocks"
    hints = (
        "up/down choose  ENTER clear the chosen one  y why not, for each action  a seen  "
        "k shelve  b back from the shelf"
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._at = 0
        self._why = False

    @property
    def hints_now(self) -> str:
        """What keys do: beside the answers why, none of the list's does what it does there."""
        return "y or ESC back to the list" if self._why else self.hints

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return the list around the chosen one, or why each action is refused."""
        status = self.desk.model.shown(now_s)
        if status is None:
            return fold("No word of the bench yet.", width)
        if self._why:
            return self._why_not(status, width)
        up = {one.code: one for one in status.abnormals}
        detail = [*self._detail(status, up, width), *_count_lines(status, width)]
        shown = max(room - len(detail) - 1, 3)
        first = min(max(self._at - shown // 2, 0), max(len(INTERLOCKS) - shown, 0))
        lines = []
        for n, one in enumerate(INTERLOCKS[first : first + shown], first):
            place = place_of(one, status, up)
            text = ("> " if n == self._at else "  ") + interlock_line(one, status, up)
            mark = "strong" if n == self._at or place[:2] in MARKS else ""
            lines.append(Line(text[:width], mark))
        return [*lines, Line(_left_out(first, shown, status, up)[:width], "dim"), *detail]

    def _detail(self, status: BenchStatus, up: Mapping[str, Abnormal], width: int) -> list[Line]:
        one = INTERLOCKS[self._at]
        found = up.get(one.code)
        if found is None:
            found = next((gone for gone in status.returned if gone.code == one.code), None)
        if found is None:
            resets = {
                "auto": "goes by itself when its cause is gone",
                "ack": "stays until someone clears it",
                "prove": "stays until someone looks, and proves it",
            }
            when = " when last heard of" if view.is_old(status) else ""
            return fold(f"{one.code}: not up{when}. Once up it {resets[one.reset]}.", width)
        text = " ".join((found.what, found.so_what, found.do_what))
        stands = f" {view.standing_words(found)}," if found.rank > 1 else ""
        age = view.whole_seconds((status.now_ns - found.since_ns) / 1e9)
        return fold(keyed(f"{one.code},{stands} raised {age} ago: {text}", "i"), width)

    def _why_not(self, status: BenchStatus, width: int) -> list[Line]:
        lines = []
        for action, word in ACTIONS.items():
            why = status.why_not.get(action)
            if view.is_old(status):
                why = "IL-19: nothing is known of the bench now."
            if why:
                lines += row(word, f"refused. {why}", width, "strong")
            elif action != "open":
                lines += row(word, "would be taken", width)
        return lines

    def pressed(self, press: Press) -> bool:
        """Choose, clear, ask why, or say what was made of an alarm."""
        if self._why and press.key in (*OF_THE_LIST, "escape"):
            # Nothing happens to one that is not in view.
            self._why = False
        elif press.key in ("up", "down"):
            step = 1 if press.key == "down" else -1
            self._at = (self._at + step) % len(INTERLOCKS)
        elif press.key == "y":
            self._why = not self._why
        elif press.key == "a":
            tell_seen(self.desk, INTERLOCKS[self._at].number)
        elif press.key == "k":
            self._shelve(INTERLOCKS[self._at])
        elif press.key == "b":
            self._take_back(INTERLOCKS[self._at])
        elif press.key == "enter":
            self._clear(INTERLOCKS[self._at])
        else:
            return False
        return True

    def shown(self) -> None:
        """Choose the worst that a person can clear, else the worst."""
        self._why = False
        status = self.desk.model.status
        if status is not None and status.abnormals:
            codes = [one.code for one in INTERLOCKS]
            # What goes by itself can wait.
            first = next((one for one in status.abnormals if one.reset != "auto"), None)
            self._at = codes.index((first or status.abnormals[0]).code)

    def _up(self, one: Interlock) -> Abnormal | None:
        status = self.desk.model.status
        up = status.abnormals if status is not None else ()
        return next((found for found in up if found.code == one.code), None)

    def _clear(self, one: Interlock) -> None:
        if self._up(one) is None:
            self.desk.say(f"{one.code} is not up, so there is nothing to clear.")
            return

        def told(result: Mapping[str, Any]) -> None:
            statements = result["statements"]
            if statements:
                self._prove(one, statements)
            else:
                self._send(one, {})

        self.desk.ask("proofs", {"interlock": one.number}, told)

    def _shelve(self, one: Interlock) -> None:
        found = self._up(one)
        if found is None:
            self.desk.say(f"{one.code} is not up, so there is nothing to shelve.")
            return
        if found.latched:
            self.desk.say(f"What stopped the bench is never shelved: {one.code} wants clearing.")
            return
        fields = [
            Field(f"{one.code} is put aside for so many min", NUMBER_SIGNS, SHELVE_MIN, a_number),
            Field("Your name", check=a_name),
            Field("Why", check=_a_reason),
        ]

        def typed(texts: list[str]) -> None:
            minutes = number(texts[0]) or 0.0
            ask = {"for_s": minutes * 60, "name": texts[1], "reason": texts[2]}
            done = f"{one.code} is shelved for {minutes:g} min; the interlock goes on as it is."
            ask["interlock"] = one.number
            self.desk.ask("shelve", ask, lambda _: self.desk.say(done))

        self.fill_in(fields, typed)

    def _take_back(self, one: Interlock) -> None:
        done = f"{one.code} is back from the shelf."
        self.desk.ask("unshelve", {"interlock": one.number}, lambda _: self.desk.say(done))

    def _prove(self, one: Interlock, statements: list[Mapping[str, str]]) -> None:
        fields = [Field(f"{one.code} is cleared by a person who looked. Your name", check=a_name)]
        fields += [
            Field(
                f"{said['statement']} If that is so, type the word {said['word']}",
                check=partial(_the_word, said["word"]),
            )
            for said in statements
        ]

        def typed(texts: list[str]) -> None:
            name, *words = texts
            self._send(one, {"name": name, "words": [word.lower() for word in words]})

        self.fill_in(fields, typed)

    def _send(self, one: Interlock, proof: dict[str, Any]) -> None:
        done = f"{one.code} is cleared. Nothing moves until you say so."
        self.desk.ask("clear", {"interlock": one.number, **proof}, lambda _: self.desk.say(done))
