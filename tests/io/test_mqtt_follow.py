"""Journals are followed in order, from a cursor, and only what is committed is seen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchd.core import inputs, ledger
from benchd.core.inputs import WallClock
from benchd.io.journal import JournalFile
from benchd.io.journal_format import Entry, JournalError
from benchd.io.mqtt_follow import (
    CURSOR_FILE,
    Cursor,
    Follower,
    Told,
    load_cursor,
    save_cursor,
)
from protocols.news import Head, Place
from tests.io.reports import Reports

OPENED_US = 1_800_000_000_000_000
START_NS = 5_000_000_000


def entry(kind: str, t_ns: int = START_NS, **data: Any) -> Entry:
    """An entry of a record."""
    return Entry(t_ns, ledger.RECORDS[kind], (), msgspec.json.encode(data).decode())


def told_clock(t_ns: int, wall_us: int) -> Entry:
    """An entry that tells the time of day, as the daemon writes it."""
    return Entry(t_ns, *ledger.write_input(WallClock(wall_us)))


class Journals:
    """A folder of journals that are written one after the other."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.reports = Reports()
        self.file: JournalFile | None = None

    def begin(self, name: str) -> None:
        """End the journal there is, and begin one."""
        self.end()
        self.file = JournalFile.create(
            self.folder / name,
            meta={"bench": "maize"},
            views=ledger.views(),
            wall_us=lambda: OPENED_US,
            on_committed=self.reports.on_committed,
            on_fault=self.reports.on_fault,
        )

    def write(self, *entries: Entry) -> None:
        """Write entries and wait until they are safe."""
        file = self.file
        assert file is not None
        last = file.append(entries, urgent=True)
        self.reports.wait_for(lambda: file.committed >= last)

    def end(self) -> None:
        """Close the journal there is."""
        if self.file is not None:
            self.file.close()


@pytest.fixture
def journals(tmp_path: Path) -> Iterator[Journals]:
    journals = Journals(tmp_path)
    yield journals
    journals.end()


def numbers(found: Any) -> list[int]:
    """What the tests' records hold."""
    return [msgspec.json.decode(told.text)["number"] for told in found]


START = Cursor("a", 0)


def write_numbers(journals: Journals, values: range) -> None:
    journals.write(*(entry("portion", number=number) for number in values))


def test_records_come_once_in_order_with_their_places(journals: Journals) -> None:
    journals.begin("a.journal")
    journals.write(
        entry("note", text="not for the broker"),
        entry("portion", number=1),
        entry("weight", portion=1),
    )
    follower = Follower(journals.folder, 10, START)
    found, passed_over = follower.look("a.journal")
    assert [(told.kind, told.at, told.after) for told in found] == [
        ("portion", Place("a", 2), None),
        ("weight", Place("a", 3), Place("a", 2)),
    ]
    assert passed_over == 0
    assert not follower.look("a.journal")[0]
    journals.write(entry("move"), entry("trip", interlock="IL-09"))
    (told,) = follower.look("a.journal")[0]
    assert (told.kind, told.at, told.after) == ("trip", Place("a", 5), Place("a", 3))
    assert told.text == '{"interlock":"IL-09"}'


def test_what_is_not_committed_is_not_seen(tmp_path: Path) -> None:
    file = JournalFile.create(
        tmp_path / "a.journal",
        meta={},
        views=ledger.views(),
        wall_us=lambda: OPENED_US,
        on_committed=lambda n: None,
        on_fault=lambda reason: None,
        window_s=3600.0,
    )
    file.append([entry("portion", number=1)])
    follower = Follower(tmp_path, 10, START)
    assert not follower.look("a.journal")[0]
    file.close()
    assert numbers(follower.look("a.journal")[0]) == [1]


@pytest.mark.slow
def test_the_next_file_follows_and_the_chain_goes_on(journals: Journals) -> None:
    journals.begin("a.journal")
    write_numbers(journals, range(1, 3))
    follower = Follower(journals.folder, 10, START)
    follower.look("a.journal")
    write_numbers(journals, range(3, 4))
    journals.begin("b.journal")
    journals.begin("c.journal")
    write_numbers(journals, range(4, 5))
    found = follower.look("c.journal")[0]
    assert numbers(found) == [3, 4]
    assert found[1].at == Place("c", 1)
    assert found[1].after == Place("a", 3)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("cursor", "left"),
    [
        (Cursor("c", 0), [5, 6]),  # A bench that is new to MQTT does not tell its past.
        (Cursor("a", 2), [3, 4, 5, 6]),
        (Cursor("a", 3), [4, 5, 6]),
        (Cursor("b", 1), [5, 6]),
        (Cursor("gone", 9), [5, 6]),
        (Cursor("0-gone", 9), [1, 2, 3, 4, 5, 6]),
    ],
)
def test_a_cursor_says_where_to_go_on(journals: Journals, cursor: Cursor, left: list[int]) -> None:
    for name, values in (("a", range(1, 4)), ("b", range(4, 5)), ("c", range(5, 7))):
        journals.begin(f"{name}.journal")
        write_numbers(journals, values)
    found, _ = Follower(journals.folder, 10, cursor).look("c.journal")
    assert numbers(found) == left
    # Rows before the cursor do not go out again, yet the chain knows them.
    if cursor == Cursor("a", 2):
        assert found[0].after == Place("a", 2)


