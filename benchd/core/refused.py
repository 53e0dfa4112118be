"""Why actions would be refused now, before anybody asks for them: what the screens say ahead."""

from __future__ import annotations

from benchd.core import cycle
from benchd.core.asked_feed import no_relieve, no_tube_out
from benchd.core.interlocks import why_nots
from benchd.core.state import State
from benchd.core.turn import No


def refused(state: State, now_ns: int) -> dict[str, No]:
    """Return why actions would be refused now, whether the barrel may be opened among them; those
    that would not are left out."""
    rules = why_nots(state, (*cycle.READY_FOR, "open"), now_ns)
    found = {
        action: cycle.ready_by_rules(state, action, rules.get(action)) for action in cycle.READY_FOR
    }
    feed = found["feed"]
    found |= {
        "relieve": feed or no_relieve(state),
        "tube_out": feed or no_tube_out(state),
        "drive": feed,
        "open": rules.get("open"),
    }
    return {action: no for action, no in found.items() if no is not None}
