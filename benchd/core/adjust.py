"""The stroke of a series by its weights, where the dough card lets it: from means of eight, never
from single weights, and within limits.

Each look takes weights that no look took before. Only portions of class normal that ended complete
and were made in the present way count, and not the first two made so: pressure still settles in
them. The change holds for the series; the card stays as it is, and a new tube begins with it.
"""

from __future__ import annotations

from msgspec.structs import replace

from benchd.calc.stats.odd import ROBUST_LIMIT, robust_z
from benchd.calc.stats.scale import scale_sd
from benchd.calc.stats.stroke import TOTAL_MOST, Proposal, propose
from benchd.core import seen
from benchd.core.facts import (
    PROGRAM_STEPS_MAX,
    BenchFacts,
    Dough,
    push_time_s,
    shortest_period_s,
)
from benchd.core.state import Series, State, Weighed
from benchd.core.turn import Turn

GROUP = 8
"""Weights of one look: an even number, so that alternating ones are taken in pairs, and as many
as `propose` asks of those."""

SETTLING = 2
"""Portions after a change that are not learned from (common practice)."""


def between(turn: Turn, series: Series, left_steps: int) -> Series:
    """Return the series as its next portion is to be made, and journal what was changed.

    Parameters: left_steps : scalar, int [steps]; feed left before the soft limit.
    """
    if not series.dough.auto_stroke:
        return series
    state = turn.state
    tube = state.carry.tube
    if tube is not None and not tube.portions:
        card_m = series.card_stroke_m
        series = replace(series, learned=state.carry.last_portion)
        if card_m == series.dough.stroke_m or _in_the_way(state, series, card_m, left_steps):
            return series
        return _changed(turn, series, card_m, "a new tube begins with the stroke of the card", {})
    weights = _weights(state, series)
    odd = _odd(weights, scale_sd(state.facts.scale_readability_kg))
    if len(weights) - len(odd) < GROUP:
        return series
    told = propose(
        [one.mass_kg for one in weights],
        [one.portion for one in weights],
        aim_kg=series.dough.aim_kg,
        stroke_m=series.dough.stroke_m,
        first_stroke_m=series.card_stroke_m,
        scale_sd_kg=scale_sd(state.facts.scale_readability_kg),
        odd=odd,
    )
    return _decided(turn, replace(series, learned=weights[-1].portion), told, left_steps)


def _weights(state: State, series: Series) -> list[Weighed]:
    """Return the weights that no look took yet, of portions made as the next one would be."""
    dough, tube = series.dough, state.carry.tube
    asked = asked_steps(state.facts, dough)
    mine = seen.like(state, dough, asked, tube.id if tube is not None else "")
    start = len(state.recent)
    while start and state.recent[start - 1].get("like") == mine:
        start -= 1
    settled = state.recent[start + SETTLING :]
    counted = {fact["number"] for fact in settled if seen.is_usual(fact)}
    return [one for one in state.weights if one.portion > series.learned and one.portion in counted]


def asked_steps(facts: BenchFacts, dough: Dough) -> dict[str, int]:
    """Return the ways of one portion [steps]."""
    return {
        "take_up": facts.steps(dough.take_up_m),
        "push": facts.steps(dough.stroke_m),
        "draw_back": facts.steps(dough.draw_back_m),
    }


def _odd(weights: list[Weighed], scale_sd_kg: float) -> list[int]:
    """Return the places of odd weights: by one test only, so that rather too many are held."""
    if len(weights) < GROUP:
        return []
    far = robust_z([one.mass_kg for one in weights], least=scale_sd_kg)
    return [at for at, z in enumerate(far) if abs(z) > ROBUST_LIMIT]


def _decided(turn: Turn, series: Series, told: Proposal, left_steps: int) -> Series:
    if told.mean_kg is None or told.why == "within":
        return series
    mean = (
        f"the mean of {told.n} weights is {told.mean_kg * 1e3:.2f} g, "
        f"{(told.mean_kg - series.dough.aim_kg) * 1e3:+.2f} g off the aim"
    )
    if told.stroke_m is None:
        text = (
            f"The stroke stays: {mean}, but it is already {TOTAL_MOST * 100:.0f} % from the "
            "card's. Look for the cause: density, a leak, lost steps, the scale."
        )
        turn.record("message", text=text)
        return series
    no = _in_the_way(turn.state, series, told.stroke_m, left_steps)
    if no:
        turn.record("message", text=f"The stroke stays: {mean}, but {no}.")
        return series
    figures = {"mean_kg": told.mean_kg, "n": told.n, "capped": told.capped}
    return _changed(turn, series, told.stroke_m, mean, figures)


def _in_the_way(state: State, series: Series, stroke_m: float, left_steps: int) -> str:
    """Return why a stroke cannot be made on this bench in this series; empty when it can."""
    facts = state.facts
    dough = replace(series.dough, stroke_m=stroke_m)
    steps = asked_steps(facts, dough)
    if steps["push"] == facts.steps(series.dough.stroke_m):
        return "the change is less than a step of the feed"
    if steps["take_up"] + steps["push"] > left_steps:
        return "the tube has no feed left for more"
    push_s = push_time_s(facts, dough.take_up_m, stroke_m, dough.push_speed_m_s)
    most, longest_ms = PROGRAM_STEPS_MAX["stroke"], facts.limits["push_max_ms"]
    if steps["push"] > most or push_s * 1000 > longest_ms:
        return "a longer push is more than the bench card allows"
    if shortest_period_s(facts, dough) * 1e9 > series.every_ns:
        return f"a longer push does not fit into {series.every_ns / 1e9:g} s a portion"
    return ""


def _changed(
    turn: Turn, series: Series, stroke_m: float, why: str, figures: dict[str, float]
) -> Series:
    before_m, number = series.dough.stroke_m, turn.state.carry.last_portion + 1
    turn.record(
        "series",
        what="adjusted",
        made=series.made,
        count=series.count,
        reason=(
            f"stroke {before_m * 1e3:.2f} -> {stroke_m * 1e3:.2f} mm "
            f"({(stroke_m / before_m - 1) * 100:+.1f} %) from portion {number} on: {why}"
        ),
        first=series.first_portion,
        portion=number,
        before_m=before_m,
        stroke_m=stroke_m,
        card_stroke_m=series.card_stroke_m,
        **figures,
    )
    return replace(
        series,
        dough=replace(series.dough, stroke_m=stroke_m),
        learned=max(series.learned, number - 1),
        adjusted=series.adjusted + 1,
    )
