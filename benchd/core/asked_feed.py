"""Requests that feed, cut dry, or change the tube."""

from __future__ import annotations

from datetime import datetime
from math import pi

from msgspec.structs import replace

from benchd.core import cycle, eye, weighing
from benchd.core.asking import answer, still
from benchd.core.facts import SPEED_MIN, BenchFacts
from benchd.core.inputs import Asked, Tube
from benchd.core.interlocks import why_not
from benchd.core.state import State
from benchd.core.turn import No, Turn, pin, wall_us
from protocols import requests as r
from protocols.limits import JOG_MAX_M

FEEL_M = 0.002
"""Step toward the dough where no sensor measures contact: a person looks after each (house
rule)."""

AHEAD_US = 60_000_000
"""As much as the clock of whoever wrote down when a tube was opened may be ahead of this one."""


def hand_speed(facts: BenchFacts, speed_m_s: float) -> int:
    """Return the speed of a move by hand [steps/s], inside what board and card allow."""
    return max(SPEED_MIN, facts.speed(speed_m_s))


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
    cycle.power(turn)
    turn.plan("move", cycle.move_kind("jog"), steps, hand_speed(facts, speed_m_s))
    turn.begin_job("jog", said.client, said.ask)
    return None


def relieve(turn: Turn, said: Asked, params: r.Relieve) -> No | None:
    """Let the barrel's pressure off."""
    state = turn.state
    no = still(state) or cycle.ready_for(state, "feed", turn.now_ns) or no_relieve(state)
    if no is not None:
        return no
    _relieve(turn)
    turn.begin_job("relieve", said.client, said.ask)
    return None


def no_relieve(state: State) -> No | None:
    """Return why the barrel's pressure cannot be let off although the feed may move, or None."""
    if _way_back_steps(state) > 0:
        return None
    return No("The feed stands at the rear end of its travel: it cannot go back further.", "travel")


def _way_back_steps(state: State) -> int:
    """Return the way back that lets the pressure off, as far as travel allows [steps]."""
    facts = state.facts
    way = facts.steps(facts.relieve_m)
    if pin(state, "known"):
        way = min(way, state.board.position - facts.limits["travel_min"])
    return way


def _relieve(turn: Turn) -> None:
    cycle.power(turn)
    way, speed = _way_back_steps(turn.state), turn.state.facts.limits["draw_speed"]
    turn.plan("move", cycle.move_kind("relieve"), -way, speed)


def drive(turn: Turn, said: Asked, params: r.Drive) -> No | None:
    """Give power to the drive or take it away."""
    state, now_ns = turn.state, turn.now_ns
    may = cycle.ready_for if params.on else why_not
    no = still(state) or may(state, "feed", now_ns)
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
    opened_us = _opened_us(params.opened_at, wall_us(state, turn.now_ns))
    if isinstance(opened_us, No):
        return opened_us
    ask = None if params.confirmed else _doubt(state, params)
    if ask is not None:
        turn.refuse(said.client, said.ask, No(ask, "tube", params.net_mass_kg, None), question=True)
        return None
    tube = Tube(params.id, params.lot, params.net_mass_kg, opened_us, params.temperature_c)
    turn.set(carry=replace(state.carry, tube=tube))
    turn.record(
        "tube",
        id=params.id,
        what="in",
        lot=params.lot,
        net_mass_kg=params.net_mass_kg,
        opened_at=params.opened_at,
        opened_wall_us=opened_us,
        temperature_c=params.temperature_c,
        confirmed=params.confirmed,
        position_m=state.facts.metres(state.board.position),
    )
    answer(turn, said, id=params.id)
    return None


def _opened_us(text: str, now_us: int) -> int | No:
    """Return when a tube was opened, UTC [us], or why that cannot be."""
    if not text:
        return now_us
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        return No(
            f"'{text}' is no time with a zone, such as 2027-01-15T08:30:00Z: say when the tube was "
            "opened, or nothing for now.",
            "tube",
        )
    at_us = round(at.timestamp() * 1e6)
    if at_us > now_us + AHEAD_US:
        return No(f"'{text}' is yet to come: a tube that is in was opened before now.", "tube")
    return at_us


def _doubt(state: State, params: r.TubeIn) -> str | None:
    """Return what to ask about a tube: an id that was in before, a net mass that the barrel does
    not hold."""
    asks: list[str | None] = []
    if params.id in state.carry.tubes_out:
        asks.append(f"{params.id} was in before. The same tube again?")
    if params.net_mass_kg is not None:
        facts, dough = state.facts, state.carry.dough
        density_kg_m3 = weighing.DENSITY_KG_M3 if dough is None else dough.density_kg_m3
        volume_m3 = pi * facts.bore_m**2 / 4 * facts.travel_m
        asks.append(weighing.tube_question(params.net_mass_kg, volume_m3 * density_kg_m3))
    return " ".join(ask for ask in asks if ask) or None


