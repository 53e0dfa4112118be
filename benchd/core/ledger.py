"""How inputs and decisions are written into the journal and read back: kind, up to ten whole
numbers, text.

Board messages are stored decoded, by their code; decoding and encoding give the identical line.
Everything else is JSON text.
Replay rests on this being exact in both directions.
"""

from __future__ import annotations

from typing import Any

import msgspec

from benchd.core.effects import AnyEffect, Effect, Record, Renew
from benchd.core.inputs import AnyInput, Carry, Input
from protocols import messages
from protocols.codec import Word
from protocols.messages import BoardMessage

INPUT = 100
DECISION = 101
RENEW = 102
RAW = 103
"""A line that was dropped, as text; no input of its own."""

RECORDS: dict[str, int] = {
    "portion": 110,
    "trip": 111,
    "weight": 112,
    "note": 113,
    "by_hand": 114,
    "tube": 115,
    "carry": 116,
    "series": 117,
    "move": 118,
    "stroke": 119,
    "message": 120,
    "refusal": 121,
    "proof": 122,
    "control": 123,
    "eye": 124,
    "greeting": 125,
    "link": 126,
    "gap": 127,
    "ended": 128,
    "alarm": 129,
}
"""Kind of record to its code in the journal."""

RECORD_BY_CODE: dict[int, str] = {code: name for name, code in RECORDS.items()}

Written = tuple[int, tuple[int | None, ...], str | None]
"""(kind, values, text) of one entry."""


def views() -> list[tuple[str, int, tuple[str, ...]]]:
    """Return (name, kind, column names) of every view of a journal, for readers without this
    program."""
    rows: list[tuple[str, int, tuple[str, ...]]] = []
    for tag, spec in messages.MESSAGES.items():
        if issubclass(spec.cls, BoardMessage):
            words = any(isinstance(field, Word) for _, field in spec.fields)
            rows.append(
                (
                    f"line_{tag}",
                    spec.cls.code,
                    () if words else tuple(name for name, _ in spec.fields),
                )
            )
    rows += [
        ("told", INPUT, ()),
        ("decision", DECISION, ()),
        ("renew", RENEW, ("nonce",)),
        ("raw", RAW, ()),
    ]
    rows += [(name, code, ()) for name, code in RECORDS.items()]
    return rows


def write_input(given: Input | BoardMessage) -> Written:
    """Return the entry of an input."""
    if isinstance(given, BoardMessage):
        if type(given) is messages.Bench:
            return given.code, (), messages.encode(given).decode("ascii")
        return given.code, messages.values_of(given), None
    return INPUT, (), msgspec.json.encode(given).decode()


def write_effect(effect: Effect) -> Written:
    """Return the entry of a decision."""
    if isinstance(effect, Renew):
        return RENEW, (effect.nonce,), None
    if isinstance(effect, Record):
        return RECORDS[effect.kind], (), msgspec.json.encode(effect.data).decode()
    return DECISION, (), msgspec.json.encode(effect).decode()


def is_input(kind: int) -> bool:
    """Return whether an entry of this kind went into the core."""
    return kind == INPUT or kind in messages.BY_CODE


def read_input(kind: int, values: tuple[int | None, ...], text: str | None) -> Input | BoardMessage:
    """Return the input of an entry.

    Raises: msgspec.DecodeError or PeerError for an entry that this version cannot read.
    """
    if kind == INPUT:
        told: Input = msgspec.json.decode(text or "", type=AnyInput)
        return told
    if kind == messages.Bench.code:
        said: Any = messages.decode((text or "").encode("ascii"))
    else:
        cls = messages.BY_CODE[kind].cls
        said = cls(*values[: len(cls.__struct_fields__)])
    assert isinstance(said, BoardMessage)
    return said


def read_carry(before: Carry, text: str | None) -> Carry:
    """Return what is carried on after a record that tells what of it has changed, or all of it, as
    earlier versions did.

    Raises: msgspec.MsgspecError for a record that this version cannot read.
    """
    told = msgspec.json.decode(text or "{}", type=dict[str, Any])
    return msgspec.convert(msgspec.to_builtins(before) | told, type=Carry)


def read_effect(kind: int, values: tuple[int | None, ...], text: str | None) -> Effect:
    """Return the decision of an entry."""
    if kind == RENEW:
        return Renew(values[0] or 0)
    if kind in RECORD_BY_CODE:
        return Record(RECORD_BY_CODE[kind], msgspec.json.decode(text or "{}"))
    decided: Effect = msgspec.json.decode(text or "", type=AnyEffect)
    return decided
