"""A portion or a move that ended, as one line for people. Pure, and all in display units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tui import view


def how_far(result: Mapping[str, Any]) -> str:
    """Return how far a feed move went, which is unknown when its start was not heard, and how it
    ended."""
    moved = result.get("moved_m")
    # No minus before a way that rounds to nothing.
    way = "an unknown way" if moved is None else f"{round(moved * 1e3, 2) + 0.0:+.2f} mm"
    return f"Moved {way} ({result['ending']})"


def moved_text(result: Mapping[str, Any]) -> str:
    """Return how a feed move ended, and where the feed stands by it."""
    place = result.get("position_m")
    if place is None:
        return f"{how_far(result)}; where the feed stands is not known."
    return f"{how_far(result)}; the feed stands at {place * 1e3:.2f} mm."


PHASE_ORDER = ("take-up", "push", "draw-back", "settle", "cut", "return")


def portion_line(record: Mapping[str, Any]) -> str:
    """Return one line about a portion that ended: number, class, stroke, phase times, thrust.

    `record` is a portion record as the daemon publishes it; what it lacks is left out.
    """
    parts = [f"portion {record['number']} {record['class']}"]
    if record.get("outcome") != "complete":
        parts.append(
            f"{record.get('outcome', 'unseen').upper()} {record.get('reason', '')}".strip()
        )
    asked = record.get("asked_m")
    if asked:
        parts.append(f"stroke {view.millimetres(asked.get('push'))}")
    if asked and record.get("asked_steps") and record.get("made_steps") != record["asked_steps"]:
        made = record.get("made_steps") or 0
        parts.append(f"made {made / record['asked_steps'] * 100:.0f} % of it")
    times = record.get("phase_s") or {}
    shown = [f"{name} {times[name]:.2f}" for name in PHASE_ORDER if name in times]
    if shown:
        parts.append(f"{' '.join(shown)} s")
    peak = (record.get("thrust_n") or {}).get("peak")
    if peak is not None:
        parts.append(f"thrust {peak:.0f} N")
    if record.get("seen"):
        parts.append(f"SEEN: {'; '.join(record['seen'])}")
    return view.plain("; ".join(parts))


PORTION_HEAD = "portion          stroke take-up push draw-back settle  cut return thrust weight"
"""Heads of the columns of `portion_cells`."""


def portion_cells(record: Mapping[str, Any], mass_kg: float | None) -> str:
    """Return a portion that ended as one line of columns: mm, then seconds, N and g."""
    outcome = record.get("outcome")
    kind = record["class"] if outcome == "complete" else f"{outcome}".upper()
    times = record.get("phase_s") or {}
    widths = (7, 4, 9, 6, 4, 6)
    cells = [
        f"{times[name]:>{width}.2f}" if name in times else f"{'-':>{width}}"
        for name, width in zip(PHASE_ORDER, widths, strict=True)
    ]
    stroke = view.millimetres((record.get("asked_m") or {}).get("push"))
    thrust = view.newtons((record.get("thrust_n") or {}).get("peak"))
    return view.plain(
        f"{record['number']:>3} {kind:<11} {stroke:>7} {' '.join(cells)} {thrust:>6} "
        f"{view.weighed(mass_kg):>6}"
    )
