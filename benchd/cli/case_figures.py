"""The figures of a case file as inline SVG: a signal along the tube, and the time line of the
portion above those it is held against. Colours are those of the page, by class; no colour alone
tells anything, so that a print in grey says the same."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchd.cli import svg
from benchd.cli.svg import LEFT, RIGHT

if TYPE_CHECKING:
    from benchd.analysis.case_times import Lane
    from benchd.diagnose.matched import Far
    from benchd.diagnose.signals import Seen

LANES_SHOWN = 6
"""The portion itself, and the nearest good ones."""

LETTER_LEAST = 10.0
"""Units below which a phase is too short for its letter."""


def along_tube(tube: Sequence[Seen], one: Seen, name: str, row: Far | None) -> str:
    """Return a signal of all portions of a tube with one of them marked; "" where none has it.

    row: the signal beside matched ones, whose limits are drawn as a band.
    """
    from benchd.diagnose.findings import shown
    from benchd.diagnose.signals import SIGNALS

    points = [(other, value) for other in tube if (value := other.signals.get(name)) is not None]
    if len(points) < 2:
        return ""
    values = [value for _, value in points]
    low, high = limits = _limits(row)
    bottom, top = min(values + limits[:1]), max(values + limits[1:])
    room = (top - bottom) * 0.12 or abs(top) * 0.1 or 1.0
    bottom, top = bottom - room, top + room
    first, last = points[0][0].number, points[-1][0].number

    def x(number: int) -> float:
        return LEFT + 10 + (RIGHT - LEFT - 20) * (number - first) / max(last - first, 1)

    def y(value: float) -> float:
        return 150 - 136 * (value - bottom) / (top - bottom)

    parts = []
    if row is not None:
        parts.append(svg.rect("band", LEFT, y(high), RIGHT - LEFT, y(low) - y(high)))
        parts.append(svg.line("usual", LEFT, y(row.usual), RIGHT, y(row.usual)))
    parts.append(svg.line("axis", LEFT, 150, RIGHT, 150))
    for other, value in points:
        at = x(other.number), y(value)
        parts.append(svg.mark(*at) if other.number == one.number else svg.dot(*at, good=other.good))
        if other.number == one.number:
            parts.append(svg.text(at[0], at[1] - 11 if at[1] > 30 else at[1] + 20, str(one.number)))
    scale = row.usual if row is not None else top
    apart = y(min(values)) - y(max(values)) > 12
    for value in (max(values), min(values)) if apart else (max(values),):
        # Beside the axis there is no room for a long unit, which the words of the figure tell.
        label = shown(name, value, scale).removesuffix(" counts").removesuffix(" steps")
        parts.append(svg.text(LEFT - 4, y(value) + 4, label, "end", "small"))
    parts.append(svg.text(x(first), 164, str(first), "middle", "small"))
    parts.append(svg.text(x(last), 164, str(last), "middle", "small"))
    label = f"{SIGNALS[name].words} of each portion of the tube, portion {one.number} marked"
    return svg.drawing(170, label, parts)


def _limits(row: Far | None) -> list[float]:
    """Return the least and the most that chance allows; twice no number where nothing is known."""
    if row is None:
        return [float("inf"), float("-inf")]
    spread = abs((row.value - row.usual) / row.z) if row.z else 0.0
    return [row.usual - row.limit * spread, row.usual + row.limit * spread]


def time_lines(lanes: Sequence[Lane]) -> str:
    """Return the phases and edges of portions, one row each, the first one marked."""
    drawn = lanes[:LANES_SHOWN]
    if not drawn:
        return ""
    begin = min(lane.phases[0][1] for lane in drawn)
    end = max(max(lane.phases[-1][2], *(t for t, _ in lane.edges), begin) for lane in drawn)
    span = (end - begin) or 1.0

    def x(t_s: float) -> float:
        return LEFT + (RIGHT - LEFT) * (t_s - begin) / span

    parts: list[str] = []
    top = 22.0
    for at, lane in enumerate(drawn):
        high = 26.0 if at == 0 else 14.0
        parts.append(
            svg.text(
                LEFT - 6, top + high / 2 + 4, str(lane.number), "end", "" if at == 0 else "small"
            )
        )
        for k, (name, from_s, to_s) in enumerate(lane.phases):
            wide = x(to_s) - x(from_s)
            parts.append(svg.rect(f"tone{k % 2}", x(from_s), top, wide, high))
            if wide >= LETTER_LEAST:
                letter = svg.text((x(from_s) + x(to_s)) / 2, top + high / 2 + 4, name[0].upper())
                parts.append(letter)
        parts += [svg.line("edge", x(t), top - 3, x(t), top + high + 3) for t, _ in lane.edges]
        if at == 0:
            parts.append(svg.outline(x(lane.phases[0][1]), top, x(lane.phases[-1][2]), high))
            parts += _numbers([x(t) for t, _ in lane.edges], top - 6)
        top += high + 10
    parts.append(svg.line("axis", LEFT, top, RIGHT, top))
    for t_s in (begin, 0.0, end):
        if t_s == 0.0 and not (x(begin) + 45 < x(0.0) < x(end) - 45):
            continue
        anchor = "start" if t_s == begin else "end" if t_s == end else "middle"
        parts.append(svg.text(x(t_s), top + 14, f"{t_s:.2f} s", anchor, "small"))
    label = f"phases and edges in time of portion {drawn[0].number} and of good ones below it"
    return svg.drawing(top + 20, label, parts)


def _numbers(places: Sequence[float], y: float) -> list[str]:
    """Return 1, 2, 3 ... above edges; what would lie upon the one before is left out."""
    found: list[str] = []
    free = 0.0
    for number, place in enumerate(places, 1):
        if place >= free:
            found.append(svg.text(place, y, str(number), "middle", "small"))
            free = place + (8 if number < 9 else 14)
    return found
