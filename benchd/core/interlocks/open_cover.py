"""IL-13: a cover may only be opened with the barrel eased, the drive off and the air vented. The
daemon can only say so."""

from __future__ import annotations

from benchd.core.interlocks.base import SECOND_NS, Example, Finding, Rule
from benchd.core.state import State
from protocols.codes import PIN
from protocols.limits import NOT_FITTED

AIR_LOW_HPA = 200
STALE_NS = 2 * SECOND_NS


def check(state: State, now_ns: int) -> Finding | None:
    """Find whatever is still loaded or live; what is not measured counts as loaded."""
    board, facts = state.board, state.facts
    reasons = []
    value: float | None = None
    stale = now_ns - board.sample_ns > STALE_NS
    if "thrust" in facts.fitted:
        bound_dn = facts.thrust_relieved_n * 10
        if stale or board.thrust == NOT_FITTED:
            reasons.append("the thrust reading is missing or old, so the barrel counts as loaded")
        elif board.thrust > bound_dn:
            value = board.thrust / 10
            reasons.append(f"the barrel holds {value:.0f} N: relieve first")
    elif not state.relieved:
        reasons.append("the barrel was not relieved since it was last fed: relieve first")
    if board.pins >> PIN["drive"] & 1:
        reasons.append("the drive has power")
    if "air" not in facts.fitted:
        reasons.append("air is not measured: shut it, vent it, look at the gauge")
    elif stale or board.air == NOT_FITTED or board.air > AIR_LOW_HPA:
        reasons.append("the air is not shown to be vented: shut it, vent it, look at the gauge")
    if not reasons:
        return None
    return Finding("Not safe to open: " + "; ".join(reasons) + ".", value, facts.thrust_relieved_n)


_FITTED = {"facts": {"fitted": ("air", "thrust")}}
_EASED = {"thrust": 100, "air": 0, "pins": 0, "sample_ns": 1_000 * SECOND_NS}

RULE = Rule(
    number=13,
    check=check,
    blocks=frozenset({"open"}),
    pauses=False,
    latches=False,
    unfitted="thrust: a relieve since the last feed; air: always said, never presumed vented",
    examples=(
        Example("trips", {**_FITTED, "board": {**_EASED, "thrust": 101}}, True),
        Example("trips", {**_FITTED, "board": {**_EASED, "pins": 1 << PIN["drive"]}}, True),
        Example("trips", {**_FITTED, "board": {**_EASED, "air": 201}}, True),
        Example("limit", {**_FITTED, "board": _EASED}, False),
        Example("holds", {**_FITTED, "board": {**_EASED, "thrust": 0}}, False),
        Example("missing", {**_FITTED, "board": {**_EASED, "thrust": NOT_FITTED}}, True),
        Example("missing", {**_FITTED, "board": {**_EASED, "air": NOT_FITTED}}, True),
        Example("stale", {**_FITTED, "board": {**_EASED, "sample_ns": 997 * SECOND_NS}}, True),
        Example("not fitted", {"relieved": False, "board": _EASED}, True),
        Example("not fitted", {"relieved": True, "board": _EASED}, True),
    ),
)
