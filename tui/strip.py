"""The strip of portions: one mark a weight, against the aim."""

from __future__ import annotations

from collections.abc import Mapping

from tui.frame import Line

SPAN = 0.10
"""Share of the aim at either end of the strip."""

LAST = 24
"""Portions shown at most: older ones say little of what the bench does now."""


def strip_lines(weights: Mapping[int, float], aim_kg: float | None, width: int) -> list[Line]:
    """Return scale and marks; nothing without weights or an aim.

    `weights`: portion to its weight [kg]. A mark is "." for one portion, ":" for more, "o" for the
    last, and "<" or ">" at the edge for one that lies outside.
    """
    shown = [weights[number] for number in sorted(weights)[-LAST:]]
    if not shown or not aim_kg:
        return []
    half = min((width - 32) // 2, 40)
    marks = [" "] * (2 * half + 1)
    for mass_kg in shown:
        place = round((mass_kg / aim_kg - 1) / SPAN * half) + half
        if place < 0 or place > 2 * half:
            marks[0 if place < 0 else -1] = "<" if place < 0 else ">"
        else:
            marks[place] = "." if marks[place] == " " else ":"
    last = round((shown[-1] / aim_kg - 1) / SPAN * half) + half
    if 0 <= last <= 2 * half:
        marks[last] = "o"
    ticks = ["-"] * (2 * half + 1)
    ticks[half // 2] = ticks[half] = ticks[half + half // 2] = "+"
    share = f"{SPAN * 100:.0f} %"
    return [
        Line(f"     -{share} |{''.join(marks)}| +{share}  o last"),
        Line(f"          |{''.join(ticks)}| of the aim"),
    ]