def _tube_to_feed(turn: Turn) -> Tube | No:
    """Return the tube whose dough may be fed, or why nothing is."""
    state = turn.state
    no = still(state) or cycle.ready_for(state, "prime", turn.now_ns)
    if no is not None:
        return no
    if cycle.travel_left_steps(state) <= 0:
        return No("The feed is at the end of its travel.", "travel")
    if state.carry.tube is None:
        return cycle.NO_TUBE
    if state.carry.tube.no_flow:
        return No(
            "The last prime brought no dough, so the barrel may store force: 'benchd relieve', "
            "look what is in the way, then prime again.",
            "no-flow",
        )
    return state.carry.tube


def _feed_on(turn: Turn, said: Asked, kind: str, way: int) -> None:
    """Feed forward by at most `way` [steps, > 0], up to the end of travel."""
    cycle.power(turn)
    facts = turn.state.facts
    way = min(way, cycle.travel_left_steps(turn.state))
    turn.plan("move", cycle.move_kind(kind), way, hand_speed(facts, facts.prime_speed_m_s))
    turn.begin_job(kind, said.client, said.ask)


def approach(turn: Turn, said: Asked, params: r.Approach) -> No | None:
    """Feed until the plunger touches the dough; where no sensor measures that, one small step."""
    tube = _tube_to_feed(turn)
    if isinstance(tube, No):
        return tube
    facts = turn.state.facts
    way = facts.steps(facts.approach_m)
    if "thrust" not in facts.fitted:
        if eye.sees_dough(turn.state):
            return No(
                "The eye sees dough, so the plunger touches it: go on with 'benchd tube prime'.",
                "contact",
            )
        if tube.felt >= way:
            return No(
                f"{facts.approach_m * 1000:.0f} mm were fed toward the dough and nobody said that "
                "the plunger touches it: look whether the tube is in and how far it is, then "
                "'benchd jog' to it, or 'benchd tube out'.",
                "contact",
                facts.metres(tube.felt),
                facts.approach_m,
            )
        way = max(1, min(facts.steps(FEEL_M), way - tube.felt))
        # Counted before it is made: a step whose end nobody hears of counts as well.
        turn.set(carry=replace(turn.state.carry, tube=replace(tube, felt=tube.felt + way)))
    _feed_on(turn, said, "approach", way)
    return None


def contact(turn: Turn, said: Asked, params: r.Contact) -> No | None:
    """A person looked: the plunger touches the dough."""
    state = turn.state
    tube = state.carry.tube
    no = still(state) or (cycle.NO_TUBE if tube is None else None)
    if no is not None or tube is None:
        return no
    turn.set(carry=replace(state.carry, tube=replace(tube, touched=True)))
    turn.record(
        "tube", id=tube.id, what="contact", position_m=state.facts.metres(state.board.position)
    )
    answer(turn, said, id=tube.id)
    return None


def prime(turn: Turn, said: Asked, params: r.Prime) -> No | None:
    """Feed until the strand is continuous."""
    tube = _tube_to_feed(turn)
    if isinstance(tube, No):
        return tube
    state = turn.state
    limits = state.facts.limits
    felt = "thrust" in state.facts.fitted or tube.touched or eye.sees_dough(state)
    if not felt:
        return No(
            "Nobody knows whether the plunger touches the dough, for no sensor measures it: "
            "'benchd tube prime' feeds up to it in small steps and asks.",
            "contact",
        )
    _feed_on(turn, said, "prime", limits["first_flow"] + 2 * limits["prime_flow"])
    return None


def tube_out(turn: Turn, said: Asked, params: r.TubeOut) -> No | None:
    """Relieve, back out, close the record."""
    state = turn.state
    no = still(state) or cycle.ready_for(state, "feed", turn.now_ns) or no_tube_out(state)
    if no is not None:
        return no
    moves = no_relieve(state) is None
    if moves:
        _relieve(turn)
    turn.begin_job("tube_out", said.client, said.ask, stage="relieve", heel_kg=params.heel_kg)
    if not moves:
        cycle.tube_is_out(turn, params.heel_kg, "reached")
    return None


def no_tube_out(state: State) -> No | None:
    """Return why no tube can be taken out although the feed may move, or None."""
    return No("No tube is in.", "tube") if state.carry.tube is None else None
