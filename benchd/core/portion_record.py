"""The portion record: everything the fitted sensors can give of one portion, from its events. SI,
None where not fitted."""

from __future__ import annotations

import zlib
from typing import Any

from benchd.core.clock_map import unwrap
from benchd.core.state import State, Work
from protocols.codes import OUTCOMES, PHASES, PIN
from protocols.limits import NOT_FITTED


def reading(value: int, scale: float) -> float | None:
    """Return a 16-bit reading times its scale, None when not fitted."""
    return None if value == NOT_FITTED else value * scale


def cutter_times(work: Work) -> dict[str, float | None]:
    """Return the cutter's edges of one cut as times after the valve's edges [s], None where no
    switch saw it.

    start_delay_s: valve to leaving home; stroke_s: leaving home to far; return_delay_s: valve back
    to leaving far; return_s:
    leaving far to home.
    """
    first: dict[tuple[int, int], int] = {}
    for signal, level, t_us in work.edges:
        first.setdefault((signal, level), t_us)
    valve = [(level, t_us) for signal, level, t_us in work.edges if signal == PIN["valve"]]
    out_us = valve[0][1] if valve else None
    back_us = valve[1][1] if len(valve) > 1 else None
    left_home, at_far = first.get((PIN["home"], 0)), first.get((PIN["far"], 1))
    left_far, at_home = first.get((PIN["far"], 0)), first.get((PIN["home"], 1))

    def span(start: int | None, end: int | None) -> float | None:
        if start is None or end is None:
            return None
        return (unwrap(end, start) - start) / 1e6

    return {
        "start_delay_s": span(out_us, left_home),
        "stroke_s": span(left_home, at_far),
        "return_delay_s": span(back_us, left_far),
        "return_s": span(left_far, at_home),
    }


def phase_times(work: Work, end_us: int) -> dict[str, float]:
    """Return how long each phase of a portion took [s], by its word."""
    ends_us = [row[1] for row in work.phases[1:]] + [end_us]
    return {
        PHASES[row[0]]: (unwrap(until_us, row[1]) - row[1]) / 1e6
        for row, until_us in zip(work.phases, ends_us, strict=False)
    }


def make(
    state: State, work: Work, *, outcome: int, kind: str, end_us: int, position: int
) -> dict[str, Any]:
    """Return the record of a portion that ended."""
    facts = state.facts
    tally, extremes = work.tally, work.extremes
    at = {PHASES[row[0]]: row for row in work.phases}
    cut = at.get("cut")
    clock = state.clock

    def host_ns(t_us: int) -> int | None:
        return clock.host_ns(unwrap(t_us, state.board.t_us))

    return {
        "number": work.number,
        "class": kind,
        "outcome": OUTCOMES[outcome],
        "tube": work.tube,
        "index": work.index,
        "group": state.carry.group,
        "dough": work.dough.name,
        "aim_kg": work.dough.aim_kg,
        "asked_m": {name: facts.metres(steps) for name, steps in work.asked.items()},
        "asked_steps": tally.get("asked"),
        "made_steps": tally.get("made"),
        "position_m": facts.metres(position),
        "phases": [
            {
                "phase": PHASES[row[0]],
                "t_us": row[1],
                "t_ns": host_ns(row[1]),
                "position_m": facts.metres(row[2]),
            }
            for row in work.phases
        ],
        "phase_s": phase_times(work, end_us),
        "cutter": cutter_times(work),
        "thrust_n": {
            "start": reading(work.phases[0][4], 0.1) if work.phases else None,
            "peak": reading(extremes.get("thrust_peak", NOT_FITTED), 0.1),
            "at_cut": reading(extremes.get("thrust_cut", NOT_FITTED), 0.1),
        },
        "eye": {
            "min": reading(extremes.get("eye_min", NOT_FITTED), 1),
            "mean": reading(extremes.get("eye_mean", NOT_FITTED), 1),
            "at_cut": reading(cut[3], 1) if cut else None,
            "gap_m": facts.metres(tally.get("gap", 0)),
        },
        "air_pa": {
            "min": reading(extremes.get("air_min", NOT_FITTED), 100.0),
            "at_cut": reading(cut[5], 100.0) if cut else None,
        },
        "supply_v": {"min": reading(extremes.get("supply_min", NOT_FITTED), 0.001)},
        "bad_lines": state.lines_bad + state.board.bad - work.bad_before,
        "temperature_c": state.carry.tube.temperature_c if state.carry.tube else None,
        "by_hand": dict(state.carry.by_hand),
        "digests": {**facts.digests, "dough": zlib.crc32(work.dough.text.encode())},
        "build": state.board.build,
        "clock_error_s": None if clock.error_ns is None else clock.error_ns / 1e9,
    }


def eye_changed(work: Work) -> bool:
    """Return whether the eye changed at all during a portion."""
    return any(signal == PIN["dough"] for signal, _, _ in work.edges)
