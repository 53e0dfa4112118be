"""How a screen is laid out: head, body, foot, each as lines of text with a mark; no terminal here.

Head and foot stand at the same place on every screen. Marks say rank; words and signs say it too,
so that nothing rests on colour.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from tui import view
from tui.said import keyed

if TYPE_CHECKING:
    from protocols.status import BenchStatus
    from tui.model import Model
    from tui.screens.base import Screen

WIDTH_LEAST, HEIGHT_LEAST = 80, 24
"""Columns and lines below which only the strip is shown."""

SILENT_S = 2.0
"""A daemon that is connected and says nothing for so long is called silent."""

MESSAGE_LINES = 7
"""Lines of answers and questions at most."""

STOP_LINE = "SPACE = stop now (always)"
LEAVING = "    w Watch  q leave"
UNKNOWN = f"barrel {view.UNKNOWN_ENERGY}; air {view.UNKNOWN_LIVE}; coils {view.UNKNOWN_LIVE}"


class Line(NamedTuple):
    """One line: what it says, and its mark: "", "strong", "stop", "watch" or "dim"."""

    text: str
    mark: str = ""


def fold(text: str, width: int, mark: str = "", hang: str = "  ") -> list[Line]:
    """Return a sentence as lines of at most `width` columns."""
    lines = view.wrapped(view.plain(text), width, hang, break_long_words=True)
    return [Line(line, mark) for line in lines]


def row(label: str, text: str, width: int, mark: str = "") -> list[Line]:
    """Return a labelled row as lines, the label in front and what follows beside it."""
    return [Line(line, mark) for line in view.row_lines(view.Row(label, keyed(text)), width)]


def head(model: Model, now_s: float, width: int) -> list[Line]:
    """Return state and what it waits for, the energy line, and what nobody watches."""
    return [line for part in _head(model, now_s, width) for line in part]


def _head(model: Model, now_s: float, width: int) -> tuple[list[Line], list[Line], list[Line]]:
    status = model.shown(now_s)
    if not model.up or status is None:
        return _away(model, status, now_s, width)
    state = view.state_row(status).text
    silent = model.age_s(now_s) > SILENT_S
    if silent:
        age = view.seconds(model.age_s(now_s))
        state = f"DAEMON SILENT for {age}: look at 'benchd serve'; before that: {state}"
    old = silent or view.is_old(status)
    mark = "stop" if old or status.state in ("TRIPPED", "NO LINK") else "strong"
    below = "watch" if old else ""
    energy = _energy(view.energy_row(status).text, width, below)
    parts = view.not_watched_row(status)
    unwatched = fold(f"{parts.label} {parts.text}", width, below)[:2] if parts is not None else []
    return fold(state, width, mark)[:2], energy, unwatched


def _energy(text: str, width: int, mark: str) -> list[Line]:
    if width < 4 * view.LABEL:
        return fold(f"ENERGY {text}", width, mark)
    return row("ENERGY", text, width, mark)


def _away(
    model: Model, status: BenchStatus | None, now_s: float, width: int
) -> tuple[list[Line], list[Line], list[Line]]:
    since = "" if model.lost_s is None else f" for {view.seconds(now_s - model.lost_s)}"
    before = f" It said last: {status.state}; all below is old." if status is not None else ""
    text = (
        f"NO DAEMON answers for bench {model.bench}{since}: start it with 'benchd serve'.{before}"
    )
    unwatched = fold("NOT WATCHED: anything, while no daemon answers", width, "watch")
    return fold(text, width, "stop")[:3], _energy(UNKNOWN, width, "watch"), unwatched


def packed(hints: str, width: int, mark: str = "") -> list[Line]:
    """Return what keys do as lines; what stands between two double blanks stays together."""
    lines = [""]
    for hint in hints.split("  "):
        longer = f"{lines[-1]}  {hint}" if lines[-1] else hint
        if len(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(hint)
    return [Line(line, mark) for line in lines]


def foot(
    model: Model, now_s: float, width: int, hints: str, screens: str, entry: Sequence[Line]
) -> list[Line]:
    """Return the last answer or the question, the keys, and the stop key; an open entry takes the
    place of the keys, which then only write their letters."""
    keys = [*packed(hints, width), *packed(screens, width, "dim")]
    return [
        Line("-" * width, "dim"),
        *(said(model, now_s, width) or [Line("")]),
        *(entry or keys),
        Line(STOP_LINE if entry else STOP_LINE + LEAVING, "strong"),
    ]


def said(model: Model, now_s: float, width: int) -> list[Line]:
    """Return the question, else the last answer."""
    question = model.question
    if question is None:
        return fold(keyed(model.message), width, model.rank)[:MESSAGE_LINES]
    left_s = max(question.within_s - (now_s - question.asked_s), 0.0)
    answer = f"-- {question.answer} within {left_s:.0f} s does it, ESC does not."
    text = f"? {question.note}{question.text}"
    lines = fold(f"{text} {answer}", width, "strong")
    if len(lines) <= MESSAGE_LINES:
        return lines
    # How it is answered stays in sight, and that there is more of it.
    answers = fold(f"  {answer}", width, "strong")
    lines = fold(text, width - 4, "strong")[: MESSAGE_LINES - len(answers)]
    return [*lines[:-1], Line(f"{lines[-1].text} ...", "strong"), *answers]


def is_small(width: int, height: int) -> bool:
    """Whether a terminal has room for the strip only."""
    return width < WIDTH_LEAST or height < HEIGHT_LEAST


def strip(model: Model, now_s: float, width: int, height: int) -> list[Line]:
    """Return what a terminal that is too small still shows: state, energy, the last answer, stop.

    What gives way first where there is no room: the note, what is not watched, what is abnormal.
    The answer gives way after them, since it may say that no stop was sent.
    """
    state, energy, unwatched = _head(model, now_s, width)
    status = model.shown(now_s)
    abnormal = []
    if model.up and status is not None:
        for one in view.abnormal_rows(status.abnormals, status.now_ns):
            abnormal += row(one.label, one.text, width, "watch")
    answer = said(model, now_s, width)
    note = Line(f"{WIDTH_LEAST}x{HEIGHT_LEAST} shows all; q leaves"[:width], "dim")
    stop = Line("SPACE = stop now"[:width], "strong")
    kept = [stop, *state[:1], *energy[:1], *answer[:1], *energy[1:], *answer[1:], *state[1:]]
    kept = [*kept, *abnormal, *unwatched, note][:height]
    shown = [*state, *energy, *unwatched, *abnormal, *answer, note, stop]
    return [line for line in shown if any(line is one for one in kept)]


def page(
    top: Sequence[Line], name: str, body: Sequence[Line], bottom: Sequence[Line],
    width: int, height: int,
) -> list[Line]:  # fmt: skip
    """Return a whole screen: what does not fit of the body is counted, never dropped silently."""
    title = f"-- {name} "
    rule = Line(title + "-" * max(width - len(title), 0), "dim")
    room = max(height - len(top) - len(bottom) - 1, 0)
    shown = list(body[:room])
    if len(body) > room > 0:
        shown[-1] = Line(
            f"... {len(body) - room + 1} lines more; a taller window shows them", "dim"
        )
    shown += [Line("")] * (room - len(shown))
    return [*top, rule, *shown, *bottom][:height]


def whole(
    model: Model, screen: Screen, screens: Mapping[str, type[Screen]], now_s: float,
    width: int, height: int,
) -> list[Line]:  # fmt: skip
    """Return a whole screen with its head and foot, in which all `screens` stand by their keys."""
    # One blank apart: with two, the names of all screens take a second line at 80 columns.
    # Watch stands below, beside the stop key.
    names = " ".join(f"{key} {one.name}" for key, one in screens.items() if key != "w")
    top = head(model, now_s, width)
    bottom = foot(model, now_s, width, screen.hints_now, names, screen.entry(width))
    room = max(height - len(top) - len(bottom) - 1, 0)
    return page(top, screen.name, screen.body(now_s, width, room), bottom, width, height)
