"""What the next run takes over is what the last one knew, wherever its journal ends."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from benchd.analysis.last_life import read_last_life
from benchd.analysis.reader import JournalReader
from benchd.analysis.replay import first_state_of, verify, verify_file
from benchd.core import ledger
from benchd.core.engine import step
from benchd.core.inputs import Carry
from benchd.io.journal_format import Entry
from tests.analysis.bench_journal import write

CARRY = ledger.RECORDS["carry"]


def carried(path: Path) -> dict[int, Carry]:
    """What the core carries on after each entry that tells of it, by the entry's number."""
    reader = JournalReader(path)
    state = first_state_of(reader)
    told = {}
    for n, entry in reader.entries():
        if ledger.is_input(entry.kind):
            given = ledger.read_input(entry.kind, entry.values, entry.text)
            state, _, _ = step(state, given, entry.t_ns)
        elif entry.kind == CARRY:
            told[n] = state.carry
    return told


def whole(entries: list[Entry], told: dict[int, Carry]) -> list[Entry]:
    """The same entries as earlier versions wrote them: each tells everything."""
    return [
        entry._replace(text=msgspec.json.encode(told[n]).decode()) if n in told else entry
        for n, entry in enumerate(entries, 1)
    ]


@pytest.mark.slow
def test_it_is_taken_over_wherever_a_journal_ends(bench_journal: Path, tmp_path: Path) -> None:
    reader = JournalReader(bench_journal)
    entries, told = [entry for _, entry in reader.entries()], carried(bench_journal)
    assert len(told) > 8
    for form in (entries, whole(entries, told)):
        for n, carry in told.items():
            cut = write(tmp_path / f"{n}" / "a.journal", reader.meta, form[:n], each=1_000)
            assert read_last_life(cut.parent).carry == carry
            cut.unlink()


@pytest.mark.slow
def test_only_what_changed_is_written(bench_journal: Path) -> None:
    texts = [entry.text or "" for _, entry in JournalReader(bench_journal).entries(kinds={CARRY})]
    names = [set(json.loads(text)) for text in texts]
    # A portion begins, is to be weighed, is weighed: what stands on the cards is not among it.
    assert {"last_portion", "tube", "unweighed"} <= set.union(*names[-10:])
    assert not {"proof", "dough", "tubes_out"} & set.union(*names[-10:])


@pytest.mark.slow
def test_a_journal_that_told_all_of_it_each_time_replays_as_stored(
    bench_journal: Path, tmp_path: Path
) -> None:
    reader = JournalReader(bench_journal)
    entries, told = [entry for _, entry in reader.entries()], carried(bench_journal)
    old = write(tmp_path / "old.journal", reader.meta, whole(entries, told))
    assert verify_file(old).same
    # A value that differs is found in either form.
    n = max(told)
    for form in (entries, whole(entries, told)):
        wrong = json.loads(form[n - 1].text or "")
        form[n - 1] = form[n - 1]._replace(text=json.dumps(wrong | {"group": 77}))
        verdict = verify(first_state_of(reader), enumerate(form, 1))
        assert len(verdict.differences) == 1
