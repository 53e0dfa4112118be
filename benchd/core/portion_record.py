"""The portion record: everything the fitted sensors can give of one portion, from its events. SI,
None where not fitted."""

from __future__ import annotations

from typing import Any

from benchd.core.clock_map import since_s, unwrap
from benchd.core.state import State, Work
from protocols.codes import DROP, OUTCOMES, PHASES, PIN
from protocols.limits import NOT_FITTED


def reading(value: int, scale: float) -> float | None:
    """Return a 16-bit reading times its scale, None when not fitted.

    993 tenths are 99.3 and not 99.30000000000001.
    """
    return None if value == NOT_FITTED else round(value * scale, 6)


def cutter_times(work: Work) -> dict[str, float | None]:
    """Return the cutter's edges of one cut as times after the valve's edges [s], None where no
    switch saw it.

    start_delay_s: valve to leaving home; stroke_s: leaving home to far; return_delay_s: valve back
    to leaving far; return_s:
    leaving far to home.
    """
    first = _first_edges(work)
    out_us, back_us = _valve_us(work)
    left_home, at_far = first.get((PIN["home"], 0)), first.get((PIN["far"], 1))
    left_far, at_home = first.get((PIN["far"], 0)), first.get((PIN["home"], 1))
    return {
        "start_delay_s": _span_s(out_us, left_home),
        "stroke_s": _span_s(left_home, at_far),
        "return_delay_s": _span_s(back_us, left_far),
        "return_s": _span_s(left_far, at_home),
    }


def cut_s(work: Work) -> float | None:
    """Return how long the cutter took from the valve to its far end [s], None where no switch saw
    it."""
    return _span_s(_valve_us(work)[0], _first_edges(work).get((PIN["far"], 1)))


def drop_s(work: Work) -> float | None:
    """Return the time from the valve to the piece that falls past the drop eye [s], None where it
    saw none."""
    return _span_s(_valve_us(work)[0], _first_edges(work).get((DROP, 1)))


def _valve_us(work: Work) -> tuple[int | None, int | None]:
    """Return when the valve sent the cutter out and back; which level does, the card says."""
    edges_us = [t_us for signal, _, t_us in work.edges if signal == PIN["valve"]]
    out_us, back_us, *_ = [*edges_us, None, None]
    return out_us, back_us


def _first_edges(work: Work) -> dict[tuple[int, int], int]:
    first: dict[tuple[int, int], int] = {}
    for signal, level, t_us in work.edges:
        first.setdefault((signal, level), t_us)
    return first


def _span_s(start_us: int | None, end_us: int | None) -> float | None:
    if start_us is None or end_us is None:
        return None
    return since_s(end_us, start_us)


def hangs(state: State, work: Work) -> bool:
    """Return whether a portion that ended early left an uncut piece at the nozzle.

    Seen by the far switch; without one a cut counts once the valve had its usual time.
    """
    begun = {row[0]: row[1] for row in work.phases}
    if "far" in state.facts.fitted:
        cut = any(signal == PIN["far"] and level for signal, level, _ in work.edges)
    else:
        start_us, end_us = begun.get(PHASES.index("cut")), begun.get(PHASES.index("return"))
        usual_us = state.facts.limits["cut_ms"] * 1000
        cut = (
            start_us is not None
            and end_us is not None
            and unwrap(end_us, start_us) - start_us >= usual_us
        )
    return bool(begun) and not cut


def phase_times(work: Work, end_us: int) -> dict[str, float]:
    """Return how long each phase of a portion took [s], by its word."""
    ends_us = [row[1] for row in work.phases[1:]] + [end_us]
    return {
        PHASES[row[0]]: since_s(until_us, row[1])
        for row, until_us in zip(work.phases, ends_us, strict=False)
    }


def _phase_begins(state: State, work: Work) -> list[dict[str, Any]]:
    """Return when and where each phase began."""
    return [
        {
            "phase": PHASES[row[0]],
            "t_us": row[1],
            "t_ns": state.clock.host_ns(unwrap(row[1], state.board.t_us)),
            "position_m": state.facts.metres(row[2]),
        }
        for row in work.phases
    ]


def make(
    state: State, work: Work, *, outcome: int, kind: str, end_us: int, position: int
) -> dict[str, Any]:
    """Return the record of a portion that ended."""
    facts = state.facts
    tally, extremes = work.tally, work.extremes
    at = {PHASES[row[0]]: row for row in work.phases}
    cut = at.get("cut")
    error_ns = state.clock.error_ns
    return {
        "number": work.number,
        "class": kind,
        "outcome": OUTCOMES[outcome],
        "tube": work.tube,
        "index": work.index,
        "group": state.carry.group,
        "dough": work.dough.name,
        "aim_kg": work.dough.aim_kg,
        "late_s": work.late_ns / 1e9,
        "asked_m": {name: facts.metres(steps) for name, steps in work.asked.items()},
        "asked_steps": tally.get("asked"),
        "made_steps": tally.get("made"),
        "position_m": facts.metres(position),
        "phases": _phase_begins(state, work),
        "phase_s": phase_times(work, end_us),
        "cutter": cutter_times(work),
        **({"drop_s": drop_s(work)} if "drop" in facts.fitted else {}),
        "thrust_n": {
            "start": reading(work.phases[0][4], 0.1) if work.phases else None,
            "peak": reading(extremes.get("thrust_peak", NOT_FITTED), 0.1),
            "at_cut": reading(extremes.get("thrust_cut", NOT_FITTED), 0.1),
        },
        "eye": {
            "min": reading(extremes.get("eye_min", NOT_FITTED), 1),
            "mean": reading(extremes.get("eye_mean", NOT_FITTED), 1),
            "at_cut": reading(cut[3], 1) if cut else None,
            "gap_m": facts.metres(tally.get("gap", 0)) if "eye" in facts.fitted else None,
        },
        "air_pa": {
            "min": reading(extremes.get("air_min", NOT_FITTED), 100.0),
            "at_cut": reading(cut[5], 100.0) if cut else None,
        },
        "supply_v": {"min": reading(extremes.get("supply_min", NOT_FITTED), 0.001)},
        "bad_lines": state.lines_bad + state.board.bad - work.bad_before,
        "temperature_c": state.carry.tube.temperature_c if state.carry.tube else None,
        "by_hand": dict(state.carry.by_hand),
        "digests": {**facts.digests, "dough": work.dough.digest},
        "build": state.board.build,
        "clock_error_s": None if error_ns is None else error_ns / 1e9,
    }


def eye_changed(work: Work) -> bool:
    """Return whether the eye changed at all during a portion."""
    return any(signal == PIN["dough"] for signal, _, _ in work.edges)
