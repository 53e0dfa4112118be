"""What every journal must do, on a disk or in memory: one suite, run on each of them.

A rig makes the store, keeps what it reported, and knows how to wait for its commits and how to
bring about a fault.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from enum import IntEnum
from pathlib import Path
from typing import Any, Protocol

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.analysis.reader import JournalReader
from benchd.io import journal_disk
from benchd.io.journal import JournalFile
from benchd.io.journal_format import VALUE_COUNT_MAX, Entry, Store
from benchd.io.memory_store import MemoryStore
from tests.io.reports import META, OPENED_US, VIEWS, Reports, sample

INT64 = st.integers(-(2**63), 2**63 - 1)
TEXTS = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=30)
ENTRIES = st.builds(
    Entry,
    t_ns=INT64,
    kind=st.integers(3, 2**63 - 1),  # Kinds without a view: all values come back.
    values=st.tuples(*[INT64 | st.none()] * VALUE_COUNT_MAX),
    text=TEXTS | st.none(),
)


class Rig(Protocol):
    """One way to make a store and to watch it."""

    reports: Reports

    def make(self, *, room: int | None = None, **limits: Any) -> Store:
        """A store that opened at OPENED_US; with `room`, one whose disk holds little more."""

    def settle(self, store: Store, last: int) -> None:
        """Return when entry `last` is committed or a fault was reported."""

    def entries(self, store: Store) -> list[Entry]:
        """The committed entries, as read back."""


class MemoryRig:
    """A store in memory; its disk is full after `room` entries."""

    def __init__(self) -> None:
        self.reports = Reports()
        self._room: int | None = None

    def make(self, *, room: int | None = None, **limits: Any) -> MemoryStore:
        self._room = room
        return MemoryStore(
            meta=META,
            views=VIEWS,
            wall_us=lambda: OPENED_US,
            on_committed=self.reports.on_committed,
            on_fault=self.reports.on_fault,
            **limits,
        )

    def settle(self, store: Store, last: int) -> None:
        assert isinstance(store, MemoryStore)
        if self._room is not None and last > self._room:
            store.fail("The disk is full.")
        store.settle()

    def entries(self, store: Store) -> list[Entry]:
        assert isinstance(store, MemoryStore)
        return store.entries


class FileRig:
    """A store in a file; SQLite's own page limit stands for a small disk."""

    def __init__(self, folder: Path) -> None:
        self.reports = Reports()
        self.made: list[JournalFile] = []
        self._folder = folder

    def make(self, *, room: int | None = None, **limits: Any) -> JournalFile:
        pragmas = journal_disk.PRAGMAS
        if room is not None:
            pragmas = (*pragmas, "max_page_count = 12")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(journal_disk, "PRAGMAS", pragmas)
            store = JournalFile.create(
                self._folder / f"{len(self.made)}.journal",
                meta=META,
                views=VIEWS,
                wall_us=lambda: OPENED_US,
                on_committed=self.reports.on_committed,
                on_fault=self.reports.on_fault,
                **limits,
            )
        self.made.append(store)
        return store

    def settle(self, store: Store, last: int) -> None:
        store.append([], urgent=True)
        self.reports.wait_for(lambda: store.committed >= last)

    def entries(self, store: Store) -> list[Entry]:
        assert isinstance(store, JournalFile)
        return [entry for _, entry in JournalReader(store.path).entries()]

    def close(self) -> None:
        for store in self.made:
            store.close()