def test_a_clock_set_back_leads_to_the_present_file(journals: Journals) -> None:
    journals.begin("b.journal")
    write_numbers(journals, range(1, 2))
    follower = Follower(journals.folder, 10, Cursor("b", 0))
    follower.look("b.journal")
    journals.begin("a.journal")
    write_numbers(journals, range(2, 3))
    assert numbers(follower.look("a.journal")[0]) == [2]


def test_of_a_long_backlog_the_newest_are_kept_and_the_rest_counted(journals: Journals) -> None:
    journals.begin("a.journal")
    write_numbers(journals, range(1, 31))
    found, passed_over = Follower(journals.folder, 10, START).look("a.journal")
    assert numbers(found) == list(range(21, 31))
    assert passed_over == 20
    assert found[0].after == Place("a", 20)


def test_a_damaged_file_is_left_behind(journals: Journals) -> None:
    (journals.folder / "a.journal").write_bytes(b"no journal at all" * 100)
    journals.begin("b.journal")
    write_numbers(journals, range(1, 2))
    assert numbers(Follower(journals.folder, 10, Cursor("a", 5)).look("b.journal")[0]) == [1]


def test_a_file_that_is_not_there_yet_is_looked_at_again(journals: Journals) -> None:
    follower = Follower(journals.folder, 10, START)
    assert not follower.look("a.journal")[0]
    journals.begin("a.journal")
    write_numbers(journals, range(1, 2))
    assert numbers(follower.look("a.journal")[0]) == [1]


def times(found: Any) -> list[float]:
    return [told.time_s for told in found]


def test_a_journal_that_was_looked_at_before_its_first_entry_tells_its_time(
    journals: Journals,
) -> None:
    follower = Follower(journals.folder, 10, START)
    journals.begin("a.journal")
    assert not follower.look("a.journal")[0]
    journals.write(entry("weight", portion=1), entry("weight", START_NS + 2 * 10**9, portion=2))
    opened_s = OPENED_US / 1e6
    assert times(follower.look("a.journal")[0]) == [opened_s, opened_s + 2.0]


def test_times_of_day_follow_what_the_core_was_told(journals: Journals) -> None:
    journals.begin("a.journal")
    minute_ns = 60 * 10**9
    journals.write(
        entry("portion", START_NS, number=1),
        entry("portion", START_NS + 1_500_000_000, number=2),
        # The clock was set right: 2 s forward.
        told_clock(START_NS + minute_ns, OPENED_US + 62_000_000),
        entry("portion", START_NS + minute_ns + 250_000_000, number=3),
    )
    found = Follower(journals.folder, 10, START).look("a.journal")[0]
    opened_s = OPENED_US / 1e6
    assert times(found) == pytest.approx([opened_s, opened_s + 1.5, opened_s + 62.25], abs=1e-6)


def test_the_head_is_that_of_the_last_commit(journals: Journals) -> None:
    journals.begin("a.journal")
    write_numbers(journals, range(1, 3))
    follower = Follower(journals.folder, 10, START)
    assert follower.head is None
    follower.look("a.journal")
    assert journals.file is not None
    assert follower.head == Head("a", 2, journals.file.head())
    journals.write(entry("note", text="not for the broker"))
    follower.look("a.journal")
    assert follower.head == Head("a", 3, journals.file.head())


def test_the_inputs_that_tell_the_time_are_known() -> None:
    """The follower reads `wall_us` of any input; these are the inputs that have it."""
    with_time = {
        cls
        for cls in inputs.Input.__subclasses__()
        if "wall_us" in getattr(cls, "__struct_fields__", ())
    }
    assert with_time == {inputs.Opened, inputs.WallClock}


def test_the_cursor_comes_back(tmp_path: Path) -> None:
    assert load_cursor(tmp_path) is None
    save_cursor(tmp_path, Cursor("a", 7, 2))
    assert load_cursor(tmp_path) == Cursor("a", 7, 2)
    assert [path.name for path in tmp_path.iterdir()] == [CURSOR_FILE]


@pytest.mark.parametrize("text", ["", "{", '{"journal":1,"row":"x"}'])
def test_a_damaged_cursor_counts_as_none(tmp_path: Path, text: str) -> None:
    (tmp_path / CURSOR_FILE).write_text(text)
    assert load_cursor(tmp_path) is None


def test_a_cursor_that_cannot_be_kept_is_no_error(tmp_path: Path) -> None:
    save_cursor(tmp_path / "nowhere", Cursor("a", 1))


def test_a_look_goes_on_after_a_disk_that_failed_half_way(
    journals: Journals, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read before the error is kept, and nothing is told twice."""
    journals.begin("a.journal")
    write_numbers(journals, range(1, 4))
    follower = Follower(journals.folder, 10, START)
    told: Callable[[int, Entry], Told | None] = follower._told

    def fails_at_two(n: int, one: Entry) -> Told | None:
        if n == 2:
            raise JournalError("planted")
        return told(n, one)

    monkeypatch.setattr(follower, "_told", fails_at_two)
    assert numbers(follower.look("a.journal")[0]) == [1]
    monkeypatch.undo()
    assert numbers(follower.look("a.journal")[0]) == [2, 3]
