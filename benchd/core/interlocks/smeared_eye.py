"""IL-10: the eye says dough all the time, even across a cut: smeared or bridged, so the end of the
tube would go unseen."""

from __future__ import annotations

from benchd.core.interlocks.base import CYCLES, Example, Finding, Rule
from benchd.core.state import State


def check(state: State, now_ns: int) -> Finding | None:
    """Trip when so many portions in a row passed without the eye ever changing."""
    bound = state.facts.watch.smear_portions
    if state.smear_run < bound:
        return None
    return Finding(
        f"The eye said dough through {state.smear_run} portions without a break: "
        "smeared? Wipe it and teach it again.",
        state.smear_run,
        bound,
    )


RULE = Rule(
    number=10,
    check=check,
    blocks=CYCLES,
    pauses=True,
    latches=True,
    unfitted="nothing: without an eye the end of the tube is known by travel alone",
    examples=(
        Example("trips", {"smear_run": 4}, True),
        Example("limit", {"smear_run": 3}, True),
        Example("holds", {"smear_run": 2}, False),
        Example("not fitted", {"smear_run": 0}, False),
    ),
    no_such=frozenset({"missing", "stale"}),
)
