"""Requests by which a person tells the bench something: a place, a proof, a weight, a note."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Any, NamedTuple

from msgspec.structs import replace

from benchd.core import eye, proofs, weighing
from benchd.core.asking import answer, still
from benchd.core.inputs import Asked, Proof
from benchd.core.interlocks import RULE_BY_NUMBER, drop, why_not
from benchd.core.loading import load_limits
from benchd.core.state import UNWEIGHED_KEPT, State, Weighed
from benchd.core.turn import No, Turn, pin, wall_us
from benchd.core.words import do_what
from protocols import requests as r
from protocols.codes import INTERLOCK_BY_NUMBER, OUTCOMES

WEIGHTS_KEPT = 200
ASKS_SHOWN = 5
SAME_KG = 1e-9
"""Weights nearer than this are one reading, written in other units."""

BY_HAND = ("air_pa", "needle_turns", "nozzle_m", "sleeve", "lamp")
"""What a person sets on the bench and tells the journal."""


def here(turn: Turn, said: Asked, params: r.Here) -> No | None:
    """Say where the feed stands."""
    no = still(turn.state) or why_not(turn.state, "feed", turn.now_ns)
    if no is not None:
        return no
    if not 0 <= params.position_m <= turn.state.facts.travel_m:
        return No(
            f"The feed cannot stand at {params.position_m * 1000:g} mm: its travel is from 0 mm to "
            f"{turn.state.facts.travel_m * 1000:.0f} mm; measure again and say where it is.",
            "range",
            params.position_m,
        )
    turn.plan("here", turn.state.facts.steps(params.position_m))
    turn.begin_job("here", said.client, said.ask, position_m=params.position_m)
    return None


def tell_proofs(turn: Turn, said: Asked, params: r.Proofs) -> No | None:
    """Tell what clearing an interlock asks a person to type, unless it cannot be cleared now."""
    no = _no_clearing(turn.state, params.interlock, turn.now_ns)
    if no is not None:
        return no
    statements = proofs.statements_of(params.interlock, turn.state.facts)
    answer(turn, said, statements=[{"statement": text, "word": word} for text, word in statements])
    return None


def clear(turn: Turn, said: Asked, params: r.Clear) -> No | None:
    """Let go of an interlock whose cause is gone."""
    number = params.interlock
    no = _no_clearing(turn.state, number, turn.now_ns)
    if no is not None:
        return no
    row = INTERLOCK_BY_NUMBER[number]
    proof: dict[str, Any] = {}
    if number in proofs.PROOFS:
        asked = proofs.statements_of(number, turn.state.facts)
        no = proofs.check_words(asked, params.name, params.words)
        if no is not None:
            return no
        proof = {"interlock": row.code, "name": params.name, "words": list(params.words)}
    if number == 15:
        _prove(turn, params.name)
        turn.record("proof", **proof)
        answer(turn, said, interlock=row.code)
        return None
    if row.place == "daemon":
        return _clear_own(turn, said, number)
    turn.plan("clear", number)
    # The board may still refuse, and then nothing was proven.
    turn.begin_job("clear", said.client, said.ask, interlock=row.code, proof=proof)
    return None


def _no_clearing(state: State, number: int, now_ns: int) -> No | None:
    """Return why an interlock cannot be cleared, as far as that is known before the board is asked
    or its rule looked at."""
    row = INTERLOCK_BY_NUMBER.get(number)
    latch = state.latches.get(number)
    if row is None or latch is None:
        return No(f"IL-{number:02d} is not up, so there is nothing to clear.", "clear", number)
    if row.place == "daemon" and number != 15:
        return None
    if number != 15 and not latch.latched:
        text = f"Nothing to clear: {latch.text} {do_what(number, row.reset, latched=False)}"
        return No(text, row.code)
    # A proof of the bench names the firmware it rests on, so its board must be there.
    no = still(state) or why_not(state, "feed", now_ns)
    if no is None and number in CAUSE_SEEN and CAUSE_SEEN[number](state):
        no = No(f"The cause is still there: {latch.text}", row.code)
    return no


CAUSE_SEEN: dict[int, Callable[[State], bool]] = {
    1: lambda state: not pin(state, "stop"),
    2: lambda state: not pin(state, "guard"),
    7: lambda state: not pin(state, "home") and not pin(state, "valve"),
    8: lambda state: pin(state, "home") and pin(state, "far"),
}
"""Interlock of the board that is proven to whether its inputs show that its cause is still there;
the board looks at all of them itself, once it is asked."""


def _prove(turn: Turn, name: str) -> None:
    state = turn.state
    proof = Proof(name, wall_us(state, turn.now_ns), dict(state.facts.digests), state.board.build)
    turn.set(carry=replace(state.carry, proof=proof))


def _clear_own(turn: Turn, said: Asked, number: int) -> No | None:
    if number == 10:
        turn.set(smear_run=0)
    elif number == 25:
        turn.set(slow_run=0, odd_after=turn.state.carry.last_portion)
    finding = RULE_BY_NUMBER[number].check(turn.state, turn.now_ns)
    if finding is not None:
        return No(
            f"The cause is still there: {finding.text}",
            f"IL-{number:02d}",
            finding.value,
            finding.bound,
        )
    drop(turn, number)
    answer(turn, said, interlock=f"IL-{number:02d}")
    return None


def teach(turn: Turn, said: Asked, params: r.Teach) -> No | None:
    """Teach one level of the eye."""
    no = still(turn.state) or why_not(turn.state, "feed", turn.now_ns)
    if no is None and "eye" not in turn.state.facts.fitted:
        no = No("The card says that no eye is fitted.", "not-fitted")
    if no is not None:
        return no
    turn.begin_job(
        "teach", said.client, said.ask, what=params.what, stage="load", n=0, sum=0, squares=0
    )
    load_limits(turn, sample_ms=eye.SAMPLE_MS)
    return None


def set_by_hand(turn: Turn, said: Asked, params: r.SetByHand) -> No | None:
    """Journal values set by hand; a new comparison group begins."""
    state = turn.state
    strange = sorted(set(params.values) - set(BY_HAND))
    if strange or not params.values:
        name = f"'{strange[0]}'" if strange else "Nothing"
        return No(f"{name} cannot be set by hand; what can is {', '.join(BY_HAND)}.", "range")
    group = state.carry.group + 1
    turn.set(
        carry=replace(state.carry, group=group, by_hand={**state.carry.by_hand, **params.values})
    )
    if "air_pa" in params.values:
        turn.set(dry_needed=True)
    turn.record("by_hand", values=dict(params.values), group=group)
    answer(turn, said, group=group)
    return None


class _Looked(NamedTuple):
    """A weight that may be taken. ask: what to ask a person first, if anything."""

    number: int
    aim_kg: float | None
    ask: str | None


def _no_portion(state: State, number: int) -> No | None:
    last = state.carry.last_portion
    if 1 <= number <= last:
        return None
    return No(f"There is no portion {number}: the last one is {last}.", "weigh", number)


def _fact(state: State, number: int) -> dict[str, Any] | None:
    return next((fact for fact in reversed(state.recent) if fact["number"] == number), None)


def _looked_at(state: State, params: r.Weigh) -> No | _Looked:
    if weighing.impossible(params.mass_kg):
        return No(weighing.IMPOSSIBLE, "weigh", params.mass_kg)
    if not state.carry.last_portion:
        return No("No portion was made yet, so there is none to weigh.", "weigh")
    number = weighing.pick_portion(state.carry.unweighed, params.portion)
    if number is None:
        return No("Every portion has a weight: name the portion to weigh one again.", "weigh")
    no = _no_portion(state, number)
    if no is not None:
        return no
    fact = _fact(state, number)
    aim_kg = state.carry.aim_kg if fact is None else fact["aim_kg"]
    ask = weighing.question(params.mass_kg, aim_kg or params.mass_kg)
    if fact is not None and fact["outcome"] != OUTCOMES[0]:
        ask = f"Portion {number} ended {fact['outcome']}. Is that its weight?"
    return _Looked(number, aim_kg, ask)


def _take(turn: Turn, params: r.Weigh, looked: _Looked, *, confirmed: bool) -> None:
    state = turn.state
    number, aim_kg, _ = looked
    unweighed = tuple(other for other in state.carry.unweighed if other != number)
    turn.set(carry=replace(state.carry, unweighed=unweighed))
    if aim_kg is not None:
        others = tuple(weighed for weighed in state.weights if weighed.portion != number)
        weights = (*others[-(WEIGHTS_KEPT - 1) :], Weighed(number, params.mass_kg, aim_kg))
        turn.set(weights=tuple(sorted(weights, key=lambda weighed: weighed.portion)))
    turn.record(
        "weight",
        portion=number,
        mass_kg=params.mass_kg,
        text=params.text,
        look=params.look,
        threw_m=params.threw_m,
        confirmed=confirmed,
        readability_kg=state.facts.scale_readability_kg,
    )


def weigh(turn: Turn, said: Asked, params: r.Weigh) -> No | None:
    """Take a weight, or ask about it."""
    looked = _looked_at(turn.state, params)
    if isinstance(looked, No):
        return looked
    if looked.ask is not None and not params.confirmed:
        no = No(looked.ask, "weigh", params.mass_kg, looked.aim_kg)
        turn.refuse(said.client, said.ask, no, question=True)
        return None
    _take(turn, params, looked, confirmed=params.confirmed)
    left = len(turn.state.carry.unweighed)
    answer(turn, said, portion=looked.number, mass_kg=params.mass_kg, left=left)
    return None


def unweigh(turn: Turn, said: Asked, params: r.Unweigh) -> No | None:
    """Take the weight of a portion back; the next weight without a portion may be its."""
    state, number = turn.state, params.portion
    no = _no_portion(state, number)
    if no is not None:
        return no
    if number in state.carry.unweighed:
        return No(f"Portion {number} has no weight that could be taken back.", "weigh", number)
    unweighed = state.carry.unweighed
    fact = _fact(state, number)
    if fact is None or fact["outcome"] == OUTCOMES[0]:
        unweighed = tuple(sorted((*unweighed, number))[-UNWEIGHED_KEPT:])
    turn.set(
        carry=replace(state.carry, unweighed=unweighed),
        weights=tuple(weighed for weighed in state.weights if weighed.portion != number),
    )
    turn.record("weight", portion=number, mass_kg=None)
    answer(turn, said, portion=number, left=len(unweighed))
    return None


def weigh_many(turn: Turn, said: Asked, params: r.WeighMany) -> No | None:
    """Take weights, all or none, or ask about those that are implausible."""
    named = [one.portion for one in params.weights]
    if None in named or len(set(named)) < len(named) or not named:
        return No("Each of the weights must name a portion of its own.", "weigh")
    known = {weighed.portion: weighed.mass_kg for weighed in turn.state.weights}
    new = [
        one
        for one in params.weights
        if abs(known.get(one.portion or 0, inf) - one.mass_kg) > SAME_KG
    ]
    taken: list[tuple[r.Weigh, _Looked]] = []
    for one in new:
        looked = _looked_at(turn.state, one)
        if isinstance(looked, No):
            return No(looked.message, looked.condition, one.portion)
        taken.append((one, looked))
    asks = [
        one.ask if one.ask.startswith("Portion ") else f"Portion {one.number}: {one.ask}"
        for _, one in taken
        if one.ask is not None
    ]
    if asks and not params.confirmed:
        more = f" And {len(asks) - ASKS_SHOWN} more." if len(asks) > ASKS_SHOWN else ""
        no = No(f"{' '.join(asks[:ASKS_SHOWN])}{more}", "weigh", len(asks))
        turn.refuse(said.client, said.ask, no, question=True)
        return None
    for one, looked in taken:
        _take(turn, one, looked, confirmed=params.confirmed)
    left = len(turn.state.carry.unweighed)
    numbers = [looked.number for _, looked in taken]
    answer(turn, said, taken=numbers, known=len(params.weights) - len(new), left=left)
    return None


def note(turn: Turn, said: Asked, params: r.Note) -> No | None:
    """Journal a note."""
    turn.record("note", text=params.text, portion=params.portion)
    answer(turn, said, noted=True)
    return None


def attend(turn: Turn, said: Asked, params: r.Attend) -> No | None:
    """Somebody is there; last_key_ns is set for every request. That is what IL-26 waits for."""
    if 26 in turn.state.latches:
        drop(turn, 26)
    answer(turn, said, attended=True)
    return None
