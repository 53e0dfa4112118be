"""What the core decides. The order in RANK is the order of duty in which effects of one step go
out."""

from __future__ import annotations

from typing import Any

import msgspec


class Effect(msgspec.Struct, frozen=True, tag_field="effect"):
    """Base of all effects."""


class StopNow(Effect, frozen=True, tag="stop"):
    """Send the stop line at once."""

    level: int


class Renew(Effect, frozen=True, tag="renew"):
    """Return the number of a beat: leave to move goes on."""

    nonce: int


class Send(Effect, frozen=True, tag="send"):
    """Send a numbered command. `moves`: only after this decision is safe on disk."""

    line: str
    """Body of the line, as SPEC.md has it."""
    moves: bool


class Record(Effect, frozen=True, tag="record"):
    """Something to keep and to tell watchers: a portion, a trip, a weight."""

    kind: str
    data: dict[str, Any]


class Answer(Effect, frozen=True, tag="answer"):
    """The result of a request; goes out after it is safe on disk."""

    client: int
    ask: int
    result: dict[str, Any]


class Refuse(Effect, frozen=True, tag="refuse"):
    """Why a request was not done. `question`: the person may confirm it."""

    client: int
    ask: int
    message: str
    condition: str = ""
    value: float | None = None
    bound: float | None = None
    question: bool = False


AnyEffect = StopNow | Renew | Send | Record | Answer | Refuse
"""Union for reading decisions back from a journal."""

RANK: dict[type[Effect], int] = {
    StopNow: 0,
    Renew: 1,
    Send: 2,
    Record: 3,
    Answer: 4,
    Refuse: 4,
}
