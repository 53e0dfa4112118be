"""An archive is read as the journal it was made of, without being restored."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from benchd.analysis import archive as archive_module
from benchd.analysis import archive_reader, why
from benchd.analysis.archive import archive
from benchd.analysis.archive_format import facts_of, list_all
from benchd.analysis.archive_reader import ArchiveReader
from benchd.analysis.reader import JournalReader, reader_of
from benchd.analysis.weighed import read_weighed
from benchd.analysis.why import read_histories
from benchd.core import ledger
from benchd.io.journal_format import JournalError
from tests.analysis import weights as make
from tests.analysis.journals import closed_journal

ONE_PORTION = """
import json, sys
from benchd.cli.run import run
code = run(["why", "--json", "--portion", "2", sys.argv[1]])
print(json.dumps(sorted(sys.modules)), file=sys.stderr)
sys.exit(code)
"""
HEAVY = {
    *("aiomqtt", "asyncio", "numpy", "pandas", "pyarrow", "scipy", "textual", "yaml"),
    *("benchd.analysis.judge", "benchd.calc.stats.verdict", "benchd.diagnose.sift"),
}


@pytest.fixture(scope="module")
def archived(bench_journal: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("archive") / f"{bench_journal.name}.parquet"
    return archive(bench_journal, target).path


@pytest.mark.slow
def test_rows_and_facts_are_the_journals(bench_journal: Path, archived: Path) -> None:
    journal, read = JournalReader(bench_journal), reader_of(archived)
    assert isinstance(read, ArchiveReader)
    assert list(read.entries()) == list(journal.entries())
    kinds = {ledger.INPUT, ledger.RECORDS["portion"], 42, 1}
    assert list(read.entries(kinds=kinds)) == list(journal.entries(kinds=kinds))
    some = {"after": 100, "upto": 900}
    assert list(read.entries(kinds=kinds, **some)) == list(journal.entries(kinds=kinds, **some))
    assert (read.meta, read.state(), read.head()) == (
        journal.meta,
        journal.state(),
        journal.head(),
    )


@pytest.mark.slow
def test_the_last_ones_before_a_number_are_the_journals(
    bench_journal: Path, archived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive_reader, "BLOCK", 16)
    journal, read = JournalReader(bench_journal), reader_of(archived)
    assert read.last() == journal.last()
    for n, kinds in [(None, None), (300, None), (None, {ledger.RECORDS["weight"]}), (1, None)]:
        told = journal.before(n, 3, kinds=kinds)
        assert read.before(n, 3, kinds=kinds) == told
        assert len(told) == (0 if n == 1 else 3)


@pytest.mark.slow
def test_entries_of_many_kinds_come_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive_module, "ROW_GROUP", 2_048)
    entries = [make.record("note", text=f"{n}", portion=None) for n in range(10_000)]
    for n in range(0, 10_000, 7):
        entries[n] = make.weight(n + 1, 0.030)
    journal = make.write_journal(tmp_path / "20270115T080000.000000Z-0000000e.journal", entries)
    read = reader_of(archive(journal).path)
    numbers = [n for n, _ in read.entries(kinds=why.WANTED)]
    assert numbers == list(range(1, 10_001, 7))


@pytest.mark.slow
def test_studies_say_the_same_of_both(bench_journal: Path, archived: Path) -> None:
    assert read_weighed([archived]) == read_weighed([bench_journal])
    (one,), (other,) = read_histories([archived]), read_histories([bench_journal])
    assert one.portions() == other.portions()
    assert one.fitted == other.fitted


@pytest.mark.slow
def test_values_that_no_view_names_are_read(tmp_path: Path) -> None:
    journal = closed_journal(tmp_path / "20270115T080000.000000Z-0000000c.journal")
    read = ArchiveReader(archive(journal).path)
    for kinds in (None, {1}, {2}, {99}, {1, 99}):
        told = list(read.entries(kinds=kinds))
        assert told == list(JournalReader(journal).entries(kinds=kinds))


@pytest.mark.slow
def test_around_a_portion_only_what_is_near_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(why, "SPAN", 5)
    monkeypatch.setattr(why, "AFTER", 1)
    entries = [make.told_of(0.05), *make.series([30.0 + 0.1 * at for at in range(40)])]
    entries += [make.weight(20, 0.025), make.weight(2, 0.026)]
    # What came before a portion's record is told of that portion.
    gone = make.record("link", up=False, text="gone")
    entries.insert(entries.index(make.portion(15, 15)), gone)
    entries.insert(2, gone)
    journal = make.write_journal(tmp_path / "20270115T080000.000000Z-0000000d.journal", entries)
    path = archive(journal).path
    (near,) = read_histories([path], around=20)
    (all_of_them,) = read_histories([path])
    numbers = [one.number for one in near.portions()]
    assert numbers == list(range(15, 26))
    told = {one.number: one for one in all_of_them.portions()}
    for one in near.portions():
        assert (one.readings_kg, one.signals, one.events) == (
            told[one.number].readings_kg,
            told[one.number].signals,
            told[one.number].events,
        )
    assert "link" in near.portions()[0].events
    (front,) = read_histories([path], around=3)
    first = front.portions()[0]
    assert (first.number, first.events) == (1, told[1].events)
    assert "link" in first.events
    assert near.portions()[5].readings_kg == (pytest.approx(0.0319), 0.025)
    (nothing,) = read_histories([path], around=1_000)
    assert nothing.portions() == []


@pytest.mark.slow
def test_records_that_name_a_number_are_those_a_scan_finds(
    bench_journal: Path, archived: Path
) -> None:
    kind = ledger.RECORDS["weight"]
    read = ArchiveReader(archived)
    every = list(JournalReader(bench_journal).entries(kinds={kind}))
    of = {n: json.loads(entry.text or "{}")["portion"] for n, entry in every}
    for numbers, after in (((1, 1), 0), ((2, 3), 0), ((1, 3), every[1][0]), ((5, 9), 0)):
        scanned = [
            (n, entry) for n, entry in every if n > after and numbers[0] <= of[n] <= numbers[1]
        ]
        assert list(read.naming(kind, "portion", numbers, after)) == scanned
    for first, last in ((1, 1), (2, 3), (3, 99)):
        portion = ledger.RECORDS["portion"]
        places = {
            json.loads(entry.text or "{}")["number"]: n
            for n, entry in JournalReader(bench_journal).entries(kinds={portion})
        }
        before = max((n for number, n in places.items() if number < first), default=0)
        upto = max(n for number, n in places.items() if first <= number <= last)
        assert read.span_of(portion, first, last) == (before, upto)
    assert read.span_of(portion, 50, 99) is None


@pytest.mark.slow
def test_one_portion_is_explained_without_what_it_does_not_need(archived: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", ONE_PORTION, str(archived)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout)["cases"][0]["portion"] == 2
    assert not HEAVY & set(json.loads(done.stderr.splitlines()[-1]))


@pytest.mark.slow
def test_nameless_values_are_looked_for_only_where_a_kind_has_no_view(
    archived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[bool] = []
    monkeypatch.setattr(ArchiveReader, "_spare", property(lambda self: looked.append(True)))
    read = ArchiveReader(archived)
    list(read.entries(kinds=why.WANTED))
    assert not looked
    list(read.entries(kinds={*why.WANTED, 4242}))
    assert looked


def test_what_is_no_archive_says_so(tmp_path: Path) -> None:
    path = tmp_path / "a.journal.parquet"
    path.write_bytes(b"PAR1 and no more")
    with pytest.raises(JournalError, match="is no archive of a journal"):
        ArchiveReader(path)


def test_words_of_itself_that_are_no_text_are_damage(tmp_path: Path) -> None:
    path = tmp_path / "a.journal.parquet"
    table = pa.table({"n": [1]}).replace_schema_metadata({b"archive_version": b"\xff"})
    pq.write_table(table, path)
    for read in (ArchiveReader, facts_of):
        with pytest.raises(JournalError, match="is no archive of a journal, or is damaged"):
            read(path)
    (listed,) = list_all(tmp_path)
    assert "is damaged" in (listed.problem or "")
