"""How a portion or a dry stroke ends: its class, its record, and what follows for the series."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from benchd.core import cycle, portion_record, seen
from benchd.core.state import UNWEIGHED_KEPT, State, Work
from benchd.core.turn import Turn, pin
from protocols import messages as m
from protocols.codes import OUTCOMES

RECENT_KEPT = 200


def ended(turn: Turn, work: Work, said: m.Ended) -> None:
    """A portion or a dry stroke ended: write its record and go on."""
    state = turn.state
    if work.number == 0:
        _stroke_ended(turn, work, said)
        return
    kind = work.kind
    signals = seen.signals(state, work, said.eye)
    strange = seen.strange(state, work, signals) if said.outcome == 0 else []
    if said.outcome != 0:
        kind = "tail" if 9 in state.latches else "flagged"
    elif cycle.travel_left_steps(state) < cycle.needed_steps(state, work.dough):
        kind = "tail"
    elif strange:
        kind = "flagged"
    record = portion_record.make(
        state, work, outcome=said.outcome, kind=kind, end_us=said.t_us, position=said.position
    )
    record["seen"] = strange
    turn.record("portion", **record)
    unweighed = state.carry.unweighed
    nothing = said.outcome == 0 and seen.saw_no_dough(state, work)
    if said.outcome == 0 and not nothing:
        unweighed = (*unweighed, work.number)[-UNWEIGHED_KEPT:]
    fact = {
        "number": work.number,
        "kind": kind,
        "outcome": OUTCOMES[said.outcome],
        "aim_kg": work.dough.aim_kg,
        "seen": strange,
        "like": seen.like(state, work.dough, work.asked, work.tube),
        "signals": signals,
    }
    turn.set(
        work=None,
        carry=replace(state.carry, unweighed=unweighed),
        recent=(*state.recent[-(RECENT_KEPT - 1) :], fact),
        last_end_ns=turn.now_ns,
        smear_run=_smear_run(state, work, said.outcome),
        slow_run=_slow_run(state, record["cutter"]["stroke_s"]),
        uncut=work.number if said.outcome and portion_record.hangs(state, work) else state.uncut,
    )
    reason = ""
    if said.outcome:
        reason = f"portion {work.number} ended {record['outcome']}"
    elif nothing:
        reason = (
            f"the eye saw no dough in portion {work.number}: the end of the tube, a void, a "
            "blocked nozzle, or a dirty eye?"
        )
    _portion_over(turn, said.outcome, reason, record)


def _smear_run(state: State, work: Work, outcome: int) -> int:
    if "eye" not in state.facts.fitted or outcome != 0:
        return state.smear_run
    return 0 if portion_record.eye_changed(work) or not pin(state, "dough") else state.smear_run + 1


def _slow_run(state: State, stroke_s: float | None) -> int:
    return state.slow_run + 1 if seen.is_slow(state.facts, stroke_s) else 0


def _portion_over(turn: Turn, outcome: int, reason: str, record: dict[str, Any]) -> None:
    """Answer for a single portion, or count it into the series, which pauses where there is a
    reason to."""
    series = turn.state.series
    if series is not None:
        series = replace(series, made=series.made + (outcome == 0), after_pause=False)
        if reason and not series.pausing:
            series = replace(series, pausing=True, pause_reason=reason)
        turn.set(series=series)
    turn.finish_job(**record)


def _stroke_ended(turn: Turn, work: Work, said: m.Ended) -> None:
    state = turn.state
    done = said.outcome == 0
    result = {
        "outcome": OUTCOMES[said.outcome],
        "cutter": portion_record.cutter_times(work),
        "trimmed": state.uncut if done and state.uncut else None,
    }
    turn.record("stroke", **result)
    turn.set(work=None, dry_needed=state.dry_needed and not done, uncut=0 if done else state.uncut)
    turn.finish_job(**result)
