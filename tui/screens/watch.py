"""The screen *Watch*: the bench at a glance, the most important first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tui import view
from tui.frame import Line, fold, row
from tui.model import Model
from tui.readings import readings_row
from tui.screens.base import Desk, Press, Screen
from tui.sentences import news_sentence, seen_text
from tui.strip import strip_lines

if TYPE_CHECKING:
    from protocols.status import BenchStatus, SeriesStatus

MARKS = {"!3": "stop", "!2": "watch"}
"""Sign of a rank to the mark of its lines; a note is plain text."""


class Watch(Screen):
    """Abnormals, portion, strip of weights, series, tube, feed, journal."""

    name = "Watch"
    hints = "p pause series  n end series after this portion  a alarms seen"

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return what a person wants at a glance."""
        model = self.desk.model
        status = model.shown(now_s)
        if status is None:
            return fold("No word of the bench yet.", width)
        age_s = model.age_s(now_s)
        lines = abnormal_lines(status, age_s, width, notes=False)
        for one in (view.shelved_row(status), view.alarm_row(status)):
            if one is not None:
                lines += row(one.label, one.text, width)
        lines += row("Portion", view.portion_row(status).text, width)
        odd = status.bounds.get("odd", (None, None))[1]
        lines += strip_lines(model.weights, status.aim_kg or _aim(model), width, odd)
        for one in (
            over_row(model) if status.series is None else series_row(status, status.series),
            view.weights_row(status),
            view.spread_row(status),
            view.tube_row(status),
        ):
            if one is not None:
                lines += row(one.label, one.text, width)
        # A note asks for nothing at once, and stands below what goes on.
        lines += abnormal_lines(status, age_s, width, notes=True)
        for one in (
            view.feed_row(status),
            readings_row(status),
            view.eye_row(status),
            view.by_hand_row(status),
            view.Row("Control", control_words(model)),
            view.journal_row(status),
            view.Row("Board", view.board_text(status)) if status.board else None,
            view.broker_row(status),
        ):
            if one is not None:
                lines += row(one.label, one.text, width)
        return lines

    def pressed(self, press: Press) -> bool:
        """Pause or end the series, or say that the alarms were seen."""
        if press.key == "a":
            tell_seen(self.desk, None)
            return True
        return press_series(self, press)


def _aim(model: Model) -> float | None:
    """Return the aim of the newest portion heard of [kg]."""
    for number in sorted(model.portions, reverse=True):
        aim_kg = model.portions[number].get("aim_kg")
        if aim_kg:
            return float(aim_kg)
    return None


def series_row(status: BenchStatus, series: SeriesStatus) -> view.Row:
    """Return how the series goes, and how a paused one may go on: this screen has no key for it."""
    row = view.series_row(series)
    if not series.paused or status.why_not.get("series"):
        return row
    return row._replace(text=f"{row.text}; go on with 'benchd resume'")


def over_row(model: Model) -> view.Row | None:
    """Return how the last series ended, and the way out; None where none was heard to end."""
    last = next((piece for piece in reversed(model.news) if piece.topic == "series"), None)
    if last is None or last.data.get("what") != "ended":
        return None
    # Of a reason in several parts the first is enough here; the journal has them all.
    short = {**last.data, "reason": str(last.data.get("reason") or "").split(": ")[0]}
    said = news_sentence(last.topic, short).removeprefix("Series ").rstrip(".")
    return view.Row("Series", f"{said}; at {last.at}. q leaves.")


def abnormal_lines(status: BenchStatus, age_s: float, width: int, *, notes: bool) -> list[Line]:
    """Return the notes, or each alarm, worst first, of a status that came `age_s` ago, and below
    them what went before anybody saw it. What was seen stands out no more, but for what stopped
    the bench."""
    lines = []
    now_ns = status.now_ns + round(age_s * 1e9)
    for found in (*status.abnormals, *status.returned):
        if (found.rank < 2) is not notes:
            continue
        mark = (
            "" if found.standing == "seen" and found.rank < 3 else MARKS.get(f"!{found.rank}", "")
        )
        for one in view.abnormal_rows((found,), now_ns):
            lines += row(one.label, one.text, width, mark)
    return lines


def tell_seen(desk: Desk, number: int | None) -> None:
    """Say that an alarm was seen; None for all of them."""
    ask = {} if number is None else {"interlock": number}
    desk.ask("seen", ask, lambda result: desk.say(seen_text(result)))


def control_words(model: Model) -> str:
    """Return who is in control."""
    status = model.status
    if not model.up or status is None:
        return "not known: no daemon answers"
    if not status.controller:
        return "nobody; the first to ask for something at rest"
    if model.in_control:
        return "this terminal"
    return f"another terminal ({status.controller}); at rest it can be taken over"


def others_control(model: Model, width: int) -> list[Line]:
    """Return who is in control, where the feed is moved, unless it is this terminal or nobody."""
    words = control_words(model)
    return [] if words.startswith(("this", "nobody")) else row("Control", words, width)


def press_series(screen: Screen, press: Press) -> bool:
    """Pause or finish, which anyone may and nobody is asked about."""
    desk = screen.desk
    if press.key == "p":
        desk.ask("pause", {}, lambda _: desk.say("The series pauses at the next safe point."))
    elif press.key == "n":
        text = "The series ends; a portion under way is made to its end first."
        desk.ask("finish", {}, lambda _: desk.say(text))
    else:
        return False
    return True
