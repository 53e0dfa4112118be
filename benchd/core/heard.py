"""What the core does with each message of the board."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from msgspec.structs import replace

from benchd.core import cycle, eye, portion_end, words
from benchd.core.clock_map import ClockMap
from benchd.core.effects import Renew, StopNow
from benchd.core.interlocks import drop
from benchd.core.loading import halt, is_loading, load_limits
from benchd.core.short_way import (
    IN_FORCE,
    air_away,
    mirrored,
    renews,
    rests,
    shown,
    with_beat,
    with_readings,
)
from benchd.core.state import Board, Latch, Planned
from benchd.core.turn import TRIES_MAX, No, Turn, pin
from protocols import messages as m
from protocols.codes import (
    CAUSES,
    DROP,
    INTERLOCK_BY_NUMBER,
    MODES,
    MOVE_ENDINGS,
    MOVES,
    OUTCOMES,
    PIN,
    REFUSALS,
)
from protocols.limits import digest

PIN_OF_COMMAND = {"here": "known", "drive": "drive", "lock": "local-lock", "adopt": "adopted"}
"""Pin that each of these commands switches."""

SOON = frozenset({3, 4})
"""Interlocks whose condition comes by itself: feed at rest, cutter home, for long enough."""

SOON_MS_MAX = 500

DRY_STROKE = 17
"""Interlock by which the board itself refuses a portion, or ends one before its cut."""

SECOND_LINE = {1: 1, 2: 1, 5: 0, 8: 0, 12: 0, 14: 0}
"""Trips at which the feed stops within a pulse: the daemon sends stop as well, as second line.
Level 1 takes power off the drive: at an open guard a hand may follow."""

TRIP_WAIT_NS = 1_000_000_000
"""A trip event follows the first beat that shows its latch at once; a damaged one comes again after
300 ms."""

STALE = next(row.code for row in REFUSALS if row.word == "stale")
BUSY = next(row.code for row in REFUSALS if row.word == "busy")

AGAIN_WITHIN_NS = 1_000_000_000
"""Motion that could not leave for longer than this would come as a surprise: it is given up."""


def greeting(turn: Turn, said: m.Bench) -> None:
    """Take a greeting: who is there, whether it restarted, and whether it has our limits."""
    state = turn.state
    before = state.board
    restarted = not before.build or said.boot != before.boot or said.uptime_s < before.uptime_s
    if not restarted and state.link in ("loading", "up"):
        return  # The link asked again because of a lost line; nothing is new.
    board = (
        Board(said.firmware, said.build, said.board, said.boot, said.cause, said.uptime_s)
        if restarted
        else before
    )
    turn.set(
        board=board,
        next_id=said.last_id + 1,
        pending=None,
        outbox=(),
        last_word_ns=turn.now_ns,
    )
    turn.record(
        "greeting",
        firmware=said.firmware,
        build=said.build,
        board=said.board,
        boot=said.boot,
        cause=said.cause,
        uptime_s=said.uptime_s,
        restarted=restarted,
    )
    if restarted:
        turn.set(clock=ClockMap(), dry_needed=True, relieved=False)
        cycle.interrupt(turn, No("The board restarted: nothing moves until you say so.", "IL-20"))
        turn.set(let_go=None)
    # Whatever still moves was asked for by an earlier life of the link or of this daemon.
    turn.emit(StopNow(0))
    if said.digest == digest(turn.state.facts.limits):
        turn.set(link="up", link_text="")
    else:
        load_limits(turn)


def beat(turn: Turn, said: m.Beat) -> None:
    """Take a beat: state, time exchange, and the moment to renew the lease."""
    before = turn.state
    turn.state = with_beat(before, said, turn.now_ns)
    if shown(said) != mirrored(before):
        _sync_latches(turn, shown(said))
    if renews(before, said):
        turn.emit(Renew(said.nonce))
        cycle.unseen_end(turn)
        eye.overdue(turn)
    if rests(before, said) and turn.state.pending is None and not turn.state.outbox:
        _tidy(turn, said)


def _tidy(turn: Turn, said: m.Beat) -> None:
    """At rest with nothing to send: see that our limits are in force, the switches are free, and
    no button starts what nobody asks for any more."""
    state = turn.state
    if state.job is None and pin(state, "waiting"):
        turn.emit(StopNow(0))  # The one before was damaged on its way.
    in_force = said.pins & IN_FORCE
    if state.link == "loading" or (state.link == "up" and not in_force and state.job is None):
        load_limits(turn)
    elif pin(state, "local-lock") and (state.series is None or state.series.paused):
        turn.plan("lock", 0, why="free")


def _sync_latches(turn: Turn, mask: int) -> None:
    """Bring the list of interlocks in line with the board's mask.

    Trip events bring the values. A latch that is heard of first in a beat is up at once, and is
    recorded when its event comes; without values if that does not come in time.
    """
    for number, interlock in INTERLOCK_BY_NUMBER.items():
        up = bool(mask >> (number - 1) & 1)
        held = turn.state.latches.get(number)
        if up and held is None:
            _seen_in_beat(turn, number)
        elif held is None or interlock.place == "daemon":
            continue
        elif not held.told and (not up or turn.now_ns - held.since_ns >= TRIP_WAIT_NS):
            turn.set(latches={**turn.state.latches, number: replace(held, told=True)})
            _tell_trip(turn, number, held.text, None, None)
        if held is not None and not up:
            drop(turn, number)


def _seen_in_beat(turn: Turn, number: int) -> None:
    board = turn.state.board
    if number == 20 and board.cause in CAUSES:
        # The board sends no trip for this one: its greeting has told cause and boot number.
        cause = CAUSES.index(board.cause)
        text = words.trip_text(turn.state.facts, number, cause, board.boot)
        _latch(turn, number, text, cause, board.boot)
        return
    text = words.latch_text(turn.state.facts, number)
    latch = Latch(number, turn.now_ns, text, latched=_stays(number), told=False)
    turn.set(latches={**turn.state.latches, number: latch})
    _pause(turn, number, text)


def _stays(number: int) -> bool:
    """Return whether an interlock of the board stays up until it is cleared."""
    return INTERLOCK_BY_NUMBER[number].reset != "auto"


def _latch(turn: Turn, number: int, text: str, value: int | None, bound: int | None) -> None:
    held = turn.state.latches.get(number)
    # One that a beat brought first has been up since then: it is told of now, not raised anew.
    since_ns = turn.now_ns if held is None or held.told else held.since_ns
    latch = Latch(number, since_ns, text, value, bound, _stays(number))
    turn.set(latches={**turn.state.latches, number: latch})
    _tell_trip(turn, number, text, value, bound)


def _tell_trip(turn: Turn, number: int, text: str, value: int | None, bound: int | None) -> None:
    """Record a trip; a series pauses for it."""
    code = INTERLOCK_BY_NUMBER[number].code
    turn.record("trip", interlock=code, up=True, text=text, value=value, bound=bound)
    _pause(turn, number, text)


def _pause(turn: Turn, number: int, text: str) -> None:
    series = turn.state.series
    if series is not None and not series.paused:
        code = INTERLOCK_BY_NUMBER[number].code
        turn.set(series=replace(series, pausing=True, pause_reason=f"{code}: {text}"))


def sample(turn: Turn, said: m.Sample) -> None:
    """Take the signals of one moment."""
    if is_loading(turn.state):
        # Without its limits the board reads no sensor, which says nothing of what those would read.
        turn.set_board(sample_k=said.k, position=said.position)
        turn.set(last_word_ns=turn.now_ns)
        return
    turn.state = with_readings(turn.state, said, turn.now_ns)
    job = turn.state.job
    if job is not None and job.kind == "teach":
        eye.gather(turn, job, said.eye)
    if not turn.state.dry_needed and air_away(turn.state, said.air):
        turn.set(dry_needed=True)


def yes(turn: Turn, said: m.Yes) -> None:
    """The command was accepted."""
    pending = turn.state.pending
    if pending is None or pending.id != said.id:
        return
    turn.set(pending=None)
    planned = pending.planned
    _take_over(turn, planned)
    if planned.why == "load":
        if planned.tag == "adopt":
            turn.set(link="up", link_text="")
            eye.adopted(turn)
        return
    if planned.why == "job":
        cycle.accepted(turn, planned.tag, pending.sent_ns)


def _take_over(turn: Turn, planned: Planned) -> None:
    """What an accepted command changed is true at once, not only from the next beat on."""
    if planned.tag == "here":
        turn.set_board(position=planned.values[0])
    name = PIN_OF_COMMAND.get(planned.tag)
    if name is not None:
        bit = 1 << PIN[name]
        on = planned.tag in ("here", "adopt") or bool(planned.values[0])
        pins = turn.state.board.pins
        turn.set_board(pins=pins | bit if on else pins & ~bit)


def no(turn: Turn, said: m.No) -> None:
    """The command was refused."""
    pending = turn.state.pending
    if pending is None or pending.id != said.id:
        return
    why = words.refusal(turn.state.facts, said.reason, said.value, said.bound)
    turn.set(pending=None)
    if said.reason == DRY_STROKE:
        turn.set(dry_needed=True)
    planned = pending.planned
    soon = turn.now_ns - pending.sent_ns < AGAIN_WITHIN_NS
    if soon and planned.tries < TRIES_MAX and _waits(turn, planned, said):
        return
    turn.record(
        "refusal",
        command=planned.tag,
        condition=why.condition,
        text=why.message,
        value=said.value,
        bound=said.bound,
    )
    if planned.why == "load" and said.reason == BUSY:
        turn.set(outbox=(), link="loading", link_text="The bench card waits for the bench to rest.")
        turn.fail_job(why)
    elif planned.why == "load":
        turn.set(
            outbox=(), link="wrong", link_text=f"The board refused the bench card: {why.message}"
        )
        turn.fail_job(why)
    elif planned.why == "job":
        cycle.interrupt(turn, why, pause=True)


def _waits(turn: Turn, planned: Planned, said: m.No) -> bool:
    """Plan a command again that came too late, or a moment too early; return whether it was."""
    left_ms = said.bound - said.value
    early = said.reason in SOON and 0 < left_ms <= SOON_MS_MAX
    if not early and said.reason != STALE:
        return False
    not_before_ns = turn.now_ns + (left_ms + 5) * 1_000_000 if early else 0
    again = replace(planned, tries=planned.tries + 1, not_before_ns=not_before_ns)
    turn.set(outbox=(again, *turn.state.outbox))
    return True


def phase(turn: Turn, said: m.Phase) -> None:
    """A phase began."""
    work = turn.state.work
    if work is not None and work.number & 0xFFFF == said.portion:
        cycle.begun(turn)
        row = (said.phase, said.t_us, said.position, said.eye, said.thrust, said.air, said.supply)
        turn.set(work=replace(work, phases=(*work.phases, row)))


def edge(turn: Turn, said: m.Edge) -> None:
    """A signal changed."""
    state = turn.state
    work = state.work
    if work is not None and work.number & 0xFFFF == said.portion:
        turn.set(work=replace(work, edges=(*work.edges, (said.signal, said.level, said.t_us))))
    pins = state.board.pins
    if said.signal < DROP:
        bit = 1 << said.signal
        pins = pins | bit if said.level else pins & ~bit
    turn.set_board(pins=pins, position=said.position)
    if said.signal in (PIN["guard"], PIN["stop"]) and not said.level and not state.dry_needed:
        turn.set(dry_needed=True)


def _at_rest(turn: Turn, position: int) -> None:
    """Something ended: the bench rests until the next beat says otherwise."""
    mode = MODES.index("ready" if pin(turn.state, "drive") else "drive-off")
    turn.set_board(position=position, mode=mode, phase=0)


def moved(turn: Turn, said: m.Moved) -> None:
    """A feed move by hand ended."""
    ending, kind = MOVE_ENDINGS[said.reason], MOVES[said.kind]
    _at_rest(turn, said.position)
    # What goes forward at our command has taken this back already when it was planned.
    relieved = kind == "relieve" and ending in ("reached", "relieved")
    turn.set(relieved=relieved or (turn.state.relieved and kind != "local"))
    tube = turn.state.carry.tube
    if relieved and tube is not None:
        # The plunger went back from the dough: contact is to be found again.
        tube = replace(tube, touched=False, felt=0, no_flow=False)
        turn.set(carry=replace(turn.state.carry, tube=tube))
    cycle.moved(turn, said)


def ended(turn: Turn, said: m.Ended) -> None:
    """A portion or a dry stroke ended."""
    _at_rest(turn, said.position)
    work = turn.state.work
    if work is not None and work.number & 0xFFFF == said.portion:
        portion_end.ended(turn, work, said)
    else:
        turn.record("ended", portion=said.portion, outcome=OUTCOMES[said.outcome], known=False)


def trip(turn: Turn, said: m.Trip) -> None:
    """An interlock of the board tripped."""
    text = words.trip_text(turn.state.facts, said.interlock, said.value, said.bound)
    turn.set_board(position=said.position)
    if said.interlock == DRY_STROKE:
        turn.set(dry_needed=True)
    if said.interlock in SECOND_LINE:
        halt(turn, SECOND_LINE[said.interlock])
        job = turn.state.job
        if job is not None and not cycle.has_begun(job):
            no = No(text, f"IL-{said.interlock:02d}", said.value, said.bound)
            cycle.interrupt(turn, no, pause=True)
    _latch(turn, said.interlock, text, said.value, said.bound)


def freed(turn: Turn, said: m.Freed) -> None:
    """A latch of the board was cleared."""
    held = turn.state.latches.get(said.interlock)
    if held is not None:
        if not held.told:
            _tell_trip(turn, said.interlock, held.text, None, None)
        drop(turn, said.interlock)


def ignored(turn: Turn, said: m.Ignored) -> None:
    """A local switch did nothing."""
    why = words.refusal(turn.state.facts, said.reason, 0, 0)
    turn.record("message", text=f"A local switch was pressed and did nothing: {why.message}")


def part(turn: Turn, said: m.Tally | m.Extremes) -> None:
    """A part of the portion's summary."""
    work = turn.state.work
    if work is None or work.number & 0xFFFF != said.portion:
        return
    values: dict[str, Any] = dict(zip(said.__struct_fields__, m.values_of(said), strict=True))
    turn.set(work=replace(work, **{said.tag: values}))


def lost(turn: Turn, said: m.Lost) -> None:
    """Events were lost on the board."""
    turn.record(
        "message",
        text=f"The board could not hold {said.count} events: they are lost and marked as a gap.",
    )


def boot(turn: Turn, said: m.Boot) -> None:
    """The board started; its greeting has said the rest."""


HEARD: dict[type[m.Message], Callable[[Turn, Any], None]] = {
    m.Bench: greeting,
    m.Beat: beat,
    m.Sample: sample,
    m.Yes: yes,
    m.No: no,
    m.Phase: phase,
    m.Edge: edge,
    m.Moved: moved,
    m.Ended: ended,
    m.Trip: trip,
    m.Freed: freed,
    m.Ignored: ignored,
    m.Tally: part,
    m.Extremes: part,
    m.Lost: lost,
    m.Boot: boot,
}
"""What to do with each class of board message."""
