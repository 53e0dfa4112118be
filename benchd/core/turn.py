"""One step of the core in the making: the state so far and the effects so far.

A Turn lives only inside `engine.step`; seen from outside the step stays a pure function. Helpers
that many rooms of the core
need are here: setting state, planning commands, answering and refusing.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from msgspec.structs import replace

from benchd.core.effects import Answer, Effect, Record, Refuse, Send
from benchd.core.state import Job, Pending, Planned, State
from protocols import messages
from protocols.codes import PIN

MOVING = frozenset({"move", "run", "fire"})
"""Commands that start motion and therefore carry the number of a beat."""

NONCE_AGE_MAX_NS = 150_000_000
"""A beat older than this is not used to start motion: the next one comes within 100 ms."""


NONCE_AGE_AGAIN_NS = 20_000_000
"""The same for a command that came too late before: right after a beat, so that a slow disk has all
the time there is."""

TRIES_MAX = 3


class No(NamedTuple):
    """Why something is not done: sentence, condition code, value and bound."""

    message: str
    condition: str = ""
    value: float | None = None
    bound: float | None = None


class Turn:
    """State and effects of one step."""

    def __init__(self, state: State, now_ns: int) -> None:
        self.state = state
        self.now_ns = now_ns
        self.effects: list[Effect] = []

    def set(self, **changes: Any) -> None:
        """Replace fields of the state."""
        self.state = replace(self.state, **changes)

    def set_board(self, **changes: Any) -> None:
        """Replace fields of what the board said."""
        self.state = replace(self.state, board=replace(self.state.board, **changes))

    def emit(self, effect: Effect) -> None:
        """Add an effect."""
        self.effects.append(effect)

    def record(self, kind: str, /, **data: Any) -> None:
        """Keep something in the journal and tell watchers."""
        self.effects.append(Record(kind, data))

    def plan(self, tag: str, *values: int, why: str = "job") -> None:
        """Queue a command; its number and, where it moves something, a fresh beat are put in when
        it goes out."""
        self.set(outbox=(*self.state.outbox, Planned(tag, values, why)))
        if tag == "run" or (tag == "move" and values[1] > 0):
            self.set(relieved=False)  # Fed forward, or about to be.

    def send_next(self) -> None:
        """Send the next planned command if none waits for its answer."""
        state = self.state
        if state.pending is not None or not state.outbox or state.link not in ("loading", "up"):
            return
        planned = state.outbox[0]
        moves = planned.tag in MOVING
        if self.now_ns < planned.not_before_ns:
            return
        oldest_ns = NONCE_AGE_AGAIN_NS if planned.tries else NONCE_AGE_MAX_NS
        if moves and self.now_ns - state.board.nonce_ns > oldest_ns:
            return
        tail = (state.board.nonce,) if moves else ()
        message = messages.MESSAGES[planned.tag].cls(state.next_id, *planned.values, *tail)
        self.emit(Send(messages.encode(message).decode("ascii"), moves))
        self.set(
            outbox=state.outbox[1:],
            pending=Pending(state.next_id, planned, self.now_ns),
            next_id=state.next_id + 1,
        )

    def finish_job(self, **result: Any) -> None:
        """End the job under way and answer whoever asked."""
        job = self.state.job
        self.set(job=None, let_go=None)
        if job is not None and job.ask:
            self.emit(Answer(job.client, job.ask, result))

    def fail_job(self, no: No) -> None:
        """End the job under way with a refusal."""
        job = self.state.job
        if job is None:
            return
        self.set(job=None, let_go=job)
        if job.ask:
            self.refuse(job.client, job.ask, no)

    def refuse(self, client: int, ask: int, no: No, *, question: bool = False) -> None:
        """Refuse a request."""
        self.emit(Refuse(client, ask, no.message, no.condition, no.value, no.bound, question))

    def begin_job(self, kind: str, client: int, ask: int, **data: Any) -> None:
        """Put a job under way."""
        self.set(job=Job(kind, client, ask, self.now_ns, self.state.board.position, data))


def pin(state: State, name: str) -> bool:
    """Return whether a pin of the newest beat is on; names in protocols.codes.PINS."""
    return bool(state.board.pins >> PIN[name] & 1)


def wall_us(state: State, now_ns: int) -> int:
    """Return the time of day for `now_ns`, UTC [us]."""
    return state.wall_us + (now_ns - state.wall_ns) // 1000
