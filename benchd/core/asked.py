"""What the core does with each request of a client: who may, then its own handler."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
from msgspec.structs import replace

from benchd.core import alarms, asked_feed, asked_held, asked_people, card_change, cycle
from benchd.core.asking import answer, free, still
from benchd.core.facts import Dough
from benchd.core.inputs import SCALE, Asked
from benchd.core.loading import halt
from benchd.core.state import Job, Series, State
from benchd.core.turn import No, Turn
from protocols import requests as r

STOPPED = No("Stopped.", "stopped")


def asked(turn: Turn, said: Asked) -> None:
    """Take a request: who may, then its own handler."""
    cls = r.REQUESTS[said.method]
    try:
        params = msgspec.convert(said.params, cls)
    except msgspec.ValidationError as error:
        turn.refuse(
            said.client,
            said.ask,
            No(f"The request '{said.method}' cannot be read: {error}.", "params"),
        )
        return
    if said.client != SCALE:
        # A scale that sends by itself is no sign that somebody is there.
        turn.set(last_key_ns=turn.now_ns)
    if cls.control:
        no = _may_control(turn.state, said.client)
        if no is None and _is_anothers(turn.state, said.client) and not _takes_freely(params):
            ask = f"Client {turn.state.controller} is in control here: take it?"
            turn.refuse(said.client, said.ask, No(ask, "control"), question=True)
            return
        if no is not None:
            turn.refuse(said.client, said.ask, no)
            return
        _take_control(turn, said.client)
    no = HANDLERS[cls](turn, said, params)
    if no is not None:
        turn.refuse(said.client, said.ask, no)


def gone(turn: Turn, client: int) -> None:
    """A client is gone: what it moved by hand stops, its series finishes the portion and pauses."""
    state = turn.state
    if state.controller == client:
        turn.set(controller=None)
    job = state.job
    if job is not None and job.client == client and _ends_with_its_terminal(state, job):
        halt(turn)
        cycle.give_up(turn, No("The terminal that asked for it closed.", "gone"))
    series = state.series
    if series is not None and series.client == client and not series.paused:
        turn.set(
            series=replace(
                series, pausing=True, pause_reason="the terminal that ran it closed", ask=0
            )
        )


def _ends_with_its_terminal(state: State, job: Job) -> bool:
    """Return whether a job is a move by hand, or a portion that still waits for the button."""
    waits = job.data.get("button", False) and (state.work is None or not state.work.phases)
    return job.kind in cycle.MOVE_JOBS or waits


def _is_anothers(state: State, client: int) -> bool:
    return state.controller not in (None, client)


def _may_control(state: State, client: int) -> No | None:
    if state.controller == client or cycle.at_rest(state):
        return None
    return No(
        "Control changes hands only at rest, and the bench is busy: wait, or stop it first.",
        "control",
    )


def _takes_freely(params: r.Request) -> bool:
    """Return whether nobody is asked before this takes control: it only makes the bench safer, or
    it is how a person says yes."""
    power_off = isinstance(params, r.Drive) and not params.on
    return power_off or isinstance(params, r.Relieve | r.Control)


def _take_control(turn: Turn, client: int) -> None:
    before = turn.state.controller
    if before == client:
        return
    turn.set(controller=client)
    turn.record("control", client=client, before=before)
    if before is not None:
        text = f"Control went from client {before} to client {client}: client {before} watches now."
        turn.record("message", text=text)


def control(turn: Turn, said: Asked, params: r.Control) -> No | None:
    """Control is taken by asking for it, as by any other request that needs it."""
    answer(turn, said, client=said.client)
    return None


def stop(turn: Turn, said: Asked, params: r.Stop) -> No | None:
    """Stop now."""
    halt(turn, params.level)
    cycle.give_up(turn, STOPPED)
    cycle.end_series(turn, "stopped")
    answer(turn, said, stopped=True, level=params.level)
    return None


def pause(turn: Turn, said: Asked, params: r.Pause) -> No | None:
    """Pause at the next safe point."""
    series = turn.state.series
    if series is None:
        return No("No series is under way, so there is nothing to pause.", "series")
    if not series.paused:
        turn.set(series=replace(series, pausing=True, pause_reason="a person asked"))
    answer(turn, said, paused=True)
    return None


def finish(turn: Turn, said: Asked, params: r.Finish) -> No | None:
    """End the series after the portion under way."""
    series = turn.state.series
    if series is None:
        return No("No series is under way, so there is nothing to finish.", "series")
    if series.paused:
        cycle.end_series(turn, "finished early")
    else:
        turn.set(series=replace(series, finishing=True))
    answer(turn, said, finishing=True)
    return None


def resume(turn: Turn, said: Asked, params: r.Resume) -> No | None:
    """Go on with a paused series."""
    series = turn.state.series
    if series is None or not series.paused:
        return No("No series is paused, so there is nothing to resume.", "series")
    no = free(turn.state) or cycle.ready_for(turn.state, "series", turn.now_ns)
    if no is not None:
        return no
    turn.set(
        series=replace(
            series,
            client=said.client,
            ask=said.ask,
            paused=False,
            pausing=False,
            pause_reason="",
            after_pause=True,
            next_ns=turn.now_ns,
        )
    )
    turn.record(
        "series",
        what="resumed",
        made=series.made,
        count=series.count,
        reason="",
        first=series.first_portion,
    )
    return None


def _dough(said: Asked) -> Dough | No:
    return (
        said.dough if said.dough is not None else No("The request carries no dough card.", "params")
    )


def _take_card(turn: Turn, said: Asked, dough: Dough, *, confirmed: bool) -> bool:
    """Remember the card as the one used last, or ask the person first; False when it is asked."""
    carry = turn.state.carry
    ask = None if confirmed else card_change.question(carry.dough, dough)
    if ask is not None:
        turn.refuse(said.client, said.ask, No(ask, "card"), question=True)
        return False
    turn.set(carry=replace(carry, dough=replace(dough, text="")))
    return True


def portion(turn: Turn, said: Asked, params: r.Portion) -> No | None:
    """Make one portion."""
    dough = _dough(said)
    if isinstance(dough, No):
        return dough
    state = turn.state
    no = still(state) or cycle.ready_for(state, "portion", turn.now_ns)
    if no is None and state.series is not None:
        no = No("A series is paused: resume or finish it first.", "series")
    if no is None and cycle.travel_left_steps(state) < cycle.needed_steps(state, dough):
        no = No("The tube is at its end: one more portion would pass the heel.", "travel")
    if no is not None:
        return no
    if not _take_card(turn, said, dough, confirmed=params.confirmed):
        return None
    cycle.start_portion(turn, dough, said.client, said.ask, button=params.button)
    return None


def series(turn: Turn, said: Asked, params: r.Series) -> No | None:
    """Begin a series."""
    dough = _dough(said)
    if isinstance(dough, No):
        return dough
    state = turn.state
    shortest_s = cycle.shortest_period_s(state, dough)
    if not params.every_s >= shortest_s:
        text = (
            f"{params.every_s:.1f} s is shorter than one portion takes. Shortest is "
            f"{shortest_s:.1f} s."
        )
        return No(text, "period", params.every_s, shortest_s)
    if params.every_s > 3600 or (params.count is not None and not 1 <= params.count <= 10_000):
        return No("A series has 1 to 10000 portions, at most an hour apart.", "range")
    no = still(state) or cycle.ready_for(state, "series", turn.now_ns)
    if no is None and state.series is not None:
        no = No("A series is paused: resume or finish it first.", "series")
    if no is not None:
        return no
    if not _take_card(turn, said, dough, confirmed=params.confirmed):
        return None
    every_ns = round(params.every_s * 1e9)
    first = state.carry.last_portion + 1
    turn.set(
        series=Series(
            said.client,
            said.ask,
            dough,
            params.count,
            every_ns,
            turn.now_ns,
            card_stroke_m=dough.stroke_m,
            learned=first - 1,
        )
    )
    turn.record(
        "series",
        what="began",
        made=0,
        count=params.count,
        reason="",
        first=first,
    )
    return None


HANDLERS: dict[type[r.Request], Callable[[Turn, Asked, Any], No | None]] = {
    r.Stop: stop,
    r.Pause: pause,
    r.Finish: finish,
    r.Resume: resume,
    r.Control: control,
    r.Here: asked_people.here,
    r.Proofs: asked_people.tell_proofs,
    r.Clear: asked_people.clear,
    r.Seen: alarms.seen,
    r.Shelve: alarms.shelve,
    r.Unshelve: alarms.unshelve,
    r.Jog: asked_feed.jog,
    r.JogHeld: asked_held.jog_held,
    r.Hold: asked_held.hold,
    r.Relieve: asked_feed.relieve,
    r.Drive: asked_feed.drive,
    r.Portion: portion,
    r.Series: series,
    r.Arm: asked_feed.arm,
    r.Fire: asked_feed.fire,
    r.TubeIn: asked_feed.tube_in,
    r.Approach: asked_feed.approach,
    r.Contact: asked_feed.contact,
    r.Prime: asked_feed.prime,
    r.TubeOut: asked_feed.tube_out,
    r.Teach: asked_people.teach,
    r.SetByHand: asked_people.set_by_hand,
    r.Weigh: asked_people.weigh,
    r.WeighMany: asked_people.weigh_many,
    r.Unweigh: asked_people.unweigh,
    r.Note: asked_people.note,
    r.Attend: asked_people.attend,
}
"""What to do with each class of request; `status` and `follow` never reach the core."""
