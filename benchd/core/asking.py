"""What every request handler needs: an answer, and whether the bench is free."""

from __future__ import annotations

from typing import Any

from benchd.core import cycle
from benchd.core.effects import Answer
from benchd.core.inputs import Asked
from benchd.core.state import State
from benchd.core.turn import No, Turn

BUSY = No("The bench is busy: wait, or stop it first.", "busy")


def answer(turn: Turn, said: Asked, **result: Any) -> None:
    """Answer a request that is over at once."""
    turn.emit(Answer(said.client, said.ask, result))


def free(state: State) -> No | None:
    """Return why nothing may begin: a job, a portion or an answer is not over."""
    pending = state.pending
    waits = pending is not None and pending.planned.why != "free"
    return BUSY if state.job is not None or state.work is not None or waits else None


def still(state: State) -> No | None:
    """Return why nothing may begin while anything moves, or a series runs."""
    return BUSY if free(state) is not None or not cycle.at_rest(state) else None
