"""Requests of a key that is held: the feed goes on while word comes that the key is still down.

The board has its own lease for such a move (`held_ms`), which stops it where this program fails.
"""

from __future__ import annotations

from msgspec.structs import replace

from benchd.core import cycle
from benchd.core.asked_feed import hand_speed
from benchd.core.asking import answer, still
from benchd.core.inputs import Asked
from benchd.core.loading import halt
from benchd.core.state import Job
from benchd.core.turn import No, Turn
from protocols import requests as r
from protocols.limits import HELD_LEAST_S, HELD_MAX_M, HELD_MOST_S, HELD_SPEED_MAX_M_S

LET_GO = No("The key was let go.", "released")
TOO_LATE = No("Word that the key is held came too late.", "held")


def _lease_ns(lease_s: float) -> int | No:
    if not HELD_LEAST_S <= lease_s <= HELD_MOST_S:
        return No(
            f"A held key counts for {HELD_LEAST_S * 1000:.0f} to {HELD_MOST_S * 1000:.0f} ms.",
            "range",
            lease_s,
            HELD_MOST_S,
        )
    return round(lease_s * 1e9)


def jog_held(turn: Turn, said: Asked, params: r.JogHeld) -> No | None:
    """A feed move by hand for as long as a key is held: short, slow, and ended by silence."""
    facts = turn.state.facts
    inside = abs(params.distance_m) <= HELD_MAX_M
    steps = facts.steps(params.distance_m) if inside else 0
    if steps == 0:
        return No(
            f"A held key feeds from one step to {HELD_MAX_M * 1000:.0f} mm.",
            "range",
            params.distance_m,
            HELD_MAX_M,
        )
    lease_ns = _lease_ns(params.lease_s)
    if isinstance(lease_ns, No):
        return lease_ns
    no = still(turn.state) or cycle.ready_for(turn.state, "feed", turn.now_ns)
    if no is not None:
        return no
    cycle.power(turn)
    speed = hand_speed(facts, min(facts.jog_speed_m_s, HELD_SPEED_MAX_M_S))
    turn.plan("move", cycle.move_kind("held"), steps, speed)
    turn.begin_job("held", said.client, said.ask, until_ns=turn.now_ns + lease_ns)
    return None


def hold(turn: Turn, said: Asked, params: r.Hold) -> No | None:
    """The key is still down; or it was let go."""
    job = turn.state.job
    if job is None or job.kind != "held" or job.client != said.client:
        return No("No move of a held key is under way.", "held")
    if params.lease_s == 0:
        _let_go(turn)
        answer(turn, said, held=False)
        return None
    if turn.now_ns >= lapses_ns(job):
        # Word that waited somewhere says nothing of now; `lapse` ends the move in this very step.
        return TOO_LATE
    lease_ns = _lease_ns(params.lease_s)
    if isinstance(lease_ns, No):
        return lease_ns
    turn.set(job=replace(job, data={**job.data, "until_ns": turn.now_ns + lease_ns}))
    answer(turn, said, held=True)
    return None


def lapse(turn: Turn, job: Job) -> None:
    """End the move of a key that nobody says is still down."""
    if turn.now_ns >= lapses_ns(job):
        _let_go(turn)


def lapses_ns(job: Job) -> int:
    """Return when the move of a held key ends unless word of it comes."""
    until_ns: int = job.data["until_ns"]
    return until_ns


def _let_go(turn: Turn) -> None:
    # The board would stop by its own lease too, but latch IL-18, which is for a host that failed.
    halt(turn)
    cycle.give_up(turn, LET_GO)
