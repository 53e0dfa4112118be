"""Requests that feed, cut dry, or change the tube."""

from __future__ import annotations

from msgspec.structs import replace

from benchd.core import cycle
from benchd.core.asking import answer, still
from benchd.core.facts import BenchFacts
from benchd.core.inputs import Asked, Tube
from benchd.core.interlocks import why_not
from benchd.core.turn import No, Turn, pin, wall_us
from protocols import requests as r

JOG_MAX_M = 0.05
"""Longest single jog; a longer way takes several, each looked at (house rule)."""


def _speed(facts: BenchFacts, speed_m_s: float) -> int:
    return max(10, min(facts.steps(speed_m_s), facts.limits["speed_max"]))


def _power(turn: Turn) -> None:
    if not pin(turn.state, "drive"):
        turn.plan("drive", 1)


def jog(turn: Turn, said: Asked, params: r.Jog) -> No | None:
    """One bounded feed move by hand."""
    facts = turn.state.facts
    inside = abs(params.distance_m) <= JOG_MAX_M
    steps = facts.steps(params.distance_m) if inside else 0
    if not 0 < abs(steps) <= 999_999:
        return No(
            f"A jog goes from one step to {JOG_MAX_M * 1000:.0f} mm.",
            "range",
            params.distance_m,
            JOG_MAX_M,
        )
    speed_m_s = facts.jog_speed_m_s if params.speed_m_s is None else params.speed_m_s
    top_m_s = facts.metres(facts.limits["speed_max"])
    if not 0 < speed_m_s <= top_m_s * 1.001:
        return No(
            f"A speed is above 0 and at most {top_m_s * 1000:.1f} mm/s.",
            "range",
            speed_m_s,
            top_m_s,
        )
    no = still(turn.state) or cycle.ready_for(turn.state, "feed", turn.now_ns)
    if no is not None:
        return no
    _power(turn)
    turn.plan("move", cycle.move_kind("jog"), steps, _speed(facts, speed_m_s))
    turn.begin_job("jog", said.client, said.ask)
    return None


def relieve(turn: Turn, said: Asked, params: r.Relieve) -> No | None:
    """Let the barrel's pressure off."""
    no = still(turn.state) or cycle.ready_for(turn.state, "feed", turn.now_ns)
    if no is not None:
        return no
    if not _relieve(turn):
        return No(
            "The feed stands at the rear end of its travel: it cannot go back further.", "travel"
        )
    turn.begin_job("relieve", said.client, said.ask)
    return None


def _relieve(turn: Turn) -> bool:
    """Plan the way back that lets the pressure off, as far as travel allows; False if none is."""
    facts = turn.state.facts
    way = facts.steps(facts.relieve_m)
    if pin(turn.state, "known"):
        way = min(way, turn.state.board.position - facts.limits["travel_min"])
    if way <= 0:
        return False
    _power(turn)
    turn.plan("move", cycle.move_kind("relieve"), -way, facts.limits["draw_speed"])
    return True


def drive(turn: Turn, said: Asked, params: r.Drive) -> No | None:
    """Give power to the drive or take it away."""
    no = still(turn.state) or why_not(turn.state, "feed", turn.now_ns)
    if no is not None:
        return no
    turn.plan("drive", int(params.on))
    turn.begin_job("drive", said.client, said.ask, on=params.on)
    return None


def arm(turn: Turn, said: Asked, params: r.Arm) -> No | None:
    """Arm a dry stroke."""
    no = still(turn.state) or cycle.ready_for(turn.state, "stroke", turn.now_ns)
    if no is not None:
        return no
    turn.plan("arm")
    turn.begin_job("arm", said.client, said.ask)
    return None


def fire(turn: Turn, said: Asked, params: r.Fire) -> No | None:
    """Make the dry stroke that was armed."""
    no = still(turn.state) or cycle.ready_for(turn.state, "stroke", turn.now_ns)
    if no is not None:
        return no
    cycle.start_stroke(turn, said.client, said.ask)
    return None


def tube_in(turn: Turn, said: Asked, params: r.TubeIn) -> No | None:
    """Open the record of a tube."""
    state = turn.state
    no = still(state)
    if no is None and state.carry.tube is not None:
        no = No(
            f"Tube {state.carry.tube.id} is still in: take it out first with 'benchd tube out'.",
            "tube",
        )
    if no is None and params.net_mass_kg is not None and not 0 < params.net_mass_kg < 100:
        no = No("A net mass is above 0 g and below 100 kg.", "range", params.net_mass_kg)
    free_m = state.facts.travel_m
    if no is None and params.column_m is not None and not 0 < params.column_m <= free_m:
        text = (
            f"A column of {params.column_m * 1000:.0f} mm does not fit: "
            f"{free_m * 1000:.0f} mm are free."
        )
        no = No(text, "tube", params.column_m, free_m)
    if no is not None:
        return no
    opened_us = wall_us(state, turn.now_ns)
    tube = Tube(params.id, params.lot, params.net_mass_kg, opened_us, params.temperature_c)
    turn.set(carry=replace(state.carry, tube=tube), last_end_ns=0)
    turn.record(
        "tube",
        id=params.id,
        what="in",
        lot=params.lot,
        net_mass_kg=params.net_mass_kg,
        opened_at=params.opened_at,
        opened_wall_us=opened_us,
        temperature_c=params.temperature_c,
        position_m=state.facts.metres(state.board.position),
    )
    answer(turn, said, id=params.id)
    return None


def _feed_on(turn: Turn, said: Asked, kind: str, way_steps: int) -> No | None:
    state = turn.state
    no = still(state) or cycle.ready_for(state, "prime", turn.now_ns)
    if no is None and state.carry.tube is None:
        no = No("No tube is in: open its record first with 'benchd tube in'.", "tube")
    left = cycle.travel_left_steps(state)
    if no is None and left <= 0:
        no = No("The feed is at the end of its travel.", "travel")
    if no is not None:
        return no
    _power(turn)
    facts = state.facts
    turn.plan(
        "move",
        cycle.move_kind(kind),
        max(1, min(way_steps, left)),
        _speed(facts, facts.prime_speed_m_s),
    )
    turn.begin_job(kind, said.client, said.ask)
    return None


def approach(turn: Turn, said: Asked, params: r.Approach) -> No | None:
    """Feed until the plunger touches the dough."""
    facts = turn.state.facts
    return _feed_on(turn, said, "approach", facts.steps(facts.approach_m))


def prime(turn: Turn, said: Asked, params: r.Prime) -> No | None:
    """Feed until the strand is continuous."""
    limits = turn.state.facts.limits
    return _feed_on(turn, said, "prime", limits["first_flow"] + 2 * limits["prime_flow"])


def tube_out(turn: Turn, said: Asked, params: r.TubeOut) -> No | None:
    """Relieve, back out, close the record."""
    state = turn.state
    no = still(state) or cycle.ready_for(state, "feed", turn.now_ns)
    if no is None and state.carry.tube is None:
        no = No("No tube is in.", "tube")
    if no is not None:
        return no
    moves = _relieve(turn)
    turn.begin_job("tube_out", said.client, said.ask, stage="relieve", heel_kg=params.heel_kg)
    if not moves:
        cycle.tube_is_out(turn, params.heel_kg, "reached")
    return None
