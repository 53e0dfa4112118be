"""Readings with the limits that the bench card sets them. Pure."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from tui import view

if TYPE_CHECKING:
    from protocols.status import BenchStatus

VENTED_PA = 20_000.0
"""Air below this is let off by a person, and no air that is too low for a cut."""


def bars(pascal: float | None) -> str:
    """Return a gauge pressure in bar."""
    return "-" if pascal is None else f"{pascal / 1e5:.1f} bar"


def _outside(
    value: float, bounds: tuple[float | None, float | None], shown: Callable[[float], str]
) -> str:
    """Return a value outside its limits in brackets, with the limit; "" for one inside."""
    low, high = bounds
    if low is not None and value < low:
        return f"[{shown(value)}] of {shown(low)} at least"
    if high is not None and value > high:
        return f"[{shown(value)}] of {shown(high)} at most"
    return ""


def thrust_text(status: BenchStatus) -> str:
    """Return the thrust with its limit."""
    bounds = status.bounds.get("thrust_n", (None, None))
    shown = view.newtons(status.thrust_n)
    if status.thrust_n is None or bounds[1] is None:
        return shown
    return _outside(status.thrust_n, bounds, view.newtons) or f"{shown} of {bounds[1]:.0f}"


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
            text = _outside(value, status.bounds[key], shown)
            parts += [f"{name} {text}"] if text else []
    return view.Row("Reads", "; ".join(parts)) if parts else None
