"""What the daemon takes over from the newest journal of a bench: what is carried, the head, the
last event that is safe."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import msgspec

from benchd.analysis.reader import JournalReader, newest
from benchd.core import ledger
from benchd.core.inputs import Carry, Opened
from benchd.core.state import State
from benchd.io.journal_format import JournalError
from protocols import messages

EVENT_CODES = frozenset(
    spec.cls.code for spec in messages.MESSAGES.values() if issubclass(spec.cls, messages.Event)
)
WANTED = EVENT_CODES | {ledger.INPUT, ledger.RECORDS["carry"], messages.Bench.code}


class LastLife(NamedTuple):
    """What the newest journal leaves behind; all empty for a new bench."""

    carry: Carry = Carry()
    head: str = ""
    last_event: tuple[int, int] | None = None
    """(boot number, event number) of the newest event on disk."""
    problem: str = ""
    """Why the newest journal could not be read, one sentence; empty when it could."""


def read_last_life(folder: Path) -> LastLife:
    """Return what the newest readable journal in a folder leaves behind."""
    facts = newest(folder)
    if facts is None:
        return LastLife()
    try:
        reader = JournalReader(facts.path)
        carry, last_event = _walk(reader)
        return LastLife(carry, reader.head() or "", last_event)
    except (JournalError, msgspec.MsgspecError) as error:
        return LastLife(
            problem=(
                f"The last journal could not be read, so numbers and proofs start anew: {error}"
            )
        )


def _walk(reader: JournalReader) -> tuple[Carry, tuple[int, int] | None]:
    carry = Carry()
    if "state" in reader.meta:
        carry = msgspec.json.decode(reader.meta["state"], type=State).carry
    boot: int | None = None
    event = 0
    for _, entry in reader.entries(kinds=WANTED):
        if entry.kind == ledger.RECORDS["carry"]:
            carry = ledger.read_carry(carry, entry.text)
        elif entry.kind == ledger.INPUT:
            given = ledger.read_input(entry.kind, entry.values, entry.text)
            if isinstance(given, Opened):
                carry = given.carry
        elif entry.kind == messages.Bench.code:
            said = messages.decode((entry.text or "").encode("ascii"))
            if isinstance(said, messages.Bench) and said.boot != boot:
                boot, event = said.boot, 0
        else:
            event = entry.values[0] or 0
    return carry, None if boot is None else (boot, event)
