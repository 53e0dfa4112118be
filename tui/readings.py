"""Readings with the limits that the bench card sets them. Pure."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from tui import view

if TYPE_CHECKING:
    from protocols.status import BenchStatus

VENTED_PA = 20_000.0
"""Air below this is let off by a person, and no air that is too low for a cut."""


def bars(pascal: float) -> str:
    """Return a gauge pressure in bar."""
    return f"{pascal / 1e5:.1f} bar"


def bounded(
    value: float, bounds: tuple[float | None, float | None], shown: Callable[[float], str]
) -> str:
    """Return a value; one outside its limits in brackets, with the limit."""
    low, high = bounds
    if low is not None and value < low:
        return f"[{shown(value)}] of {shown(low)} at least"
    if high is not None and value > high:
        return f"[{shown(value)}] of {shown(high)} at most"
    return shown(value)


def thrust_text(status: BenchStatus) -> str:
    """Return the thrust with its limit."""
    bounds = status.bounds.get("thrust_n", (None, None))
    if status.thrust_n is None or bounds[1] is None:
        return view.newtons(status.thrust_n)
    text = bounded(status.thrust_n, bounds, view.newtons)
    return text if text.startswith("[") else f"{text} of {bounds[1]:.0f}"


def readings_row(status: BenchStatus) -> view.Row | None:
    """Return the thrust with its limit, and what else is outside its limits; None for neither."""
    if view.is_old(status):
        return None
    parts = [] if status.thrust_n is None else [f"thrust {thrust_text(status)}"]
    air_pa, supply_v = status.air_pa, status.supply_v
    others = (
        ("air", "air_pa", None if air_pa is None or air_pa < VENTED_PA else air_pa, bars),
        ("supply", "supply_v", supply_v, view.volts),
    )
    for name, key, value, shown in others:
        if value is not None and key in status.bounds:
            text = bounded(value, status.bounds[key], shown)
            parts += [f"{name} {text}"] if text.startswith("[") else []
    return view.Row("Reads", "; ".join(parts)) if parts else None
