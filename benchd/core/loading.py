"""Loading the bench card into the board: one `set` a value, then `adopt` with the digest over
all."""

from __future__ import annotations

from benchd.core.effects import StopNow
from benchd.core.state import State
from benchd.core.turn import Turn
from protocols.limits import LIMITS, digest


def load_limits(turn: Turn, **instead: int) -> None:
    """Plan the loading of every limit; `instead` replaces some for the moment."""
    values = {**turn.state.facts.limits, **instead}
    if turn.state.link != "up":
        turn.set(link="loading", link_text="The bench card is being loaded into the board.")
    for limit in LIMITS:
        turn.plan("set", limit.key, values[limit.name], why="load")
    turn.plan("adopt", digest(values), why="load")


def is_loading(state: State) -> bool:
    """Whether limits are on their way, so that the board may have none in force."""
    pending = state.pending
    if pending is not None and pending.planned.why == "load":
        return True
    return any(planned.why == "load" for planned in state.outbox)


def halt(turn: Turn, level: int = 0) -> None:
    """Send stop at once and forget every command planned or under way.

    What was being loaded is loaded again from the start, since the link forgets commands too.
    """
    state = turn.state
    turn.emit(StopNow(level))
    turn.set(outbox=(), pending=None)
    teaching = state.job is not None and state.job.kind == "teach"
    if state.link == "loading" or teaching:
        load_limits(turn)
