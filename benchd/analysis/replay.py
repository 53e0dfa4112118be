"""Replay: stored inputs through today's core, and what came of one portion beside the usual of its
neighbours. Nothing moves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

import msgspec

from benchd.analysis.reader import JournalReader, Reader
from benchd.core import ledger
from benchd.core.engine import CORE_VERSION, step
from benchd.core.inputs import Carry
from benchd.core.state import State
from benchd.io.journal_format import Entry, JournalError

DIFFERENCES_MAX = 100
CARRY = ledger.RECORDS["carry"]


class Difference(NamedTuple):
    """One decision that came out otherwise: entry number of its input, what is stored, what the
    core says now."""

    n: int
    stored: str
    now: str


class Verdict(NamedTuple):
    """What a verification found."""

    inputs: int
    decisions: int
    differences: tuple[Difference, ...]
    core_version: int
    state: State

    @property
    def same(self) -> bool:
        """Whether every decision came out as stored."""
        return not self.differences


def first_state_of(reader: Reader) -> State:
    """Return the state that a journal opens with.

    Raises: JournalError when the file carries none that this version can read.
    """
    try:
        return msgspec.json.decode(reader.meta["state"], type=State)
    except KeyError:
        raise JournalError(
            "This journal carries no state to start from, so it cannot be replayed."
        ) from None
    except msgspec.MsgspecError as error:
        raise JournalError(
            f"The state at the head of this journal cannot be read ({error})."
        ) from error


def _groups(
    entries: Iterable[tuple[int, Entry]],
) -> Iterator[tuple[int, Entry, list[ledger.Written]]]:
    """Give (entry number, input, stored decisions) for every input in order."""
    number, given, stored = 0, None, list[ledger.Written]()
    for n, entry in entries:
        if ledger.is_input(entry.kind):
            if given is not None:
                yield number, given, stored
            number, given, stored = n, entry, []
        elif entry.kind != ledger.RAW:
            stored.append((entry.kind, entry.values, entry.text))
    if given is not None:
        yield number, given, stored


def verify(
    state: State, entries: Iterable[tuple[int, Entry]], core_version: int = CORE_VERSION
) -> Verdict:
    """Run stored inputs through the core and compare every decision with what is stored.

    The last input of a journal that was cut short may lack some of its decisions; that is no
    difference.
    """
    inputs = decisions = 0
    differences: list[Difference] = []
    pending: tuple[int, list[ledger.Written], list[ledger.Written]] | None = None
    for n, entry, stored in _groups(entries):
        if pending is not None and len(differences) < DIFFERENCES_MAX:
            differences.append(_difference(*pending))
        given = ledger.read_input(entry.kind, entry.values, entry.text)
        before = state.carry
        state, effects, _ = step(state, given, entry.t_ns)
        inputs += 1
        if not effects and not stored:
            pending = None
            continue
        made = [ledger.write_effect(effect) for effect in effects]
        decisions += len(made)
        if made != stored:
            stored, made = _meant(stored, before), _meant(made, before)
        pending = (n, stored, made) if made != stored else None
    if pending is not None and pending[1] != pending[2][: len(pending[1])]:
        differences.append(_difference(*pending))
    return Verdict(inputs, decisions, tuple(differences), core_version, state)


def _meant(written: list[ledger.Written], before: Carry) -> list[ledger.Written]:
    """Return decisions with what is carried on as a whole, however much of it was written."""
    return [
        (kind, values, msgspec.json.encode(ledger.read_carry(before, text)).decode())
        if kind == CARRY
        else (kind, values, text)
        for kind, values, text in written
    ]


def _difference(n: int, stored: list[ledger.Written], made: list[ledger.Written]) -> Difference:
    for old, new in zip(stored, made, strict=False):
        if old != new:
            return Difference(n, _words(old), _words(new))
    if len(stored) > len(made):
        return Difference(n, _words(stored[len(made)]), "nothing")
    return Difference(n, "nothing", _words(made[len(stored)]))


def _words(written: ledger.Written) -> str:
    kind, values, text = written
    name = ledger.RECORD_BY_CODE.get(kind, "renew" if kind == ledger.RENEW else "decision")
    return f"{name} {text if text is not None else ' '.join(map(str, values))}"


def verify_file(path: Path) -> Verdict:
    """Verify one journal file.

    Raises: JournalError when the file cannot be read.
    """
    reader = JournalReader(path)
    version = int(reader.meta.get("core_version", "0"))
    try:
        return verify(first_state_of(reader), reader.entries(), version)
    except (msgspec.MsgspecError, KeyError, AssertionError) as error:
        raise JournalError(
            f"An entry of this journal cannot be read by this version ({error})."
        ) from error
