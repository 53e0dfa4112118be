"""Canonical lines, views and names: what readers of other languages may rely on."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given

from benchd.io.journal_format import (
    VALUE_COUNT_MAX,
    Entry,
    JournalError,
    View,
    check_views,
    complete_meta,
    entry_of,
    journal_path,
    meta_line,
    row_lines,
    row_of,
    views_of_meta,
)
from tests.io.contracts import ENTRIES
from tests.io.reports import META, VIEWS


@pytest.mark.slow
@given(ENTRIES)
def test_a_line_is_what_the_standard_library_writes(entry: Entry) -> None:
    row = row_of(7, entry)
    text = json.dumps(row, ensure_ascii=False, separators=(",", ":")) + "\n"
    assert row_lines([row]) == text.encode()
    assert row_lines([row]).count(b"\n") == 1


def test_a_line_spelled_out() -> None:
    row = row_of(2, Entry(5, 3, (-1, None), 'é"\n\x1f'))
    blanks = ",null" * (VALUE_COUNT_MAX - 2)
    expected = f'[2,5,3,-1,null{blanks},"é\\"\\n\\u001f"]\n'
    assert row_lines([row]) == expected.encode()
    assert meta_line({"b": "2", "a": "ü"}) == '{"a":"ü","b":"2"}\n'.encode()


def test_row_and_entry_are_inverse_where_a_view_says_how_wide() -> None:
    entry = Entry(5, 3, (1, None, None), "t")
    assert entry_of(row_of(1, entry), {3: 3}) == entry
    assert entry_of(row_of(1, entry), {}).values == (1, *[None] * (VALUE_COUNT_MAX - 1))


def test_the_views_come_back_from_the_meta() -> None:
    meta = complete_meta(META, VIEWS, 5)
    assert views_of_meta(meta) == tuple(View(n, k, tuple(c)) for n, k, c in VIEWS)
    assert meta["opened_us"] == "5"
    assert views_of_meta({}) == ()


@pytest.mark.parametrize("views", ["", "{}", '[["a b",1,[]]]', '[["a","1",[]]]'])
def test_damaged_views_are_named(views: str) -> None:
    with pytest.raises(JournalError, match="list of views is damaged"):
        views_of_meta({"views": views})


@pytest.mark.parametrize(
    ("views", "why"),
    [
        ([("Sample", 1, [])], "plain lower-case"),
        ([("a", 1, ['b"'])], "plain lower-case"),
        ([("entry", 1, [])], "a name that the journal itself has"),
        ([("a", 1, ["t_ns"])], "a name that the journal itself has"),
        ([("a", 1, ["b", "b"])], "repeated columns"),
        ([("a", 1, [f"c{i}" for i in range(VALUE_COUNT_MAX + 1)])], "over"),
        ([("a", 1, []), ("a", 2, [])], "the same name"),
        ([("a", 1, []), ("b", 1, [])], "the same kind"),
    ],
)
def test_views_that_cannot_be_are_refused(
    views: list[tuple[str, int, list[str]]], why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        check_views(views)


@pytest.mark.parametrize("bad", [{"a\0": ""}, {"a": "\0"}, {"a": "\ud800"}])
def test_meta_that_would_not_come_back_is_refused(bad: dict[str, str]) -> None:
    with pytest.raises(ValueError, match=r"NUL|surrogates"):
        complete_meta(bad, [], 0)


def test_names_sort_by_time() -> None:
    folder = Path("j")
    # 2025-11-25 08:00:00 UTC is 1 764 057 600 s after 1970 (GNU date 9.1: date -u -d ... +%s).
    second = 1_764_057_600_000_000
    first = journal_path(folder, second + 9, "ffffffff")
    later = journal_path(folder, second + 10, "00000000")
    assert first == folder / "20251125T080000.000009Z-ffffffff.journal"
    assert later.name > first.name
