"""Jobs, portions and series: how they begin, go on and end. Nothing here begins by itself but the
next portion of a series."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from benchd.core import adjust, eye, portion_record
from benchd.core.clock_map import unwrap
from benchd.core.effects import Answer
from benchd.core.facts import Dough
from benchd.core.facts import shortest_period_s as shortest_s_of
from benchd.core.interlocks import why_not
from benchd.core.short_way import BOARD_NUMBERS, IDLE_MODES
from benchd.core.state import Job, Series, State, Work
from benchd.core.turn import MOVING, No, Turn, pin
from protocols import messages as m
from protocols.codes import MOVE_ENDINGS, MOVES, OUTCOMES, PHASES

AFTER_PAUSE_NS = 60_000_000_000
"""A portion that follows the last one by more than this is of class after-pause."""

UNSEEN_NS = 2_000_000_000
"""A board at rest for so long without the event that ends a job: that event is lost."""

LATE_NS = 100_000_000
"""A beat of a series that begins within this time counts as on time."""

ENDS_AT_ANSWER = frozenset({"here", "clear", "drive", "arm"})
MOVE_JOBS = frozenset({"jog", "held", "relieve", "approach", "prime", "tube_out"})
NEEDS = {
    "jog": "feed",
    "held": "feed",
    "relieve": "feed",
    "tube_out": "feed",
    "drive": "feed",
    "approach": "prime",
    "prime": "prime",
    "portion": "portion",
    "stroke": "stroke",
}
"""Kind of job to the action whose interlocks must let it; the others move and power nothing."""

WAY_OUT = frozenset({9, 11, 14, 18})
"""Latches under which the board still takes a jog or a relieve in reverse (SPEC.md, section 11);
under any other the drive needs no power either."""

NO_TUBE = No("No tube is in: open its record first with 'benchd tube in'.", "tube")

TUBES_KEPT = 50
"""How many tubes are remembered after they went out (house rule)."""

CLOCK_DOUBT_US = 2_000
"""How far the board's time at a moment since the last beat may be guessed wrong."""


READY_FOR = ("feed", "prime", "portion", "series", "stroke")
"""Actions that `ready_for` knows."""


def at_rest(state: State) -> bool:
    """Return whether nothing moves and nothing is about to."""
    board = state.board
    return (
        state.job is None
        and state.work is None
        and (state.series is None or state.series.paused)
        and (state.link != "up" or (board.mode in IDLE_MODES and not board.phase))
    )


def ready_for(state: State, action: str, now_ns: int) -> No | None:
    """Return why an action is refused before the board is even asked, or None."""
    return ready_by_rules(state, action, why_not(state, action, now_ns))


def ready_by_rules(state: State, action: str, no: No | None) -> No | None:
    """As `ready_for`, once the daemon's rules were asked."""
    bars = BOARD_NUMBERS - WAY_OUT if action == "feed" else BOARD_NUMBERS
    held = [latch for latch in state.latches.values() if latch.number in bars]
    # What latched comes before what else is missing, as far as the board is heard at all.
    if held and (no is None or no.condition != "IL-19"):
        first = min(held, key=lambda latch: latch.number)
        return No(first.text, f"IL-{first.number:02d}", first.value, first.bound)
    if no is not None:
        return no
    if action not in ("prime", "portion", "series"):
        return None
    no = eye.untaught(state.facts)
    if no is None and not pin(state, "known"):
        no = No("Nobody said where the feed stands: say it with 'benchd here 0mm'.", "position")
    if no is None and action != "prime":
        no = _no_dough_ready(state)
    return no


def _no_dough_ready(state: State) -> No | None:
    """Return why there is nothing to make portions of, or None."""
    tube = state.carry.tube
    if tube is None:
        return NO_TUBE
    begun = tube.primed or tube.portions
    if not begun and eye.knows(state.facts) and not eye.sees_dough(state):
        return No(
            f"Tube {tube.id} was not primed and the eye sees no dough: 'benchd tube prime' first.",
            "tube",
        )
    return None


def travel_left_steps(state: State) -> int:
    """Return the feed left before the soft limit [steps]."""
    return state.facts.limits["travel_max"] - state.board.position


def needed_steps(state: State, dough: Dough) -> int:
    """Return the feed that one portion needs at its furthest [steps]."""
    return state.facts.steps(dough.take_up_m) + state.facts.steps(dough.stroke_m)


