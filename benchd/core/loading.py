"""Loading the bench card into the board: one `set` a value, then `adopt` with the digest over
all."""

from __future__ import annotations

from benchd.core.turn import Turn
from protocols.limits import LIMITS, digest


def load_limits(turn: Turn, **instead: int) -> None:
    """Plan the loading of every limit; `instead` replaces some for the moment."""
    values = {**turn.state.facts.limits, **instead}
    if turn.state.link != "up":
        turn.set(link="loading", link_text="The bench card is being loaded into the board.")
    for limit in LIMITS:
        turn.plan("set", limit.key, values[limit.name], why="load")
    turn.plan("adopt", digest(values), why="load")
