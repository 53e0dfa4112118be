"""Reading journals: in order, by choice, while they are written, and when they cannot be read."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from benchd.analysis import reader as reader_module
from benchd.analysis.reader import (
    JournalReader,
    JournalState,
    canonical_export,
    list_journals,
    newest,
)
from benchd.io.journal_format import Entry, JournalError
from tests.analysis.journals import Journal, closed_journal, entry
from tests.io.reports import META, OPENED_US


@pytest.fixture(autouse=True)
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that every read here spans several."""
    monkeypatch.setattr(reader_module, "BLOCK", 7)


@pytest.fixture(scope="module")
def reader(tmp_path_factory: pytest.TempPathFactory) -> JournalReader:
    """Of a closed journal with five commits of twenty entries each."""
    path = tmp_path_factory.mktemp("reader") / "a.journal"
    return JournalReader(closed_journal(path, commits=5))


def numbered(first: int, last: int) -> list[tuple[int, Entry]]:
    return [(n, entry(n)) for n in range(first, last + 1)]


def test_entries_come_in_order_with_their_numbers(reader: JournalReader) -> None:
    assert list(reader.entries()) == numbered(1, 100)
    assert reader.last() == 100


def test_meta_and_views_are_given(reader: JournalReader) -> None:
    assert {key: reader.meta[key] for key in META} == META
    assert [view.name for view in reader.views] == ["sample", "cut"]


@pytest.mark.parametrize(
    ("choice", "keeps"),
    [
        ({"kinds": {2}}, lambda n: entry(n).kind == 2),
        ({"kinds": {1, 2}}, lambda n: True),
        ({"kinds": set()}, lambda n: False),
        ({"kinds": {99}}, lambda n: False),
        ({"after": 93}, lambda n: n > 93),
        ({"after": 100}, lambda n: False),
        ({"upto": 49}, lambda n: n < 50),
        ({"after": 9, "upto": 79, "kinds": [1]}, lambda n: n in range(10, 80, 2)),
    ],
)
def test_entries_are_chosen(
    reader: JournalReader, choice: dict[str, object], keeps: Callable[[int], bool]
) -> None:
    expected = [(n, entry(n)) for n in range(1, 101) if keeps(n)]
    assert list(reader.entries(**choice)) == expected  # type: ignore[arg-type]


def test_seals_tell_the_commits(reader: JournalReader) -> None:
    assert [(seal.n, seal.last) for seal in reader.seals()] == [
        (1, 0), (2, 20), (3, 40), (4, 60), (5, 80), (6, 100), (7, 100),
    ]  # fmt: skip
    assert [seal.n for seal in reader.seals(after=5)] == [6, 7]
    assert [seal.n for seal in reader.seals_at_end(2)] == [7, 6]


def test_the_export_hashes_to_the_head(reader: JournalReader) -> None:
    lines = list(canonical_export(reader))
    text = "".join(line + "\n" for line in lines)
    assert hashlib.sha256(text.encode()).hexdigest() == reader.head()
    assert json.loads(lines[0]) == reader.meta
    assert json.loads(lines[1])[:4] == [1, 1_010, 2, 1]
    assert list(canonical_export(reader, with_meta=False)) == lines[1:]
    assert len(lines) == 101


def test_a_journal_is_read_while_it_is_written(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a.journal")
    reader = JournalReader(journal.path)
    assert list(reader.entries()) == []
    assert reader.state() is JournalState.OPEN
    journal.commit(map(entry, range(1, 51)))
    reading = reader.entries()
    assert next(reading) == (1, entry(1))
    journal.commit(map(entry, range(51, 101)))
    # A read ends with what was there when it began; the next one goes on from there.
    assert [n for n, _ in reading] == list(range(2, 51))
    assert list(reader.entries(after=50)) == numbered(51, 100)
    assert reader.head() == journal.file.head()
    journal.close()
    assert reader.state() is JournalState.CLOSED


def test_a_read_left_half_way_holds_nothing(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a.journal")
    journal.commit(map(entry, range(1, 51)))
    reading = JournalReader(journal.path).entries()
    next(reading)
    journal.close()
    assert [path.name for path in tmp_path.iterdir()] == ["a.journal"]
    assert [n for n, _ in reading] == list(range(2, 51))


def test_numbers_that_leap_do_not_hold_up_a_read(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=1)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE entry SET n = ? WHERE n = 20", (2**62,))
    assert [n for n, _ in JournalReader(path).entries()] == [*range(1, 20), 2**62]


def test_a_list_shows_each_journal_as_it_is(tmp_path: Path) -> None:
    closed_journal(tmp_path / "1.journal", commits=1, bench="south")
    (tmp_path / "2.journal").write_bytes(b"no database at all, but long enough" * 100)
    writing = Journal(tmp_path / "3.journal")
    writing.commit([entry(1)])
    (tmp_path / "other.txt").write_text("")
    closed, broken, being_written = list_journals(tmp_path)
    assert (closed.bench, closed.state, closed.entries) == ("south", JournalState.CLOSED, 20)
    assert closed.opened_us == OPENED_US
    assert closed.size_bytes == (tmp_path / "1.journal").stat().st_size
    assert closed.head == JournalReader(closed.path).head()
    assert closed.problem is None
    assert broken.problem == "2.journal is not a journal, or its first bytes are damaged."
    assert (broken.state, broken.head, broken.entries) == (None, None, 0)
    assert (being_written.state, being_written.entries) == (JournalState.OPEN, 1)
    assert being_written.size_bytes > (tmp_path / "3.journal").stat().st_size
    assert newest(tmp_path) == being_written
    writing.close()


def test_an_empty_folder_has_no_journals(tmp_path: Path) -> None:
    assert list_journals(tmp_path) == []
    assert newest(tmp_path) is None
    assert newest(tmp_path / "none") is None


def refusal(path: Path) -> str:
    with pytest.raises(JournalError) as caught:
        JournalReader(path)
    return str(caught.value)


def test_a_later_version_is_named(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=1)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 3")
    assert refusal(path) == (
        "This journal was written by a later version (schema 3; this program knows 1). Use that "
        "version, or export it there."
    )


def test_other_files_are_no_journals(tmp_path: Path) -> None:
    path = tmp_path / "a.journal"
    assert refusal(path) == f"There is no journal at {path}."
    assert refusal(tmp_path) == f"There is no journal at {tmp_path}."
    path.write_bytes(b"")
    assert "a.journal is not a journal" in refusal(path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE entry (n)")
    assert "a.journal is not a journal" in refusal(path)


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    path = closed_journal(tmp_path / "a.journal", commits=1)
    with pytest.raises(JournalError), reader_module.opened(path) as connection:
        connection.execute("DELETE FROM entry")
    assert JournalReader(path).last() == 20