def power(turn: Turn) -> None:
    """Plan power for the drive, unless it has some."""
    if not pin(turn.state, "drive"):
        turn.plan("drive", 1)


def start_portion(
    turn: Turn, dough: Dough, client: int, ask: int, *, button: bool = False, late_ns: int = 0
) -> None:
    """Number a portion, plan its commands and open its record."""
    state = turn.state
    facts = state.facts
    number = state.carry.last_portion + 1
    if number & 0xFFFF == 0:  # 0 means "none" on the wire.
        number += 1
    tube = state.carry.tube
    assert tube is not None  # `ready_for` lets nothing be portioned without one.
    tube = replace(tube, portions=tube.portions + 1)
    steps = adjust.asked_steps(facts, dough)
    power(turn)
    if state.series is not None and not pin(state, "local-lock"):
        turn.plan("lock", 1)
    low = number & 0xFFFF
    speed = facts.speed(dough.push_speed_m_s)
    turn.plan("draft", low, steps["take_up"], steps["push"], speed)
    turn.plan(
        "detail", low, steps["draw_back"], round(dough.settle_s * 1000), round(dough.dwell_s * 1000)
    )
    turn.plan("run", low, int(button))
    work = Work(
        number,
        _class(state, turn.now_ns, tube.portions),
        dough,
        tube.id,
        tube.portions,
        steps,
        turn.now_ns,
        state.lines_bad + state.board.bad,
        late_ns=late_ns,
    )
    turn.begin_job("portion", client, ask, button=button)
    carry = replace(state.carry, last_portion=number, tube=tube, aim_kg=dough.aim_kg)
    turn.set(work=work, carry=carry)


def _class(state: State, now_ns: int, index: int) -> str:
    if index == 1:
        return "first"
    series = state.series
    if series is not None and series.after_pause:
        return "after-pause"
    if state.recent and state.recent[-1]["outcome"] != OUTCOMES[0]:
        return "after-pause"
    if state.last_end_ns == 0:  # The daemon began anew within a tube.
        return "after-pause"
    idle = max(AFTER_PAUSE_NS, 3 * series.every_ns if series is not None else 0)
    return "after-pause" if now_ns - state.last_end_ns > idle else "normal"


