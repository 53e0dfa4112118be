"""Teaching the eye its two levels, and the thresholds that follow from them."""

from __future__ import annotations

from math import sqrt
from typing import Any

from msgspec.structs import replace

from benchd.calc.eye import UNTAUGHT, thresholds
from benchd.core import loading
from benchd.core.facts import BenchFacts
from benchd.core.inputs import Carry
from benchd.core.state import Job, State
from benchd.core.turn import No, Turn, pin
from protocols.limits import group_digest

READINGS = 200
"""Readings for one level (common practice: at least 200)."""

SAMPLE_MS = 10
GIVE_UP_NS = 20_000_000_000
"""Ten times what the readings take; then a teaching is over without them."""

SEPARATION_MIN = 6.0
"""Least (difference of means)/(sum of spreads) for levels that do not overlap (common practice)."""

LEVEL_MIN, LEVEL_MAX = 2, 1021
"""A level outside these is at the end of the converter's range."""


def separation(empty: tuple[float, float], dough: tuple[float, float]) -> float:
    """Return how well two taught levels (mean, spread) stand apart; at least 1 count of spread
    each."""
    return abs(dough[0] - empty[0]) / (max(empty[1], 1.0) + max(dough[1], 1.0))


def knows(facts: BenchFacts) -> bool:
    """Return whether an eye is fitted that was taught its levels; else its "no dough" says
    nothing."""
    levels = (facts.limits["eye_on"], facts.limits["eye_off"])
    return "eye" in facts.fitted and levels != UNTAUGHT


def sees_dough(state: State) -> bool:
    """Return whether the eye sees dough, as far as it knows what that is."""
    return knows(state.facts) and pin(state, "dough")


def untaught(facts: BenchFacts) -> No | None:
    """Return why dough is not fed past a fitted eye that was never taught, or None."""
    if "eye" not in facts.fitted or knows(facts):
        return None
    return No(
        "The eye was never taught, so no dough would ever be seen and the feed would push on. "
        "Teach it first: 'benchd eye --empty', then bring a strand with 'benchd jog' and "
        "'benchd eye --dough'.",
        "eye",
    )


def apply(facts: BenchFacts, carry: Carry) -> BenchFacts:
    """Return the bench facts with the thresholds of the taught levels, if both were taught.

    Raises: ValueError when the levels overlap or are inverted.
    """
    if carry.eye_empty is None or carry.eye_dough is None:
        return facts
    seen, gone = thresholds(round(carry.eye_empty[0]), dough=round(carry.eye_dough[0]))
    limits = {**facts.limits, "eye_on": seen, "eye_off": gone}
    digests = {**facts.digests, "eye": group_digest(limits, "eye")}
    return replace(facts, limits=limits, digests=digests)


def gather(turn: Turn, job: Job, level: int) -> None:
    """Take one reading of a teaching under way; with the last one, judge it."""
    # Whole-number sums are exact, so the one-pass variance loses nothing.
    n, total, squares = job.data["n"] + 1, job.data["sum"] + level, job.data["squares"] + level**2
    if n < READINGS:
        turn.set(job=replace(job, data={**job.data, "n": n, "sum": total, "squares": squares}))
        return
    mean = total / n
    spread = sqrt((n * squares - total**2) / (n * (n - 1)))
    _judge(turn, job, (mean, spread))


def _refused(level: tuple[float, float], carry: Carry) -> No | None:
    if not LEVEL_MIN < level[0] < LEVEL_MAX:
        text = (
            f"The eye reads {level[0]:.0f}, the end of its range: change distance, angle or gain."
        )
        return No(text, "eye", level[0])
    if carry.eye_empty is None or carry.eye_dough is None:
        return None
    apart = separation(carry.eye_empty, carry.eye_dough)
    if apart < SEPARATION_MIN:
        text = "The levels overlap: move the fibre closer, shade it, or change the angle."
        return No(text, "eye", apart, SEPARATION_MIN)
    return None


def _judge(turn: Turn, job: Job, level: tuple[float, float]) -> None:
    """Keep a taught level, or say why not; then load the bench's own limits again."""
    state, what = turn.state, job.data["what"]
    carry = replace(state.carry, **{f"eye_{what}": level})
    no = _refused(level, carry)
    facts = state.facts
    if no is None:
        try:
            facts = apply(state.facts, carry)
        except ValueError as error:
            no = No(str(error), "eye", level[0])
    if no is None:
        turn.set(carry=carry, facts=facts)
        turn.record("eye", what=what, mean=level[0], spread=level[1])
    both = carry.eye_empty is not None and carry.eye_dough is not None
    result = {"what": what, "mean": level[0], "spread": level[1], "both": both}
    _reload(turn, job, no, result)


def _reload(turn: Turn, job: Job, no: No | None, result: dict[str, Any]) -> None:
    """Load the bench's own limits again; the teaching is over once they are in force."""
    turn.set(job=replace(job, data={"stage": "reload", "no": no, "result": result}))
    loading.load_limits(turn)


def overdue(turn: Turn) -> None:
    """Give up a teaching whose readings do not come."""
    job = turn.state.job
    if job is None or job.data.get("stage") != "gather":
        return
    if turn.now_ns - job.begun_ns > GIVE_UP_NS:
        no = No(f"The eye gave {job.data['n']} readings of {READINGS}: look at its wiring.", "eye")
        _reload(turn, job, no, {})


def adopted(turn: Turn) -> None:
    """The limits are in force: a teaching begins to gather, or is over once its own are gone."""
    job = turn.state.job
    if job is None or job.kind != "teach":
        return
    if job.data["stage"] == "load":
        turn.set(job=replace(job, data={**job.data, "stage": "gather"}))
    elif job.data["no"] is not None:
        turn.fail_job(No(*job.data["no"]))
    else:
        turn.finish_job(**job.data["result"])
