"""IL-15: nothing but jogs before a person has proven this bench with this card and this
firmware."""

from __future__ import annotations

from benchd.core.inputs import Carry, Proof
from benchd.core.interlocks.base import Example, Finding, Rule
from benchd.core.state import State

DAY_US = 86_400_000_000


def check(state: State, now_ns: int) -> Finding | None:
    """Find a proof that is missing, expired, or rests on other wiring, motion, air settings or
    firmware."""
    proof = state.carry.proof
    if proof is None:
        return Finding("This bench was never proven: walk through it, then prove it.")
    changed = sorted(
        group
        for group, value in state.facts.digests.items()
        if group != "eye" and proof.digests.get(group) != value
    )
    if changed:
        return Finding(
            f"Not proven since the bench card changed ({', '.join(changed)}): prove it again."
        )
    if state.board.build and proof.build != state.board.build:
        return Finding("Not proven since the firmware changed: prove it again.")
    age_days = (state.wall_us + (now_ns - state.wall_ns) // 1000 - proof.wall_us) / DAY_US
    bound = state.facts.watch.proof_days
    # A wall clock may be set back a little; a proof from another time altogether is none.
    if not -1 <= age_days <= bound:
        return Finding(
            f"The proof of this bench is {age_days:.0f} days old: prove it again.", age_days, bound
        )
    return None


_PROOF = Proof("demo", 0, {"motion": 7}, "abc")
_GIVEN = {
    "facts": {"digests": {"motion": 7, "eye": 3}},
    "board": {"build": "abc"},
    "wall_us": 0,
    "wall_ns": 1_000_000_000_000,
}

RULE = Rule(
    retold=True,
    number=15,
    check=check,
    blocks=frozenset({"prime", "portion", "series", "stroke"}),
    pauses=False,
    latches=False,
    unfitted="nothing: it rests on a person, not on a sensor",
    examples=(
        Example("missing", {**_GIVEN, "carry": Carry()}, True),
        Example(
            "trips", {**_GIVEN, "carry": Carry(proof=Proof("demo", 0, {"motion": 8}, "abc"))}, True
        ),
        Example(
            "trips", {**_GIVEN, "carry": Carry(proof=Proof("demo", 0, {"motion": 7}, "xyz"))}, True
        ),
        Example("holds", {**_GIVEN, "carry": Carry(proof=_PROOF)}, False),
        Example("holds", {**_GIVEN, "carry": Carry(proof=_PROOF), "board": {"build": ""}}, False),
        Example("limit", {**_GIVEN, "carry": Carry(proof=_PROOF), "wall_us": 30 * DAY_US}, False),
        Example(
            "limit",
            {**_GIVEN, "carry": Carry(proof=Proof("demo", DAY_US, {"motion": 7}, "abc"))},
            False,
        ),
        Example(
            "stale",
            {**_GIVEN, "carry": Carry(proof=_PROOF), "wall_us": 30 * DAY_US + 1_000_000},
            True,
        ),
        Example(
            "stale",
            {**_GIVEN, "carry": Carry(proof=Proof("demo", 2 * DAY_US, {"motion": 7}, "abc"))},
            True,
        ),
    ),
    no_such=frozenset({"not fitted"}),
)