def start_stroke(turn: Turn, client: int, ask: int) -> None:
    """Plan the dry stroke that was armed."""
    dough = Dough("dry stroke", 0.0, 1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    turn.plan("fire")
    turn.begin_job("stroke", client, ask)
    turn.set(
        work=Work(
            0, "dry", dough, "", 0, {}, turn.now_ns, turn.state.lines_bad + turn.state.board.bad
        )
    )


def accepted(turn: Turn, tag: str, sent_ns: int) -> None:
    """A command of the job was accepted."""
    job = turn.state.job
    if job is None:
        return
    if job.kind in ENDS_AT_ANSWER and tag == job.kind:
        result = dict(job.data)
        proof = result.pop("proof", None)
        if proof:
            turn.record("proof", **proof)
        turn.finish_job(**result)
    elif tag in MOVING:
        begun(turn, sent_ns)


def begun(turn: Turn, sent_ns: int | None = None) -> None:
    """The board has begun what the job asked for."""
    job = turn.state.job
    if job is not None and not has_begun(job):
        data = {**job.data, "begun_ns": turn.now_ns, "sent_ns": sent_ns}
        turn.set(job=replace(job, data=data))


def has_begun(job: Job) -> bool:
    """Return whether the board is known to have begun what the job asked for."""
    return job.data.get("begun_ns") is not None


def moved(turn: Turn, said: m.Moved) -> None:
    """A feed move ended: go on with the job, or end it."""
    state = turn.state
    job = state.job
    facts = state.facts
    kind, ending, position = MOVES[said.kind], MOVE_ENDINGS[said.reason], said.position
    place_m = facts.metres(position) if pin(state, "known") else None
    if job is None or not _is_of_job(state, job, kind, said.t_us):
        gone, moved_m = state.let_go, None
        if gone is not None and _is_of_job(state, gone, kind, said.t_us):
            moved_m = facts.metres(position - gone.start_position)
            turn.set(let_go=None)
        turn.record("move", kind=kind, ending=ending, position_m=place_m, moved_m=moved_m)
        if job is not None and job.kind in MOVE_JOBS:
            turn.set(job=replace(job, start_position=position))
        return
    moved_m = facts.metres(position - job.start_position)
    turn.record("move", kind=kind, ending=ending, position_m=place_m, moved_m=moved_m)
    tube = state.carry.tube
    if job.kind == "prime" and tube is not None:
        flows = ending == "flowing"
        tube = replace(tube, primed=tube.primed or flows, no_flow=ending == "no-flow")
        turn.set(carry=replace(state.carry, tube=tube))
    if job.kind == "tube_out":
        _tube_out(turn, job, ending)
        return
    turn.finish_job(ending=ending, moved_m=moved_m, position_m=place_m)


def _is_of_job(state: State, job: Job, kind: str, ended_us: int) -> bool:
    """Return whether a move that ended is the job's: not a local one, nor one from before it.

    The answer to the job's own command may be lost, so the time of the end decides.
    """
    stage = job.data.get("stage", job.kind)
    sent_ns: int | None = job.data.get("sent_ns")
    pending = state.pending
    if sent_ns is None and pending is not None and pending.planned.tag == "move":
        sent_ns = pending.sent_ns
    if sent_ns is None or kind != ("jog" if stage == "back" else stage):
        return False
    board = state.board
    sent_us = board.t_us + (sent_ns - board.nonce_ns) // 1000
    return unwrap(ended_us, board.t_us) >= sent_us - CLOCK_DOUBT_US


def _tube_out(turn: Turn, job: Job, ending: str) -> None:
    """Go on with taking a tube out: after the relieve, back out; then close its record."""
    state = turn.state
    back = state.facts.limits["travel_min"] - state.board.position
    if (
        job.data["stage"] == "relieve"
        and ending in ("reached", "relieved")
        and pin(state, "known")
        and back < 0
    ):
        turn.set(
            job=replace(job, data={**job.data, "stage": "back", "begun_ns": None, "sent_ns": None})
        )
        turn.plan("move", move_kind("jog"), max(back, -999_999), state.facts.limits["draw_speed"])
        return
    tube_is_out(turn, job.data["heel_kg"], ending)


def tube_is_out(turn: Turn, heel_kg: float | None, ending: str) -> None:
    """Close the record of the tube, and say what is still loaded or live."""
    state = turn.state
    tube = state.carry.tube
    if ending in ("reached", "relieved") and tube is not None:
        turn.record("tube", id=tube.id, what="out", portions=tube.portions, heel_kg=heel_kg)
        others = tuple(other for other in state.carry.tubes_out if other != tube.id)
        tubes_out = (*others, tube.id)[-TUBES_KEPT:]
        turn.set(carry=replace(state.carry, tube=None, tubes_out=tubes_out))
    open_no = why_not(turn.state, "open", turn.now_ns)
    turn.finish_job(ending=ending, open=open_no.message if open_no else "")


def move_kind(name: str) -> int:
    """Return the number of a kind of move."""
    return MOVES.index(name)


def interrupt(turn: Turn, no: No, *, pause: bool = False) -> None:
    """Drop whatever is planned and end the job; a series pauses, or ends with `pause` False."""
    state = turn.state
    turn.set(outbox=tuple(p for p in state.outbox if p.why == "load"))
    if state.work is not None:
        _abandon(turn, state.work, no)
    turn.fail_job(no)
    series = turn.state.series
    if series is None:
        return
    if not pause:
        end_series(turn, no.message)
    elif not series.paused:  # Else why it paused stays what is told.
        reason = series.pause_reason if series.pausing else no.message
        turn.set(series=replace(series, pausing=True, pause_reason=reason))


def give_up(turn: Turn, no: No) -> None:
    """End the job after a stop; a portion that has begun keeps its record open until its end."""
    work = turn.state.work
    if work is not None and not work.phases:
        _abandon(turn, work, no)
    turn.fail_job(no)


def _abandon(turn: Turn, work: Work, no: No) -> None:
    """Close the record of a portion that never began, or whose end nobody saw."""
    state = turn.state
    hangs = work.number and portion_record.hangs(state, work)
    turn.set(work=None, uncut=work.number if hangs else state.uncut)
    if work.number:
        turn.record(
            "portion",
            number=work.number,
            outcome="unseen",
            tube=work.tube,
            reason=no.message,
            **{"class": "flagged", "phases": [PHASES[row[0]] for row in work.phases]},
        )


def end_series(turn: Turn, reason: str) -> None:
    """End the series and say so."""
    series = turn.state.series
    if series is None:
        return
    turn.set(series=None)
    turn.record(
        "series",
        what="ended",
        made=series.made,
        count=series.count,
        reason=reason,
        first=series.first_portion,
    )
    if series.ask:
        turn.emit(Answer(series.client, series.ask, _result(series, "ended", reason)))


def _result(series: Series, what: str, reason: str) -> dict[str, Any]:
    return {
        "what": what,
        "made": series.made,
        "count": series.count,
        "reason": reason,
        "first": series.first_portion,
    }


def _pause(turn: Turn, series: Series) -> None:
    turn.record(
        "series", what="paused", made=series.made, count=series.count, reason=series.pause_reason
    )
    if series.ask:
        turn.emit(Answer(series.client, series.ask, _result(series, "paused", series.pause_reason)))
    turn.set(series=replace(series, paused=True, pausing=False, ask=0))


def advance(turn: Turn) -> None:
    """Take the series one decision further, if it is between portions."""
    series = turn.state.series
    if series is None or series.paused or turn.state.job is not None or turn.state.work is not None:
        return
    state, now_ns = turn.state, turn.now_ns
    if series.count is not None and series.made >= series.count:
        end_series(turn, "all made")
        return
    if series.finishing:
        end_series(turn, "finished early")
        return
    if series.pausing:
        _pause(turn, series)
        return
    if travel_left_steps(state) < needed_steps(state, series.dough):
        if series.count is None:
            end_series(turn, "end of the tube")
        else:
            _pause(
                turn,
                replace(
                    series,
                    pause_reason=(
                        "The tube is at its end: take it out, put a new one in, then resume."
                    ),
                ),
            )
        return
    if now_ns < series.next_ns:
        return
    no = ready_for(state, "series", now_ns)
    if no is not None:
        _pause(turn, replace(series, pause_reason=no.message))
        return
    series = adjust.between(turn, series, travel_left_steps(state))
    first = series.first_portion or state.carry.last_portion + 1
    # A late beat waits for its turn and the next ones keep their distance from it: beats never
    # bunch up.
    late_ns = now_ns - series.next_ns
    is_late = late_ns >= LATE_NS
    beat_ns = now_ns if is_late else series.next_ns
    series = replace(
        series,
        next_ns=beat_ns + series.every_ns,
        first_portion=first,
        late=series.late + is_late,
    )
    turn.set(series=series)
    start_portion(turn, series.dough, series.client, 0, late_ns=late_ns if is_late else 0)
    if is_late:
        text = (
            f"Portion {turn.state.carry.last_portion} began {late_ns / 1e9:.1f} s late: the one "
            f"before was not over when its beat came ({series.every_ns / 1e9:g} s)."
        )
        turn.record("message", text=text)


def shortest_period_s(state: State, dough: Dough) -> float:
    """Return the shortest period of a series on this bench [s]; see `facts.shortest_period_s`."""
    return shortest_s_of(state.facts, dough)


def hold_back(turn: Turn) -> None:
    """Give up what was planned and may no longer begin: nothing moves by surprise later."""
    state = turn.state
    job = state.job
    if job is None or not any(planned.why == "job" for planned in state.outbox):
        return
    action = NEEDS.get(job.kind)
    if action == "portion" and state.series is not None:
        action = "series"
    if action is None or (job.kind == "drive" and not job.data["on"]):
        no = why_not(state, "feed", turn.now_ns)
    else:
        no = ready_for(state, action, turn.now_ns)
    if no is not None:
        interrupt(turn, no, pause=True)


def unseen_end(turn: Turn) -> None:
    """End what the board ended in an event that is lost for good, once it rests long enough."""
    state = turn.state
    job, rest_ns = state.job, state.board.rest_ns
    if rest_ns == 0 or pin(state, "waiting"):
        return
    if job is not None:
        begun_ns = job.data.get("begun_ns")
    else:
        begun_ns = 0 if state.work is not None else None
    if begun_ns is not None and turn.now_ns - max(begun_ns, rest_ns) > UNSEEN_NS:
        no = No("The board is at rest but did not say how the move ended.", "event")
        interrupt(turn, no, pause=True)
