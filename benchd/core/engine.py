"""The core: one pure function from state, input and time to state, effects and the time it wants to
be woken.

Given the inputs, the decisions follow: no clock, no chance, no I/O. Every interlock is looked at in
every step, then the cycle.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
from msgspec.structs import replace

from benchd.core import alarms, asked, asked_held, cycle, eye, interlocks, loading
from benchd.core.clock_map import ClockMap
from benchd.core.effects import RANK, Effect
from benchd.core.facts import BenchFacts
from benchd.core.heard import HEARD
from benchd.core.inputs import (
    Asked,
    Carry,
    EventGap,
    Gone,
    Input,
    JournalState,
    LineFault,
    LinkDown,
    LinkUp,
    Opened,
    Stood,
    Wake,
    WallClock,
    WrongBoard,
)
from benchd.core.interlocks.silent_board import SILENCE_NS
from benchd.core.short_way import short_way
from benchd.core.state import Board, State
from benchd.core.turn import No, Turn
from protocols.messages import BoardMessage

CORE_VERSION = 8
"""Grows when the same inputs may lead to other decisions; written into every journal."""

JUMP_S = 2.0
"""Step of the time of day that is told [s]; what keeps a clock right slews it more gently."""

IDLE_WAKE_NS = 1_000_000_000


def first_state(facts: BenchFacts) -> State:
    """Return the state before the first input; `Opened` brings the card and what is carried
    over."""
    return State(facts=facts)


def step(state: State, given: Input | BoardMessage, now_ns: int) -> tuple[State, list[Effect], int]:
    """Return the next state, the effects in order of duty, and the time to be woken at [ns, host
    clock].

    Parameters: state : State; given : an Input or a board message; now_ns : int [ns], never less
    than in the step before.
    Raises: KeyError for an input that no table knows, which is an error of ours.
    """
    if isinstance(given, BoardMessage):
        short = short_way(state, given, now_ns)
        if short is not None:
            return *short, _wake_at_ns(short[0], now_ns)
    turn = Turn(state, now_ns)
    if isinstance(given, Input):
        TOLD[type(given)](turn, given)
    else:
        HEARD[type(given)](turn, given)
        if turn.state.last_word_ns != now_ns:
            turn.set(last_word_ns=now_ns)
    if turn.state.job is not None and turn.state.job.kind == "held":
        asked_held.lapse(turn, turn.state.job)
    interlocks.evaluate(
        turn, interlocks.HOT if _only_readings(state, turn.state) else interlocks.ALWAYS
    )
    cycle.advance(turn)
    if turn.state.latches is not state.latches:
        alarms.follow(turn, state.latches)
    if turn.state.alarms.shelved:
        alarms.lapse(turn)
    if turn.state.outbox:
        cycle.hold_back(turn)
        turn.send_next()
    if turn.state.carry is not state.carry and turn.state.carry != state.carry:
        # Whole it is long, most of it the cards, and the end of a portion says it three times.
        before = None if isinstance(given, Opened) else state.carry
        turn.record("carry", **_changed(before, turn.state.carry))
    effects = turn.effects
    if len(effects) > 1:
        effects.sort(key=lambda effect: RANK[type(effect)])
    return turn.state, effects, _wake_at_ns(turn.state, now_ns)


def _changed(before: Carry | None, carry: Carry) -> dict[str, Any]:
    """Return what is carried on, or what of it has changed."""
    names = (
        name
        for name in Carry.__struct_fields__
        if before is None or getattr(before, name) != getattr(carry, name)
    )
    return {name: msgspec.to_builtins(getattr(carry, name)) for name in names}


def _only_readings(before: State, after: State) -> bool:
    """Return whether a step changed nothing that the rules outside HOT rest on."""
    return (
        after.board.build is before.board.build
        and after.carry is before.carry
        and after.facts is before.facts
        and after.weights is before.weights
        and after.dry_needed is before.dry_needed
        and after.uncut == before.uncut
        and after.journal_ok is before.journal_ok
        and after.latches is before.latches
        and after.smear_run == before.smear_run
        and after.slow_run == before.slow_run
        and after.odd_after == before.odd_after
        and after.wall_us == before.wall_us
    )


def _wake_at_ns(state: State, now_ns: int) -> int:
    wake = now_ns + IDLE_WAKE_NS
    if state.link == "up" and state.last_word_ns + SILENCE_NS >= now_ns:
        wake = min(wake, state.last_word_ns + SILENCE_NS + 1)
    if state.outbox and state.outbox[0].not_before_ns > now_ns:
        wake = min(wake, state.outbox[0].not_before_ns)
    if state.alarms.shelved:
        wake = min(wake, alarms.next_end_ns(state))
    if state.job is not None and state.job.kind == "held":
        wake = min(wake, asked_held.lapses_ns(state.job))
    series = state.series
    if series is not None and not series.paused and state.job is None and now_ns < series.next_ns:
        wake = min(wake, series.next_ns)
    return wake


def opened(turn: Turn, said: Opened) -> None:
    """Take the bench card and what is carried over from the journal before."""
    facts, carry = said.facts, said.carry
    try:
        facts = eye.apply(facts, carry)
    except ValueError as error:
        carry = replace(carry, eye_empty=None, eye_dough=None)
        turn.record("message", text=f"The taught levels of the eye are forgotten: {error}")
    turn.set(
        facts=facts,
        carry=carry,
        wall_us=said.wall_us,
        wall_ns=turn.now_ns,
        last_key_ns=turn.now_ns,
        link_text="The port is not open yet.",
    )


def link_up(turn: Turn, said: LinkUp) -> None:
    """The port is open; the link greets the board by itself."""
    turn.set(
        link="greeting",
        link_text="The port is open, the board has not answered yet.",
        port=said.port,
    )
    known = turn.state.board
    board = Board(known.firmware, known.build, known.kind, known.boot, known.cause, known.uptime_s)
    # Nobody watched meanwhile: what stood then is not known to stand now.
    # Without a beat of this life no time of the board says whether a move is the one let go.
    turn.set(pending=None, outbox=(), let_go=None, board=board, clock=ClockMap())
    turn.set(dry_needed=True, relieved=False)


def link_down(turn: Turn, said: LinkDown) -> None:
    """The port is gone: whatever was under way is the board's now, and it stops by itself."""
    if turn.state.link == "down" and turn.state.link_text == said.reason:
        return
    turn.set(link="down", link_text=said.reason, pending=None, outbox=())
    turn.record("link", up=False, text=said.reason)
    cycle.interrupt(turn, No(f"The link to the board is gone: {said.reason}", "IL-19"))


