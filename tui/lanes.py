"""A past portion as lanes of signs over time, beside the band of good ones. Pure.

A reading is a digit, its tenth of the lane's span; `^` and `v` stand where it lies above or below
all good ones. Where there is room a lane is several lines high: then a reading is a `*` at its
height, and the band is drawn as `:`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from math import floor
from typing import Any, NamedTuple

from tui.frame import Line
from tui.view import plain

STALE_S = 0.2
"""A reading older than this is none: samples come 20 a second."""

NEAR_S = 0.01
"""Time that a column spans in the closer view."""

LABEL, AT_CURSOR = 8, 23
"""Columns before a lane, and those after it for what stands at the cursor."""

SIGNS = {
    "guard": "g", "stop": "s", "home": "h", "far": "f", "ends": "e", "forward": "w",
    "reverse": "r", "button": "b", "drive": "d", "dough": "o",
}  # fmt: skip
"""Pin to the sign of its edge: a capital when it comes on."""


class Lane(NamedTuple):
    """How a reading is shown: label, factor from SI, unit, decimals, and the least span [SI]."""

    label: str
    factor: float
    unit: str
    digits: int
    span: float


LANES: dict[str, Lane] = {
    "feed_m": Lane("Feed", 1e3, " mm", 1, 0.002),
    "thrust_n": Lane("Thrust", 1.0, " N", 0, 20.0),
    "eye": Lane("Eye", 1.0, "", 0, 50.0),
    "air_pa": Lane("Air", 1e-5, " bar", 2, 50_000.0),
    "supply_v": Lane("Supply", 1.0, " V", 2, 0.2),
}

OUTSIDE = 0.05
"""Share of a lane's span by which a reading must leave the band to be marked: it is noise else."""


class Window(NamedTuple):
    """What is drawn: the first time [s], the time of a column [s], how many columns, the cursor
    [s], and the moment that the band is laid over at."""

    from_s: float
    step_s: float
    columns: int
    cursor_s: float
    align: str

    def edges(self, column: int) -> tuple[float, float]:
        """Return the first time of a column and of the next one [s]."""
        first_s = self.from_s + column * self.step_s
        return first_s, first_s + self.step_s

    def column(self, t_s: float) -> int:
        """Return the column of a time; outside the window it is none of its columns."""
        # A time that falls on an edge belongs to the column that begins there, as floats may not.
        return floor((t_s - self.from_s) / self.step_s + 1e-6)


