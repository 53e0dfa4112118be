"""The screen *Series*: portions on a timer, single portions, dry strokes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import ceil
from typing import Any

from tui import ended, view
from tui.cards import Card, chosen_of, dough_cards
from tui.frame import Line, row
from tui.screens.base import (
    NUMBER_SIGNS,
    Desk,
    Field,
    Press,
    Screen,
    guard_words,
    is_refused,
    loaded_words,
    number,
    relieve,
)
from tui.screens.watch import control_words, press_series

EVERY_S = "8"
COUNT = "12"
CARD_DOUBT_S = 30.0
"""Time to answer a doubt about the card: it takes reading."""


BLADE_S = 15.0
"""Time to answer the question of a dry stroke, whose caution takes reading."""

ONE = "1 portion"


def _a_time(text: str) -> str:
    return "" if (number(text) or 0.0) > 0 else "It takes a number of s above 0."


def _a_count(text: str) -> str:
    count = number(text or "0")
    whole = count is not None and count >= 0 and count == int(count)
    return "" if whole else "It takes a whole number, 0 or more."


def _in_vain(plan: Mapping[str, Any], every_s: float | None, left: int | None) -> str:
    """Return why what was planned would be refused; "" where nothing tells so."""
    if every_s is not None and every_s < plan["shortest_s"]:
        # Upwards, so that what is told is long enough.
        shortest_s = ceil(plan["shortest_s"] * 10) / 10
        return f"{every_s:g} s is shorter than one portion takes. Shortest is {shortest_s:.1f} s."
    if left == 0:
        return "The tube is at its end: one more portion would pass the heel."
    return ""


class Series(Screen):
    """Start, pause, go on, finish, relieve."""

    name = "Series"
    hints = (
        "m make series  o one portion  p pause  e go on  n end after this portion  r relieve  "
        "left/right dough card  a arm dry stroke  x make the armed stroke"
    )
    cautions = "series"
    moving = frozenset("moerax")

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._every, self._count = EVERY_S, COUNT
        self._cards: list[Card] = []

    def _card(self) -> Card | None:
        return chosen_of(self._cards, self.desk.card_name)

    def shown(self) -> None:
        """Look which dough cards lie in the folder."""
        self._cards = dough_cards(self.desk.folder)

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return what would be made, how the series goes, and why not."""
        model = self.desk.model
        status = model.shown(now_s)
        card = self._card()
        where = card.name if card else f"none lies in {self.desk.folder}: 'benchd init' writes one"
        lines = row("Card", where, width, "strong")
        if status is None:
            return lines
        if status.series is not None:
            lines += row("Series", view.series_row(status.series).text, width, "strong")
        else:
            lines += row("Series", "none is under way", width)
        lines += row("Portion", view.portion_row(status).text, width)
        lines += row("Tube", view.tube_row(status).text, width)
        refused: dict[str, list[str]] = {}
        for action in ("series", "stroke"):
            why = status.why_not.get(action)
            if why and status.series is None:
                refused.setdefault(why, []).append(action)
        for why, actions in refused.items():
            text = f"{' and '.join(actions).capitalize()}: {why}"
            lines += row("Refused", text, width, "watch")
        return [*lines, *row("Control", control_words(model), width)]

    def pressed(self, press: Press) -> bool:
        """Take a key."""
        keys: dict[str, Callable[[], None]] = {
            "m": self._make,
            "o": self._one,
            "e": self._go_on,
            "r": lambda: relieve(self.desk),
            "a": self._arm,
            "x": self._fire,
            "left": lambda: self._choose(-1),
            "right": lambda: self._choose(1),
        }
        do = keys.get(press.key)
        if do is None:
            return press_series(self, press)
        do()
        return True

    def _choose(self, step: int) -> None:
        names = [card.name for card in self._cards]
        card = self._card()
        if card is not None:
            self.desk.card_name = names[(names.index(card.name) + step) % len(names)]

    # A series.

    def _make(self) -> None:
        card = self._card()
        if is_refused(self.desk, "series"):
            return
        if card is None:
            self.desk.say(f"No dough card lies in {self.desk.folder}: 'benchd init' writes one.")
            return
        fields = [
            Field("One portion every so many s", NUMBER_SIGNS, self._every, _a_time),
            Field(
                "How many portions (0: until the end of the tube)",
                *(NUMBER_SIGNS, self._count, _a_count),
            ),
        ]
        self.fill_in(fields, lambda texts: self._plan(card, texts))

    def _plan(self, card: Card, texts: list[str]) -> None:
        every_s, count = number(texts[0]), number(texts[1] or "0") or 0
        self._every, self._count = texts[0], texts[1]
        params = {"dough": card.text, "every_s": every_s, "count": int(count) or None}
        many = view.several(int(count), "portion") if count else "until the tube ends"
        tail = f"one every {every_s:g} s; {many}"
        self._with_plan(
            card, tail, lambda: self._begin("series", params), every_s=every_s, count=int(count)
        )

    def _with_plan(
        self,
        card: Card,
        tail: str,
        do: Callable[[], None],
        *,
        every_s: float | None = None,
        count: int = 1,
    ) -> None:
        """Say what will be done, and do it on ENTER; what the plan shows to be in vain is said
        instead. A `count` of 0 goes on until the tube ends."""

        def planned(plan: Mapping[str, Any]) -> None:
            left = self._left(plan)
            no = _in_vain(plan, every_s, left)
            if no:
                self.desk.say(f"Refused: {no}", "watch")
                return
            short = ""
            if left is not None and count > left:
                short = f" (the tube is at its end after {left}, where it pauses)"
            stroke = f"{plan['stroke_m'] * 1e3:.1f} mm"
            if plan.get("auto_stroke") and tail != ONE:
                stroke += f" ({view.STROKE_FOLLOWS})"
            self.desk.confirm(
                f"will push {stroke} and cut by {card.name}, {tail}{short}; "
                f"{loaded_words(self.desk.model)}",
                do,
            )

        self.desk.ask("plan", {"dough": card.text}, planned)

    def _left(self, plan: Mapping[str, Any]) -> int | None:
        """Return how many portions by this plan are left in the tube; None where nobody knows."""
        status = self.desk.model.status
        if status is None or status.tube_left_m is None:
            return None
        # A hair more than is left is for the daemon to judge, which counts in steps.
        return int((status.tube_left_m + 1e-6) / (plan["take_up_m"] + plan["stroke_m"]))

    def _begin(self, method: str, params: dict[str, Any]) -> None:
        def doubted(text: str) -> None:
            self.desk.confirm(
                f"{text} Use the card as it is?",
                lambda: self._begin(method, {**params, "confirmed": True}),
                CARD_DOUBT_S,
            )

        self.desk.say("")
        ended = self._ended if method != "portion" else self._made
        self.desk.ask(method, params, ended, on_question=doubted)

    def _ended(self, result: Mapping[str, Any]) -> None:
        of = f" of {result['count']}" if result["count"] else ""
        why = f" ({str(result['reason']).rstrip('.')})" if result["reason"] else ""
        self.desk.say(f"Series {result['what']}{why}: {result['made']}{of} made.")

    def _made(self, record: Mapping[str, Any]) -> None:
        self.desk.say(ended.portion_line(record))

    def _one(self) -> None:
        card = self._card()
        if card is not None and not is_refused(self.desk, "portion"):
            params = {"dough": card.text}
            self._with_plan(card, ONE, lambda: self._begin("portion", params))

    def _go_on(self) -> None:
        status = self.desk.model.status
        series = status.series if status is not None else None
        if series is None or not series.paused:
            self.desk.say("No series is paused, so there is nothing to go on with.")
            return
        if is_refused(self.desk, "series"):
            return
        of = f" of {series.count}" if series.count else ""
        self.desk.confirm(
            f"will go on with the series; {series.made}{of} made; {loaded_words(self.desk.model)}",
            lambda: self._begin("resume", {}),
        )

    # A dry stroke: armed by one key, made by another.

    def _arm(self) -> None:
        if is_refused(self.desk, "stroke"):
            return
        status = self.desk.model.status
        air = status.air if status is not None else view.UNKNOWN_LIVE
        blade = " ".join(self.desk.cautions.get("cut", ()))
        armed = "Armed for 3 s: x makes the stroke; else it lapses."
        self.desk.confirm(
            f"{blade} This will arm one dry stroke of the cutter; "
            f"{guard_words(self.desk.model)}; air {air}",
            lambda: self.desk.ask("arm", {}, lambda _: self.desk.say(armed, "strong")),
            BLADE_S,
        )

    def _fire(self) -> None:
        self.desk.ask("fire", {}, lambda result: self.desk.say(f"Dry stroke {result['outcome']}."))
