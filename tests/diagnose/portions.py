"""Portions as tests want them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchd.diagnose.signals import MASS, Seen

EVEN: dict[str, float | None] = {
    MASS: 0.030,
    "start_delay_s": 0.020,
    "stroke_s": 0.300,
    "return_s": 0.350,
    "thrust_peak_n": 200.0,
    "gap_m": 0.0,
    "eye_min": 105.0,
    "eye_mean": 500.0,
    "eye_cut": 640.0,
    "missing_steps": 0.0,
    "bad_lines": 0.0,
    "late_s": 0.0,
}


def seen(number: int, *, signals: Mapping[str, float | None] | None = None, **changes: Any) -> Seen:
    """A portion with even signals, a little different from one to the next."""
    wobble = 1 + 0.002 * ((number * 7) % 5 - 2)
    even = {name: value and value * wobble for name, value in EVEN.items()}
    told: dict[str, Any] = {
        "number": number,
        "tube": "T1",
        "loading": 0,
        "index": number,
        "like": "card",
        "kind": "normal",
        "outcome": "complete",
        "place": 0.5,
        "readings_kg": (0.030,),
        "signals": even | dict(signals or {}),
    }
    return Seen(**(told | changes))


def tube(n: int, *, loading: int = 0) -> list[Seen]:
    """The portions of one tube."""
    return [
        seen(100 * loading + k, index=k, loading=loading, place=k / (n + 1))
        for k in range(1, n + 1)
    ]