def head_by_the_book(entries: Iterable[Entry]) -> str:
    """The head of a journal with META and VIEWS, computed with other tools than the journal's."""
    views = json.dumps(VIEWS, separators=(",", ":"))
    lines: list[object] = [{**META, "opened_us": str(OPENED_US), "views": views}]
    for n, entry in enumerate(entries, 1):
        blanks = [None] * (VALUE_COUNT_MAX - len(entry.values))
        lines.append([n, entry.t_ns, entry.kind, *entry.values, *blanks, entry.text])
    digest = hashlib.sha256()
    for line in lines:
        text = json.dumps(line, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
        digest.update(text.encode() + b"\n")
    return digest.hexdigest()


class Kind(IntEnum):
    CUT = 2


REFUSED = [
    Entry(1, 1, tuple(range(VALUE_COUNT_MAX + 1))),
    Entry(2**63, 1),
    Entry(1, 1, (-(2**63) - 1,)),
    Entry(1, 1, (1.0,)),  # type: ignore[arg-type]
    Entry(None, 1),  # type: ignore[arg-type]
    Entry(1, 1, (), "a\0b"),
    Entry(1, 1, (), "\ud800"),
    Entry(1, 1, (), b"bytes"),  # type: ignore[arg-type]
]


class StoreContract:
    """The suite. A subclass gives the fixture `new_rig`, which makes a fresh rig at each call."""

    @pytest.fixture
    def rig(self, new_rig: Callable[[], Rig]) -> Rig:
        return new_rig()

    def test_numbers_run_from_one_without_gaps(self, rig: Rig) -> None:
        store = rig.make()
        lasts = [store.append(map(sample, range(count))) for count in (3, 0, 1, 500)]
        assert lasts == [3, 3, 4, 504]
        rig.settle(store, 504)
        assert store.committed == 504
        assert rig.reports.committed[-1] == 504
        assert rig.reports.committed == sorted(set(rig.reports.committed))

    def test_nothing_is_committed_before_its_time(self, rig: Rig) -> None:
        store = rig.make()
        assert store.committed == 0
        assert store.head() == head_by_the_book([])
        assert store.uncommitted() == []

    def test_an_urgent_entry_is_numbered_like_any_other(self, rig: Rig) -> None:
        store = rig.make()
        assert store.append([sample(1)], urgent=True) == 1
        assert store.append([sample(2)]) == 2
        rig.settle(store, 2)
        assert rig.entries(store) == [sample(1), sample(2)]

    @pytest.mark.slow
    def test_entries_come_back_as_they_went_in(self, new_rig: Callable[[], Rig]) -> None:
        @given(st.lists(ENTRIES, max_size=20))
        def check(entries: list[Entry]) -> None:
            rig = new_rig()
            store = rig.make()
            rig.settle(store, store.append(entries))
            assert rig.entries(store) == entries
            assert store.head() == head_by_the_book(entries)
            store.close()

        check()

    def test_views_give_the_number_of_values(self, rig: Rig) -> None:
        store = rig.make()
        blank_at_the_end = Entry(1, 1, (5, None, None))
        rig.settle(store, store.append([blank_at_the_end, Entry(2, 2, ()), Entry(3, 9, (1,))]))
        assert rig.entries(store) == [
            blank_at_the_end,
            Entry(2, 2, (None,)),
            Entry(3, 9, (1, *[None] * (VALUE_COUNT_MAX - 1))),
        ]

    def test_flags_and_enumerations_are_stored_as_integers(self, rig: Rig) -> None:
        store = rig.make()
        rig.settle(store, store.append([Entry(1, Kind.CUT, (True,))]))
        assert rig.entries(store) == [Entry(1, 2, (1,))]
        assert store.head() == head_by_the_book([Entry(1, 2, (1,))])

    def test_the_head_does_not_depend_on_the_grouping(self, new_rig: Callable[[], Rig]) -> None:
        entries = [sample(i) for i in range(300)]
        whole, single = new_rig(), new_rig()
        store = whole.make()
        whole.settle(store, store.append(entries))
        other = single.make()
        for start in (0, 1, 2, 150):
            end = {0: 1, 1: 2, 2: 150, 150: 300}[start]
            single.settle(other, other.append(entries[start:end]))
        assert store.head() == other.head() == head_by_the_book(entries)
        assert len(single.reports.committed) > len(whole.reports.committed)

    @pytest.mark.parametrize("entry", REFUSED, ids=lambda entry: repr(entry)[:40])
    def test_what_cannot_be_stored_is_refused_whole(self, rig: Rig, entry: Entry) -> None:
        store = rig.make()
        with pytest.raises((ValueError, TypeError)):
            store.append([sample(1), entry])
        assert store.append([sample(2)]) == 1
        rig.settle(store, 1)
        assert rig.entries(store) == [sample(2)]

    def test_a_fault_is_final_and_loses_nothing(self, rig: Rig) -> None:
        store = rig.make(room=100)
        entries = [Entry(i, 1, (i, 0, 0), "x" * 200) for i in range(1_000)]
        for start in range(0, 1_000, 100):
            rig.settle(store, store.append(entries[start : start + 100]))
        assert len(rig.reports.faults) == 1
        assert store.fault == rig.reports.faults[0]
        assert "full" in store.fault
        store.close()
        assert 0 < store.committed < 1_000
        assert rig.entries(store) == entries[: store.committed]
        assert store.uncommitted() == entries[store.committed :]
        assert store.head() == head_by_the_book(entries[: store.committed])

    def test_too_many_waiting_entries_are_a_fault_and_are_counted(self, rig: Rig) -> None:
        store = rig.make(queue_max=150)
        entries: Sequence[Entry] = [sample(i) for i in range(200)]
        assert store.append(entries) == 150
        assert store.dropped == 50
        assert len(rig.reports.faults) == 1
        assert "150 entries wait" in rig.reports.faults[0]
        store.append([sample(1)])
        assert len(rig.reports.faults) == 1
        store.close()
        kept = [*rig.entries(store), *store.uncommitted()]
        assert kept[:150] == entries[:150]

    def test_closing_commits_what_waits_and_is_final(self, rig: Rig) -> None:
        store = rig.make()
        store.append([sample(1)])
        store.close()
        store.close()
        assert rig.entries(store) == [sample(1)]
        assert rig.reports.committed == [1]
        assert not rig.reports.faults
        with pytest.raises(ValueError, match="closed"):
            store.append([sample(2)])