def window(
    told: Mapping[str, Any], align: str, cursor_s: float, width: int, *, near: bool
) -> Window:
    """Return the whole portion, or 10 ms a column around the cursor."""
    columns = width - LABEL - AT_CURSOR
    if near:
        return Window(cursor_s - NEAR_S * (columns // 2), NEAR_S, columns, cursor_s, align)
    return Window(0.0, max(end_s(told) / (columns - 1), 1e-3), columns, cursor_s, align)


def end_s(told: Mapping[str, Any]) -> float:
    """Return the last time of a portion [s]."""
    return max((t_s for t_s, _ in told["events"]), default=0.0)


def zero_s(told: Mapping[str, Any], align: str) -> float:
    """Return the moment that times are told from; the beginning where it never came."""
    moment = told["at_s"].get(align)
    return 0.0 if moment is None else float(moment)


def reading(told: Mapping[str, Any], lane: str, t_s: float) -> float | None:
    """Return the last reading at a time; None where there is none, or only an old one."""
    index = bisect_right(told["t_s"], t_s + 1e-6) - 1
    if index < 0 or t_s - told["t_s"][index] > STALE_S:
        return None
    value: float | None = told["lanes"][lane][index]
    return value


def levels(told: Mapping[str, Any], lane: str) -> list[float]:
    """Return the levels that a sensor was taught: without dough, and with it; none for most."""
    return told["levels"].get(lane) or []


def usual(told: Mapping[str, Any], align: str, lane: str, t_s: float) -> list[float] | None:
    """Return least and most of the good ones at a time; None where none has a reading."""
    band = told["band"].get(align)
    if band is None:
        return None
    place = round((t_s - band["from_s"]) / band["step_s"])
    pair: list[float] | None = band[lane][place] if 0 <= place < len(band[lane]) else None
    return pair


TALL_LEAST, TALL_MOST = 3, 7
"""Lines of a lane that is several lines high."""

OTHERS = 5
"""Lines beside those of readings: phase, valve, link, time, event."""


def height(told: Mapping[str, Any], room: int) -> int:
    """Return the lines that each reading with a sensor may take of so much room: 1, or several."""
    fitted = sum(any(v is not None for v in told["lanes"][lane]) for lane in LANES)
    left = room - OTHERS - (len(LANES) - fitted)
    tall = min(left // max(fitted, 1), TALL_MOST)
    return tall if tall >= TALL_LEAST else 1


def lines(told: Mapping[str, Any], view: Window, tall: int = 1) -> Iterator[Line]:
    """Give all lanes and the line of time below them; each reading in `tall` lines."""
    yield _line("Phase", _phases(told, view), _phase_at(told, view.cursor_s))
    for lane in ("feed_m", "thrust_n", "eye"):
        yield from _reading_lines(told, view, lane, tall)
    yield _line("Valve", _valve(told, view), _valve_words(told, view.cursor_s))
    for lane in ("air_pa", "supply_v"):
        yield from _reading_lines(told, view, lane, tall)
    yield _line("Link", _link(told, view), _link_words(told, view.cursor_s))
    ruler = ["-"] * view.columns
    for name in ("push", "cut"):
        moment = told["at_s"].get(name)
        if moment is not None:
            _put(ruler, view.column(moment), "+")
    _put(ruler, view.column(view.cursor_s), "|")
    after_s = view.cursor_s - zero_s(told, view.align)
    yield Line(f"{'Time':<{LABEL}}{''.join(ruler)} {after_s:+.3f} s", "strong")


def _line(label: str, signs: list[str], at_cursor: str) -> Line:
    return Line(f"{label:<{LABEL}}{''.join(signs)} {plain(at_cursor)[: AT_CURSOR - 1]}")


def _put(signs: list[str], column: int, sign: str) -> None:
    if 0 <= column < len(signs):
        signs[column] = sign


def _reading_lines(told: Mapping[str, Any], view: Window, lane: str, tall: int) -> Iterator[Line]:
    known = [value for value in told["lanes"][lane] if value is not None]
    if not known:
        yield _line(LANES[lane].label, [" "] * view.columns, "nothing is fitted")
    elif tall == 1:
        yield _reading_line(told, view, lane, known)
    else:
        yield from _tall_lines(told, view, lane, tall)


def _tall_lines(told: Mapping[str, Any], view: Window, lane: str, tall: int) -> Iterator[Line]:
    """A lane as a picture: readings at their height, the band behind them, the span below."""
    how = LANES[lane]
    columns = []
    for column in range(view.columns):
        t_s = sum(view.edges(column)) / 2
        columns.append((reading(told, lane, t_s), usual(told, view.align, lane, t_s)))
    seen = [value for value, _ in columns if value is not None]
    seen += [end for _, pair in columns if pair is not None for end in pair]
    seen += levels(told, lane)
    low = min(seen, default=0.0)
    span = max(max(seen, default=0.0) - low, how.span)
    signs = [[" "] * view.columns for _ in range(tall)]

    def level(value: float) -> int:
        return tall - 1 - min(int(tall * (value - low) / span), tall - 1)

    for known in levels(told, lane):
        signs[level(known)] = ["-"] * view.columns
    for column, (value, pair) in enumerate(columns):
        if pair is not None:
            for place in range(level(pair[1]), level(pair[0]) + 1):
                signs[place][column] = ":"
        if value is not None:
            signs[level(value)][column] = _mark(value, pair, span) or "*"
    words = [_reading_words(told, view, lane), _level_words(told, lane), *[""] * (tall - 2)]
    words[-1] = f"{how.factor * low:.{how.digits}f} to {how.factor * (low + span):.{how.digits}f}"
    for place, row in enumerate(signs):
        yield _line(how.label if place == 0 else "", row, words[place])


def _mark(value: float, pair: list[float] | None, span: float) -> str:
    """Return the sign of a reading outside the band; "" inside, or without one."""
    if pair is not None and value > pair[1] + OUTSIDE * span:
        return "^"
    return "v" if pair is not None and value < pair[0] - OUTSIDE * span else ""


def _reading_line(told: Mapping[str, Any], view: Window, lane: str, known: list[float]) -> Line:
    how = LANES[lane]
    known = [*known, *levels(told, lane)]
    low, span = min(known), max(max(known) - min(known), how.span)
    signs = []
    for column in range(view.columns):
        t_s = sum(view.edges(column)) / 2
        value = reading(told, lane, t_s)
        pair = usual(told, view.align, lane, t_s)
        if value is None:
            signs.append(" ")
        else:
            tenth = str(min(int(10 * (value - low) / span), 9))
            signs.append(_mark(value, pair, span) or tenth)
    words = _reading_words(told, view, lane)
    both = f"{words} {_level_words(told, lane)}".rstrip()
    return _line(how.label, signs, both if len(both) < AT_CURSOR else words)


def _level_words(told: Mapping[str, Any], lane: str) -> str:
    return "/".join(f"{level:.0f}" for level in levels(told, lane))


def _reading_words(told: Mapping[str, Any], view: Window, lane: str) -> str:
    how = LANES[lane]

    def shown(value: float) -> str:
        return f"{value * how.factor:.{how.digits}f}"

    value = reading(told, lane, view.cursor_s)
    this = "no reading" if value is None else f"{shown(value)}{how.unit}"
    pair = usual(told, view.align, lane, view.cursor_s)
    return this if pair is None else f"{this} ({shown(pair[0])}..{shown(pair[1])})"


def _phases(told: Mapping[str, Any], view: Window) -> list[str]:
    signs = [" "] * view.columns
    ends = [t_s for t_s, _ in told["phases"][1:]] + [end_s(told)]
    for (begin_s, name), until_s in zip(told["phases"], ends, strict=True):
        first, last = view.column(begin_s), view.column(until_s)
        for column in range(first, last + 1):
            word = f"|{name}"
            place = column - first
            _put(signs, column, word[place] if place < len(word) else "-")
    return signs


def _phase_at(told: Mapping[str, Any], t_s: float) -> str:
    begun = [name for begin_s, name in told["phases"] if begin_s <= t_s + 1e-6]
    return begun[-1] if begun else "not begun"


def _valve_on(told: Mapping[str, Any], t_s: float) -> bool:
    levels = [level for at_s, pin, level in told["edges"] if pin == "valve" and at_s <= t_s + 1e-6]
    return bool(levels and levels[-1])


def _valve(told: Mapping[str, Any], view: Window) -> list[str]:
    signs = ["#" if _valve_on(told, view.edges(n)[1]) else "." for n in range(view.columns)]
    for t_s, pin, level in told["edges"]:
        sign = SIGNS.get(pin)
        if sign is not None:
            _put(signs, view.column(t_s), sign.upper() if level else sign)
    return signs


def _valve_words(told: Mapping[str, Any], t_s: float) -> str:
    last = [(pin, level) for at_s, pin, level in told["edges"] if at_s <= t_s + 1e-6]
    valve = "on" if _valve_on(told, t_s) else "off"
    seen = [one for one in last if one[0] != "valve"]
    if not seen:
        return valve
    pin, level = seen[-1]
    return f"{valve}; {pin} {'on' if level else 'off'}"


def _link(told: Mapping[str, Any], view: Window) -> list[str]:
    signs = []
    for column in range(view.columns):
        t_s = sum(view.edges(column)) / 2
        signs.append("." if reading(told, "feed_m", t_s) is not None else " ")
    for t_s, up in told["link"]:
        _put(signs, view.column(t_s), "." if up else "x")
    return signs


def _link_words(told: Mapping[str, Any], t_s: float) -> str:
    news = [up for at_s, up in told["link"] if at_s <= t_s + 1e-6]
    if news and not news[-1]:
        return "lost"
    return "readings come" if reading(told, "feed_m", t_s) is not None else "no reading"
