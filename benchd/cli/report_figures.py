"""The figures of a day's page as inline SVG: the strip of portions, and control charts."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from benchd.cli import svg
from benchd.cli.chart_text import UNITS
from benchd.cli.judge_text import digits_for
from benchd.cli.svg import LEFT, RIGHT, WIDE

if TYPE_CHECKING:
    from benchd.analysis.charts import Chart
    from benchd.analysis.weighed import Made

A_ROW = 25
"""Portions side by side in the strip."""

MOST = 400
"""Portions of a day that are drawn; of more, the last ones."""

ROW_HIGH = 58.0
CELL = (WIDE - 8) / A_ROW
FAR = 2.0
"""Tolerances from the aim at which a bar of the strip ends."""


def strip(portions: Sequence[Made], tolerances: Sequence[float], odd: Collection[int]) -> str:
    """Return the strip of portions: a bar each, up for above the aim and down for below; its full
    length is twice the tolerance. tolerances: share of the aim, one for each portion."""
    drawn = list(zip(portions, tolerances, strict=True))[-MOST:]
    if not drawn:
        return ""
    parts: list[str] = []
    for at in range(0, len(drawn), A_ROW):
        parts += _row(drawn[at : at + A_ROW], 10 + (at // A_ROW) * ROW_HIGH, odd)
    rows = -(-len(drawn) // A_ROW)
    return svg.drawing(rows * ROW_HIGH + 14, "the portions in order, by weight", parts)


def _row(drawn: Sequence[tuple[Made, float]], top: float, odd: Collection[int]) -> Sequence[str]:
    middle, half = top + 18, 16.0
    right = 4 + len(drawn) * CELL
    parts = [
        svg.rect("band", 4, middle - half / FAR, right - 4, half * 2 / FAR),
        svg.line("usual", 4, middle, right, middle),
    ]
    before = None
    for at, (one, tolerance) in enumerate(drawn):
        x = 4 + (at + 0.5) * CELL
        if one.loading != before:
            parts.append(svg.line("edge", x - CELL / 2, top - 4, x - CELL / 2, middle + half + 4))
            before = one.loading
        parts += _portion(one, tolerance, x, middle, half, marked=one.number in odd)
        if at == 0 or at == len(drawn) - 1 or one.number % 5 == 0:
            parts.append(svg.text(x, middle + half + 15, str(one.number), "middle", "small"))
    return parts


def _portion(
    one: Made, tolerance: float, x: float, middle: float, half: float, *, marked: bool
) -> list[str]:
    if one.outcome != "complete":
        arm = 4.5
        return [
            svg.line("cross", x - arm, middle - arm, x + arm, middle + arm),
            svg.line("cross", x - arm, middle + arm, x + arm, middle - arm),
        ]
    if one.mass_kg is None:
        return [svg.text(x, middle + 4, "?", "middle", "small")]
    off = (one.mass_kg / one.aim_kg - 1) / (FAR * tolerance)
    end = middle - max(-1.0, min(1.0, off)) * half
    kind = "bar" if one.kind == "normal" else "open"
    bar = svg.rect(kind, x - 3.5, min(middle, end) - 0.75, 7, abs(end - middle) + 1.5)
    return [bar, svg.mark(x, end, 5)] if marked else [bar]


def chart(of: Chart) -> str:
    """Return a control chart with its limits; "" where there is none to draw."""
    if of.drawn is None or len(of.points) < 2:
        return ""
    factor, unit = UNITS[of.unit]
    points = [(number, value * factor) for number, value in of.points[-MOST:]]
    centre, half = of.drawn.centre * factor, 3 * of.drawn.sigma * factor
    low, high = centre - half, centre + half
    values = [value for _, value in points]
    bottom, top = min(*values, low), max(*values, high)
    room = (top - bottom) * 0.08 or 1.0
    bottom, top = bottom - room, top + room

    def x(at: int) -> float:
        return LEFT + 8 + (RIGHT - LEFT - 16) * at / (len(points) - 1)

    def y(value: float) -> float:
        return 118 - 106 * (value - bottom) / (top - bottom)

    digits = digits_for(half)
    parts = [
        svg.rect("band", LEFT, y(high), RIGHT - LEFT, y(low) - y(high)),
        svg.line("usual", LEFT, y(centre), RIGHT, y(centre)),
        svg.line("axis", LEFT, 118, RIGHT, 118),
    ]
    for level in (high, low):
        words = f"{level:.{digits}f} {unit}"
        parts.append(svg.text(LEFT - 4, y(level) + 4, words, "end", "small"))
    path = " ".join(f"{x(at):.1f},{y(value):.1f}" for at, (_, value) in enumerate(points))
    parts.append(f'<polyline class="path" points="{path}"/>')
    beyond = set(of.beyond)
    many = len(points) > 80
    for at, (number, value) in enumerate(points):
        if number in beyond:
            parts.append(svg.mark(x(at), y(value), 5))
        elif not many:
            parts.append(svg.dot(x(at), y(value), good=True, r=2.2))
    for at, anchor in ((0, "start"), (len(points) - 1, "end")):
        parts.append(svg.text(x(at), 132, str(points[at][0]), anchor, "small"))
    return svg.drawing(138, f"control chart of {of.signal}", parts)
