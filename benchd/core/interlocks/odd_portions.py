"""IL-25: too many odd weights, or two slow cuts in a row: something changed, and going on makes
more of the same."""

from __future__ import annotations

from benchd.core.interlocks.base import Example, Finding, Rule
from benchd.core.state import State, Weighed

SLOW_CUTS = 2


def odd_of(state: State) -> tuple[int, int]:
    """Return how many weights are odd, and of how many of the last."""
    watch = state.facts.watch
    last = [weighed for weighed in state.weights if weighed.portion > state.odd_after][
        -watch.odd_window :
    ]
    odd = sum(
        abs(weighed.mass_kg - weighed.aim_kg) > watch.odd_share * weighed.aim_kg for weighed in last
    )
    return odd, len(last)


def check(state: State, now_ns: int) -> Finding | None:
    """Trip on so many of the last weights outside the share, or on slow cuts in a row."""
    watch = state.facts.watch
    if state.slow_run >= SLOW_CUTS:
        return Finding(
            f"{state.slow_run} cuts in a row were slow: low air, a needle shut, or something hard.",
            state.slow_run,
            SLOW_CUTS,
        )
    odd, of = odd_of(state)
    if odd < watch.odd_count:
        return None
    return Finding(
        f"{odd} of the last {of} portions are outside ±{watch.odd_share:.0%}.",
        odd,
        watch.odd_count,
    )


def _weights(*masses_g: float) -> tuple[Weighed, ...]:
    return tuple(Weighed(number, mass / 1000, 0.030) for number, mass in enumerate(masses_g, 1))


RULE = Rule(
    number=25,
    check=check,
    blocks=frozenset({"series"}),
    pauses=True,
    latches=True,
    unfitted="without cutter switches slow cuts cannot be seen; weights count as they are typed",
    examples=(
        Example("trips", {"weights": _weights(30, 33, 30, 26, 30)}, True),
        Example("trips", {"slow_run": 2}, True),
        Example("holds", {"weights": _weights(30, 33, 30, 30, 30)}, False),
        Example("holds", {"slow_run": 1}, False),
        Example("holds", {"weights": _weights(33, 33, 30, 30, 30, 30, 30)}, False),
        Example("limit", {"weights": _weights(32.4, 32.4, 30)}, False),
        Example("holds", {"weights": _weights(30, 33, 30, 26, 30), "odd_after": 4}, False),
        Example("missing", {"weights": ()}, False),
        Example("not fitted", {"slow_run": 0}, False),
    ),
    no_such=frozenset({"stale"}),
)
