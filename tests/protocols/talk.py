"""What the tests of a session share: messages made short, and a session that was greeted."""

from __future__ import annotations

from typing import Any

from protocols.framing import frame
from protocols.limits import PROTOCOL
from protocols.messages import (
    Beat,
    Bench,
    Draft,
    Freed,
    Message,
    decode,
    encode,
)
from protocols.session import (
    Session,
)

MS = 1_000_000
LONG = Draft(4_294_967_295, 65_535, 99_999, 999_999, 20_000)
"""The longest line that the host sends."""


def wire(*messages: Message) -> bytes:
    return b"".join(frame(encode(message)) for message in messages)


def bench(**changes: Any) -> Bench:
    values = {
        "protocol": PROTOCOL, "firmware": "1", "build": "a", "board": "m", "boot": 7,
        "cause": "power", "uptime_s": 10, "last_id": 0, "digest": 0, "oldest": 1,
    }  # fmt: skip
    return Bench(**(values | changes))


def beat(nonce: int = 1, *, t_us: int | None = None, lease: int = 0, taken: int = 0) -> Beat:
    t_us = nonce * 100_000 if t_us is None else t_us
    return Beat(nonce, t_us, lease, 0, 0, 0, 0, 0, 0, 0, 0, taken)


def freed(*numbers: int) -> list[Message]:
    return [Freed(number, number * 1000, 9) for number in numbers]


def said(data: bytes) -> list[Message]:
    """The messages in what leaves."""
    return [decode(line.rpartition(b" ")[0]) for line in data.splitlines()]


def greeted(**changes: Any) -> Session:
    """A session after a greeting, with nothing under way."""
    session = Session()
    session.outgoing(0)
    session.receive(wire(bench(**changes), beat(1, taken=0), beat(2, taken=11)), 0)
    assert session.in_flight_bytes == 0
    return session