def line_fault(turn: Turn, said: LineFault) -> None:
    """Lines were dropped."""
    turn.set(lines_bad=turn.state.lines_bad + said.count)


def event_gap(turn: Turn, said: EventGap) -> None:
    """Events are missing for good: a feed or a guard may have moved unseen."""
    turn.set(dry_needed=True, relieved=False)
    turn.record("gap", first=said.first, last=said.last)


def wrong_board(turn: Turn, said: WrongBoard) -> None:
    """This is not our board."""
    turn.set(link="wrong", link_text=said.reason, pending=None, outbox=())
    cycle.interrupt(turn, No(said.reason, "IL-19"))


def woken(turn: Turn, said: Wake) -> None:
    """Time passed, which the rules look at in every step."""


def journal_state(turn: Turn, said: JournalState) -> None:
    """The journal works, or not."""
    turn.set(journal_ok=said.ok, journal_text=said.reason)
    pending = turn.state.pending
    if not said.ok and pending is not None and pending.planned.tag == "run":
        # The board may have it already: only a stop is sure to leave no portion unrecorded.
        loading.halt(turn)
        cycle.interrupt(turn, No("Cannot record, so no portion is begun.", "IL-28"), pause=True)


def wall_clock(turn: Turn, said: WallClock) -> None:
    """The time of day; a jump of it is recorded, since nothing else rests on it."""
    state = turn.state
    jump_s = (said.wall_us - state.wall_us) / 1e6 - (turn.now_ns - state.wall_ns) / 1e9
    if state.wall_us and abs(jump_s) > JUMP_S:
        way = "forward" if jump_s > 0 else "back"
        turn.record(
            "message",
            text=f"The time of day jumped {way} by {abs(jump_s):.0f} s; the journal counts its "
            "times from its opening, and they do not jump.",
        )
    turn.set(wall_us=said.wall_us, wall_ns=turn.now_ns)


TOLD: dict[type[Input], Callable[[Turn, Any], None]] = {
    Opened: opened,
    LinkUp: link_up,
    LinkDown: link_down,
    LineFault: line_fault,
    EventGap: event_gap,
    WrongBoard: wrong_board,
    Stood: lambda turn, said: None,  # The journal keeps it, for whoever looks for a cause.
    Asked: asked.asked,
    Gone: lambda turn, said: asked.gone(turn, said.client),
    Wake: woken,
    JournalState: journal_state,
    WallClock: wall_clock,
}
"""What to do with each class of input that is not a board message."""
