"""The check finds what was changed in a journal, says what it cannot see, and changes nothing."""

from __future__ import annotations

import os
import random
import sqlite3
from collections.abc import Sequence
from contextlib import closing, suppress
from pathlib import Path

import pytest

from benchd.analysis.integrity import NO_KEPT_HEAD, check, check_folder, check_kept
from benchd.analysis.reader import JournalReader, JournalState
from benchd.io.journal_format import JournalError, Row
from tests.analysis.journals import MARK, Journal, closed_journal, entry

FLIPS = int(os.environ.get("BENCHD_BIT_FLIPS", "200"))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A journal of ten commits (2 to 11) of twenty entries each; number 12 closes it."""
    return closed_journal(tmp_path_factory.mktemp("whole") / "a.journal").read_bytes()


@pytest.fixture
def path(tmp_path: Path, whole: bytes) -> Path:
    """That journal, to be damaged."""
    path = tmp_path / "a.journal"
    path.write_bytes(whole)
    return path


def alter(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def test_a_journal_as_written_is_clean(path: Path) -> None:
    before = path.read_bytes()
    report = check(path)
    assert report.clean
    assert report.findings == []
    assert report.notes == [NO_KEPT_HEAD]
    assert report.state is JournalState.CLOSED
    assert (report.entries, report.commits, report.bad_commit) == (200, 12, None)
    assert report.head == JournalReader(path).head()
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == ["a.journal"]


ALTERED = [
    ("UPDATE entry SET v1 = v1 + 1 WHERE n = 47", 4, "Commit 4 (entries 41 to 60) is not as"),
    ("UPDATE entry SET t_ns = t_ns - 1 WHERE n = 1", 2, "Commit 2 (entries 1 to 20) is not as"),
    ("UPDATE entry SET kind = 9 WHERE n = 200", 11, "Commit 11 (entries 181 to 200) is not as"),
    ("UPDATE entry SET text = NULL WHERE n = 60", 4, "Commit 4 (entries 41 to 60) is not as"),
    ("UPDATE entry SET text = '' WHERE n = 61", 5, "Commit 5 (entries 61 to 80) is not as"),
    ("UPDATE entry SET v10 = 0 WHERE n = 61", 5, "Commit 5 (entries 61 to 80) is not as"),
    ("DELETE FROM entry WHERE n = 100", 6, "Entry 100 is missing; commit 6 had it."),
    ("DELETE FROM entry WHERE n > 190", 11, "Entry 191 is missing; commit 11 had it."),
    ("DELETE FROM entry WHERE n < 11", 2, "Entry 1 is missing; commit 2 had it."),
    ("UPDATE entry SET n = 900 WHERE n = 30", 3, "Entry 30 is missing; commit 3 had it."),
    ("INSERT INTO entry (n, t_ns, kind) VALUES (201, 1, 1)", None, "Entries 201 to 201 follow"),
    ("INSERT INTO entry (n, t_ns, kind) VALUES (0, 1, 1)", None, "Entry 0 stands before"),
    ("UPDATE meta SET value = 'x' WHERE key = 'bench'", 1, "What the journal says of itself"),
    ("INSERT INTO meta VALUES ('a', 'b')", 1, "What the journal says of itself"),
    ("UPDATE seal SET hash = zeroblob(32) WHERE n = 5", 5, "The seal of commit 5 was changed; no"),
    ("UPDATE seal SET hash = zeroblob(32) WHERE n = 12", 12, "The seal of commit 12, which closes"),
    ("UPDATE seal SET last = 50 WHERE n = 3", 3, "The seal of commit 3 was changed; no"),
    ("UPDATE seal SET last = 5 WHERE n = 1", 1, "The seal of commit 1 was changed"),
    ("UPDATE seal SET last = 0 WHERE n = 7", 7, "The seal of commit 7 was changed"),
    ("UPDATE seal SET last = 1 << 60 WHERE n = 12", 12, "Entry 201 is missing; commit 12 had it."),
    ("DELETE FROM seal WHERE n = 4", 4, "Commit 4 is missing."),
    ("DELETE FROM seal", None, "has no seals"),
    ("DROP VIEW cut", None, "The tables or views of the journal were changed."),
    ("CREATE TABLE extra (a)", None, "The tables or views of the journal were changed."),
]


@pytest.mark.parametrize(("statement", "commit", "says"), ALTERED)
def test_each_change_is_found_and_its_commit_named(
    path: Path, statement: str, commit: int | None, says: str
) -> None:
    alter(path, statement)
    report = check(path)
    assert not report.clean
    assert report.findings[0].startswith(says) or says in report.findings[0]
    assert report.bad_commit == commit


def test_only_the_wall_time_of_a_commit_is_not_under_the_hash(path: Path) -> None:
    alter(path, "UPDATE seal SET wall_us = 0")
    assert check(path).clean


CUT_TAIL = (
    "DELETE FROM entry WHERE n > 100",
    "DELETE FROM seal WHERE last > 100",
)


def test_a_cut_tail_shows_against_a_kept_head_only(path: Path) -> None:
    head = JournalReader(path).head()
    alter(path, *CUT_TAIL)
    alone = check(path)
    assert alone.clean
    assert alone.state is JournalState.CUT_SHORT
    assert NO_KEPT_HEAD in alone.notes
    against = check(path, head)
    assert not against.clean
    assert "is that of no commit in this file" in against.findings[0]


def test_a_whole_rewrite_shows_against_a_kept_head(path: Path, tmp_path: Path) -> None:
    head = JournalReader(path).head()
    other = closed_journal(tmp_path / "b.journal", commits=9)
    assert check(other).clean
    assert not check(other, head).clean


def test_a_head_from_half_way_vouches_for_the_first_half(path: Path) -> None:
    middle = next(seal for seal in JournalReader(path).seals() if seal.n == 6)
    report = check(path, middle.hash.hex().upper())
    assert report.clean
    assert report.notes == [
        "The head kept elsewhere is that of commit 6 of 12; what follows it could have been cut "
        "unseen."
    ]


def test_the_final_head_leaves_nothing_to_note(path: Path) -> None:
    assert check(path, JournalReader(path).head()).notes == []


def test_a_change_inside_is_not_taken_for_a_cut_tail(path: Path) -> None:
    head = JournalReader(path).head()
    alter(path, "UPDATE entry SET v1 = 0 WHERE n = 47")
    (finding,) = check(path, head).findings
    assert finding.startswith("Commit 4 ")
    alter(path, "DELETE FROM entry WHERE n = 47")
    (finding,) = check(path, head).findings
    assert finding.startswith("Entry 47 is missing")


@pytest.mark.parametrize("kept", ["", "nonsense", "00" * 32])
def test_a_head_of_another_journal_is_a_finding(path: Path, kept: str) -> None:
    assert not check(path, kept).clean


def test_a_journal_is_checked_while_it_is_written(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a.journal")
    for first in range(1, 400, 40):
        journal.commit(map(entry, range(first, first + 40)))
        journal.file.append(map(entry, range(5)))
        report = check(journal.path)
        assert report.findings == []
        assert report.state is JournalState.OPEN
    journal.close()


@pytest.mark.parametrize("content", [b"", b"x", b"SQLite format 3\0", b"\0" * 5_000])
def test_what_is_no_journal_is_said_so(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.journal"
    path.write_bytes(content)
    assert check(path).findings == ["a.journal is not a journal, or its first bytes are damaged."]
    assert path.read_bytes() == content
    path.unlink()
    assert check(path).findings == [f"There is no journal at {path}."]


@pytest.mark.slow
def test_journals_of_a_folder_vouch_for_one_another(tmp_path: Path) -> None:
    first = closed_journal(tmp_path / "1.journal", previous_head="")
    head = JournalReader(first).head()
    assert head is not None
    closed_journal(tmp_path / "2.journal", bench="south", previous_head="")
    closed_journal(tmp_path / "3.journal", commits=2, previous_head=head)
    reports = check_folder(tmp_path)
    assert [report.path.name for report in reports] == ["1.journal", "2.journal", "3.journal"]
    assert [report.findings for report in reports] == [[], [], []]
    assert [NO_KEPT_HEAD in report.notes for report in reports] == [False, True, True]
    alter(first, *CUT_TAIL)
    assert [report.clean for report in check_folder(tmp_path)] == [False, True, True]


@pytest.mark.slow
def test_what_an_unreadable_journal_carried_is_not_known(tmp_path: Path) -> None:
    first = closed_journal(tmp_path / "1.journal", previous_head="")
    lost = tmp_path / "2.journal"
    lost.write_bytes(b"nothing of the kind")
    # It carries the head of the one that cannot be read, and nobody can tell whose that is.
    closed_journal(tmp_path / "3.journal", commits=2, previous_head="ab" * 32)
    for alone, beside in zip(
        map(check_kept, sorted(tmp_path.glob("*.journal"))), check_folder(tmp_path), strict=True
    ):
        assert alone == beside
    report, bad, last = check_folder(tmp_path)
    assert (report.clean, bad.clean, last.clean) == (True, False, True)
    (note,) = report.notes
    assert "not known" in note
    assert lost.name in note
    assert "'benchd journal check 1.journal --head HASH'" in note
    assert last.notes == [NO_KEPT_HEAD]
    lost.unlink()
    assert not check_kept(first).clean


def content(path: Path) -> tuple[dict[str, str], list[Row]]:
    reader = JournalReader(path)
    return reader.meta, list(reader.rows())


@pytest.mark.slow
def test_a_flipped_bit_is_found_or_changed_nothing(path: Path, whole: bytes, seed: int) -> None:
    chance = random.Random(seed)
    written = content(path)
    found = 0
    for _ in range(FLIPS):
        at, bit = chance.randrange(len(whole)), chance.randrange(8)
        damaged = bytearray(whole)
        damaged[at] ^= 1 << bit
        path.write_bytes(damaged)
        report = check(path)
        found += not report.clean
        assert path.read_bytes() == damaged, (at, bit)
        if report.clean:
            assert content(path) == written, (at, bit)
    # Most of a small file is free space; still, a check that sees nothing would fail here.
    assert found > FLIPS / 5


def places_of(data: bytes, needles: Sequence[bytes]) -> list[int]:
    """Every byte of every one of these that occurs exactly once."""
    starts = [(data.index(needle), len(needle)) for needle in needles if data.count(needle) == 1]
    return [at for start, length in starts for at in range(start, start + length)]


@pytest.mark.slow
@pytest.mark.parametrize("what", ["text", "value"])
def test_a_flipped_bit_in_an_entry_is_always_found(
    path: Path, whole: bytes, seed: int, what: str
) -> None:
    chance = random.Random(seed)
    needles = {
        "text": [f"entry {i}".encode() for i in range(100, 200)],
        "value": [(MARK + i).to_bytes(8) for i in range(1, 200)],
    }[what]
    places = places_of(whole, needles)
    assert len(places) > 500
    for _ in range(FLIPS):
        at, bit = chance.choice(places), chance.randrange(8)
        damaged = bytearray(whole)
        damaged[at] ^= 1 << bit
        path.write_bytes(damaged)
        report = check(path)
        assert not report.clean, (at, bit)
        assert report.bad_commit is not None or "damaged" in report.findings[0], (at, bit)


@pytest.mark.slow
def test_a_file_cut_at_any_length_is_found(path: Path, whole: bytes, seed: int) -> None:
    chance = random.Random(seed)
    for length in [1, 100, 4096, len(whole) - 1, *chance.sample(range(len(whole)), 40)]:
        path.write_bytes(whole[:length])
        assert not check(path).clean, length


@pytest.mark.slow
def test_random_damage_never_raises(path: Path, whole: bytes, seed: int) -> None:
    chance = random.Random(seed)
    for _ in range(FLIPS):
        damaged = bytearray(whole)
        for _ in range(chance.randint(1, 30)):
            damaged[chance.randrange(100, len(whole))] = chance.randrange(256)
        path.write_bytes(damaged)
        check(path)
        # Whatever else a reader raises for a damaged file would end this test.
        with suppress(JournalError):
            JournalReader(path).facts()
            list(JournalReader(path).entries())


@pytest.mark.slow
def test_damage_in_the_log_of_a_cut_short_journal_only_shortens_it(
    tmp_path: Path, seed: int
) -> None:
    chance = random.Random(seed)
    journal = Journal(tmp_path / "a.journal")
    for first in range(1, 200, 20):
        journal.commit(map(entry, range(first, first + 20)))
    main, log = journal.path.read_bytes(), Path(f"{journal.path}-wal").read_bytes()
    written = list(JournalReader(journal.path).rows())
    journal.close()
    copy = tmp_path / "copy" / "a.journal"
    copy.parent.mkdir()
    for _ in range(FLIPS // 4):
        damaged = bytearray(log)
        damaged[chance.randrange(len(log))] ^= 1 << chance.randrange(8)
        copy.write_bytes(main)
        Path(f"{copy}-wal").write_bytes(damaged)
        Path(f"{copy}-shm").unlink(missing_ok=True)
        assert check(copy).findings == []
        rows = list(JournalReader(copy).rows())
        assert rows == written[: len(rows)]
