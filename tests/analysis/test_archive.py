"""Archives: everything there and back, refusals, damage, and the chain of a folder."""

from __future__ import annotations

import random
import resource
import shutil
import signal
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet
import pytest

from benchd.analysis import archive as archive_module
from benchd.analysis import archive_format as form
from benchd.analysis import replay
from benchd.analysis.archive import archive, refuse_newest, remove
from benchd.analysis.integrity import check, check_folder
from benchd.analysis.reader import JournalReader, JournalState, canonical_export
from benchd.core import ledger
from benchd.io.journal_format import Entry, JournalError, complete_meta
from protocols import messages as m
from tests.analysis.bench_journal import write
from tests.analysis.journals import Journal, closed_journal, entry
from tests.scenarios.conftest import MASA, ready_world

BYTES_AN_ENTRY_MAX = 8


@pytest.fixture(autouse=True)
def small_groups(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that commits reach over the ends of row groups and of what is read back at a time."""
    monkeypatch.setattr(archive_module, "ROW_GROUP", 101)
    monkeypatch.setattr(form, "BLOCK", 67)


def tables(path: Path) -> list[list[tuple[object, ...]]]:
    """Every row of every table, and what SQLite keeps of the tables themselves."""
    with closing(sqlite3.connect(path)) as connection:
        return [
            connection.execute(f"SELECT * FROM {name} ORDER BY 1").fetchall()
            for name in ("entry", "seal", "meta")
        ] + [
            sorted(connection.execute("SELECT name, sql FROM sqlite_schema").fetchall()),
            connection.execute("PRAGMA application_id").fetchall(),
            connection.execute("PRAGMA user_version").fetchall(),
        ]


def there_and_back(path: Path) -> Path:
    """Archive a journal and restore it beside."""
    facts = archive(path)
    restored = path.with_name("restored.journal")
    form.restore(facts.path, restored)
    return restored


@pytest.mark.slow
def test_a_restored_journal_is_the_same_in_every_row(bench_journal: Path, tmp_path: Path) -> None:
    path = Path(shutil.copy(bench_journal, tmp_path))
    before = path.read_bytes()
    restored = there_and_back(path)
    assert tables(restored) == tables(path)
    old, new = JournalReader(path), JournalReader(restored)
    assert list(canonical_export(new)) == list(canonical_export(old))
    assert (new.head(), new.state()) == (old.head(), JournalState.CLOSED)
    assert check(restored, old.head()).clean
    assert replay.verify_file(restored).same
    assert path.read_bytes() == before
    facts = form.facts_of(tmp_path / f"{path.name}.parquet")
    assert (facts.head, facts.entries, facts.meta) == (old.head(), old.last(), old.meta)


def odd_entries(chance: random.Random, count: int) -> Iterator[Entry]:
    """Entries of every kind there is and of some there are not, with values of every size, some
    missing, some more than their view names."""
    kinds = [kind for _, kind, _ in ledger.views()] + [0, 7, 2**63 - 1, -(2**63)]
    for _ in range(count):
        values = tuple(
            chance.choice((None, 0, -1, 2**63 - 1, -(2**63), chance.getrandbits(40)))
            for _ in range(chance.choice((0, 1, 5, 12)))
        )
        text = chance.choice((None, "", "½ \x01 'x'\n", '{"a":1}', "x" * 300))
        t_ns = chance.choice((0, -(2**63), 2**63 - 1, chance.getrandbits(50)))
        yield Entry(t_ns, chance.choice(kinds), values, text)


@pytest.mark.slow
def test_whatever_a_journal_can_hold_comes_back(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    meta = complete_meta({"bench": "ü", "odd": 'a "b"\n'}, ledger.views(), 1_700_000_000_000_000)
    path = write(tmp_path / "a.journal", meta, odd_entries(chance, 900), chance.randint(1, 250))
    assert tables(there_and_back(path)) == tables(path)


def test_an_empty_journal_comes_back(tmp_path: Path) -> None:
    path = write(tmp_path / "a.journal", complete_meta({}, ledger.views(), 5), [])
    assert tables(there_and_back(path)) == tables(path)


def test_a_journal_that_was_cut_short_comes_back_so(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "live.journal")
    journal.commit(map(entry, range(1, 151)))
    for suffix in ("", "-wal"):
        shutil.copy(tmp_path / f"live.journal{suffix}", tmp_path / f"cut.journal{suffix}")
    journal.close()
    path = tmp_path / "cut.journal"
    assert JournalReader(path).state() is JournalState.CUT_SHORT
    restored = there_and_back(path)
    assert tables(restored) == tables(path)
    assert JournalReader(restored).state() is JournalState.CUT_SHORT
    assert form.facts_of(tmp_path / "cut.journal.parquet").closed_us is None


@pytest.mark.slow
def test_a_bench_at_work_takes_few_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Of twelve portions and some minutes of rest, all but the beginning: what is fixed (card,
    state, names of columns) weighs on a short journal, and vanishes in that of a day."""
    monkeypatch.setattr(archive_module, "ROW_GROUP", 65_536)
    world = ready_world(seed=3)
    world.ask("series", dough=MASA, count=12, every_s=8.0)
    world.run_for(200.0)
    world.settle()
    store = world.stores[-1]
    # A real clock has nanoseconds, which pack into nothing; that of a world has none.
    chance = random.Random(seed)
    noise: dict[int, int] = {}
    entries = [
        one._replace(t_ns=one.t_ns + noise.setdefault(one.t_ns, chance.randrange(1000)))
        for one in store.entries
    ]
    start = archive(write(tmp_path / "0.journal", store.meta, entries[:1000], each=2))
    whole = archive(write(tmp_path / "1.journal", store.meta, entries, each=2))
    each = (whole.size_bytes - start.size_bytes) / (whole.entries - start.entries)
    assert 2 < each <= BYTES_AN_ENTRY_MAX


# Refusals.


def refusal(path: Path) -> str:
    with pytest.raises(JournalError) as caught:
        archive(path)
    assert [one.name for one in path.parent.glob("*parquet*")] == []
    assert [one.name for one in path.parent.glob(".*")] == []
    return str(caught.value)


def test_a_journal_that_is_being_written_is_refused(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a.journal")
    journal.commit([entry(1)])
    assert "is being written by the daemon of its bench" in refusal(journal.path)
    with pytest.raises(JournalError):
        archive_module.refuse_open(journal.path)
    journal.close()
    assert archive(journal.path).entries == 1


def test_an_altered_journal_is_refused_and_kept(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=3)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE entry SET v1 = 0 WHERE n = 30")
    assert refusal(path) == (
        "a.journal is not archived: Commit 3 (entries 21 to 40) is not as it was written; from "
        "there on nothing vouches for the journal."
    )
    assert path.exists()


def test_a_later_version_is_refused(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=1)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 3")
    assert "was written by a later version (schema 3" in refusal(path)


def test_what_reads_back_otherwise_gets_no_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=3)
    monkeypatch.setattr(archive_module, "_only", lambda values, where: pa.nulls(len(values)))
    assert "a.journal" in refusal(path)


def test_an_archive_that_is_there_stays(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=1)
    made = archive(path).path
    data = made.read_bytes()
    with pytest.raises(JournalError, match="is there already"):
        archive(path)
    assert made.read_bytes() == data


@contextmanager
def file_size_limit(size_bytes: int) -> Iterator[None]:
    """A disk that is full after so many bytes of a file."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)


def test_a_full_disk_leaves_nothing(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=3)
    with file_size_limit(1_000):
        assert "could not be written" in refusal(path)
    kept = archive(path).path
    with file_size_limit(4_096), pytest.raises(JournalError, match="nothing was restored"):
        form.restore(kept, tmp_path / "b.journal")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["a.journal", "a.journal.parquet"]


def test_restoring_overwrites_nothing_and_needs_a_folder(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=1)
    made = archive(path).path
    with pytest.raises(JournalError, match="is there already, so nothing was restored"):
        form.restore(made, path)
    with pytest.raises(JournalError, match="nothing was restored"):
        form.restore(made, tmp_path / "none" / "a.journal")


# Damage.


@pytest.mark.slow
def test_a_damaged_archive_says_so(tmp_path: Path, seed: int) -> None:
    made = archive(closed_journal(tmp_path / "a.journal", commits=5)).path
    data = made.read_bytes()
    chance = random.Random(seed)
    target = tmp_path / "b.journal"
    for _ in range(40):
        at = chance.randrange(4, len(data) - 4)
        made.write_bytes(
            data[:at] + bytes([data[at] ^ (1 << chance.randrange(8))]) + data[at + 1 :]
        )
        report = check(made)
        if report.clean:  # A bit that holds nothing, such as one of a size nobody reads.
            form.restore(made, target)
            assert tables(target) == tables(tmp_path / "a.journal")
            target.unlink()
    for cut in (4, 8, len(data) // 2, len(data) - 1):
        made.write_bytes(data[:cut])
        assert not check(made).clean
        with pytest.raises(JournalError):
            form.restore(made, target)
        assert not target.exists()


def altered(made: Path, words: dict[str, str]) -> None:
    """Rewrite an archive with other words of its own."""
    table = pyarrow.parquet.read_table(made)
    kept = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    pyarrow.parquet.write_table(table.replace_schema_metadata(kept | words), made)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ({form.VERSION: "2"}, "was archived by a later version (archive 2; this program knows 1)"),
        ({form.VERSION: "one"}, "is no archive of a journal, or is damaged"),
        ({form.HEAD: "00"}, "is not as it was archived"),
        ({form.ENTRIES: "7"}, "is not as it was archived"),
        ({"meta.bench": "south"}, "is not as it was archived"),
        ({form.FIRST_US: "5"}, "the times of its commits were changed"),
        ({form.CLOSED_US: "5"}, "the times of its commits were changed"),
        ({form.STATE: "cut short"}, "is no archive of a journal, or is damaged"),
        ({form.STATE: "open-ish"}, "is no archive of a journal, or is damaged"),
    ],
)
def test_an_altered_archive_says_so(tmp_path: Path, words: dict[str, str], says: str) -> None:
    made = archive(closed_journal(tmp_path / "a.journal", commits=2)).path
    altered(made, {})
    assert check(made).clean
    altered(made, words)
    (finding,) = check(made).findings
    assert says in finding
    with pytest.raises(JournalError):
        form.restore(made, tmp_path / "b.journal")
    assert not (tmp_path / "b.journal").exists()


def test_an_altered_value_of_an_archive_says_so(tmp_path: Path) -> None:
    made = archive(closed_journal(tmp_path / "a.journal", commits=2)).path
    table = pyarrow.parquet.read_table(made)
    values = table["t_ns"].to_pylist()
    values[20] += 1
    index = table.schema.names.index("t_ns")
    other = table.set_column(index, "t_ns", pa.array(values, pa.int64()))
    pyarrow.parquet.write_table(other.replace_schema_metadata(table.schema.metadata), made)
    assert "is not as it was archived" in check(made).findings[0]


def test_other_parquet_is_no_archive(tmp_path: Path) -> None:
    path = tmp_path / "a.journal.parquet"
    pyarrow.parquet.write_table(pa.table({"n": [1]}), path)
    assert form.is_archive(path)
    assert "is no archive of a journal" in check(path).findings[0]
    with pytest.raises(JournalError, match="There is no archive"):
        form.facts_of(tmp_path / "none.parquet")


# A folder of them.


def chain(folder: Path, count: int = 3) -> list[Path]:
    """Journals of one bench, each with the head of the one before."""
    head, made = "", []
    for number in range(count):
        path = closed_journal(folder / f"{number}.journal", commits=2, previous_head=head)
        head = JournalReader(path).head() or ""
        made.append(path)
    return made


@pytest.mark.slow
def test_a_folder_hangs_together_over_its_archives(tmp_path: Path) -> None:
    first, second, third = chain(tmp_path)
    archive(first)
    archive(second)
    remove(second)
    assert form.all_in(tmp_path) == [first, tmp_path / "1.journal.parquet", third]
    reports = check_folder(tmp_path)
    assert [report.path for report in reports] == form.all_in(tmp_path)
    assert all(report.clean for report in reports), [report.findings for report in reports]
    # Another journal in the place of the archived one shows against the next one's meta.
    other = closed_journal(tmp_path / "other" / "1.journal", commits=1, previous_head="")
    (tmp_path / "1.journal.parquet").unlink()
    archive(other, tmp_path / "1.journal.parquet")
    assert [report.clean for report in check_folder(tmp_path)] == [True, False, True]


def test_a_list_shows_archives_beside_journals(tmp_path: Path) -> None:
    first, second = chain(tmp_path, 2)
    archive(first)
    (tmp_path / "2.journal.parquet").write_bytes(b"PAR1 and no more")
    names = [(facts.path.name, facts.entries, facts.state) for facts in form.list_all(tmp_path)]
    assert names == [
        ("0.journal", 40, JournalState.CLOSED),
        ("0.journal.parquet", 40, JournalState.CLOSED),
        ("1.journal", 40, JournalState.CLOSED),
        ("2.journal.parquet", 0, None),
    ]
    archived = form.list_all(tmp_path)[1]
    assert (archived.head, archived.bench) == (JournalReader(first).head(), "north")
    assert second.exists()


def test_the_newest_journal_is_never_deleted(tmp_path: Path) -> None:
    first, second = chain(tmp_path, 2)
    (tmp_path / "0.journal-wal").write_bytes(b"")
    remove(first)
    assert list(tmp_path.iterdir()) == [second]
    for ask in (refuse_newest, remove):
        with pytest.raises(JournalError, match="is the newest journal of its bench"):
            ask(second)
    assert second.exists()


def test_an_archive_is_read_like_a_journal_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temp"))
    (tmp_path / "temp").mkdir()
    path = closed_journal(tmp_path / "a.journal", commits=2)
    with form.readable(path) as same:
        assert same == path
    with form.readable(archive(path).path) as restored:
        assert restored.name == "a.journal"
        assert restored.parent.parent == tmp_path / "temp"
        assert tables(restored) == tables(path)
    assert list((tmp_path / "temp").iterdir()) == []
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "none"))
    with pytest.raises(JournalError, match="let TMPDIR name one"):
        form.readable(tmp_path / "a.journal.parquet").__enter__()


def test_the_columns_of_an_archive_name_every_field_of_the_wire() -> None:
    views = tuple(form.views_of_meta(complete_meta({}, ledger.views(), 0)))
    names = set(archive_module.schema_of(views).names)
    assert {f"line_sample_{name}" for name in m.Sample.__struct_fields__} <= names
    assert len(names) == 6 + 12 + sum(len(view.columns) for view in views)
