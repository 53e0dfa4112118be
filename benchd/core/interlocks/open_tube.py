"""IL-27: dough that was out of the cold for long begins no further series."""

from __future__ import annotations

from benchd.core.inputs import Carry, Tube
from benchd.core.interlocks.base import MINUTE_NS, Example, Finding, Rule
from benchd.core.state import State
from benchd.core.turn import wall_us

MINUTE_US = MINUTE_NS // 1000


def open_s(state: State, now_ns: int) -> float | None:
    """Return how long the tube has been open [s]; None where none is in, or the time of day is not
    known."""
    tube = state.carry.tube
    if tube is None or not tube.opened_wall_us or not state.wall_us:
        return None
    return max((wall_us(state, now_ns) - tube.opened_wall_us) / 1e6, 0.0)


def check(state: State, now_ns: int) -> Finding | None:
    """Find a tube that is open for longer than the card allows. A series that has begun goes on:
    what it makes is on the tray already."""
    tube, age_s = state.carry.tube, open_s(state, now_ns)
    bound_min = state.facts.watch.tube_open_min
    if tube is None or age_s is None or state.series is not None or age_s <= 60 * bound_min:
        return None
    hours, minutes = divmod(int(age_s / 60), 60)
    return Finding(
        f"Tube {tube.id} is open for {hours} h {minutes:02d} min, the card allows "
        f"{bound_min:.0f} min: take it out with 'benchd tube out'.",
        age_s / 60,
        bound_min,
    )


_GIVEN = {"wall_us": 1_000 * MINUTE_US, "wall_ns": 1_000_000_000_000}


def _opened(minutes_ago: float) -> Carry:
    return Carry(tube=Tube("T7", opened_wall_us=round((1_000 - minutes_ago) * MINUTE_US)))


RULE = Rule(
    number=27,
    check=check,
    blocks=frozenset({"series"}),
    pauses=False,
    latches=False,
    unfitted="nothing: it rests on the time of day, and on when a person said the tube was opened",
    examples=(
        Example("trips", {**_GIVEN, "carry": _opened(125)}, True),
        Example("limit", {**_GIVEN, "carry": _opened(120)}, False),
        Example("holds", {**_GIVEN, "carry": _opened(5)}, False),
        Example("holds", {**_GIVEN, "carry": Carry()}, False),
        Example("missing", {"wall_us": 0, "carry": _opened(125)}, False),
    ),
    no_such=frozenset({"stale", "not fitted"}),
)
