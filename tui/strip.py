"""The strip of portions: one mark a weight, against the aim."""

from __future__ import annotations

from collections.abc import Mapping

from tui.frame import Line

SPAN = 0.10
"""Share of the aim at either end of the strip."""

LAST = 24
"""Portions shown at most: older ones say little of what the bench does now."""


def strip_lines(
    weights: Mapping[int, float], aim_kg: float | None, width: int, odd: float | None = None
) -> list[Line]:
    """Return scale and marks; nothing without weights or an aim.

    `weights`: portion to its weight [kg]. `odd`: share of the aim from which on a weight is odd. A
    mark is "." for one portion, ":" for more, "X" for an odd one, "o" for the last, and "<" or ">"
    at the edge for one that lies outside.
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
        elif odd is not None and abs(mass_kg / aim_kg - 1) > odd:
            marks[place] = "X"
        else:
            marks[place] = "." if marks[place] == " " else ":"
    last = round((shown[-1] / aim_kg - 1) / SPAN * half) + half
    if 0 <= last <= 2 * half and marks[last] != "X":
        marks[last] = "o"
    ticks = ["-"] * (2 * half + 1)
    ticks[half // 2] = ticks[half] = ticks[half + half // 2] = "+"
    share, crossed = f"{SPAN * 100:.0f} %", ", X odd" if "X" in marks else ""
    return [
        Line(f"     -{share} |{''.join(marks)}| +{share}  o last{crossed}"),
        Line(f"          |{''.join(ticks)}| of the aim"),
    ]
