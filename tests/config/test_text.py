"""Cards as text: what is refused before any key is looked at, with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.config import CardError, read_card
from benchd.config.text import SIZE_MAX, Entry, entries


def sentences(text: str) -> tuple[str, ...]:
    with pytest.raises(CardError) as caught:
        entries(text, "a.yaml")
    return caught.value.sentences


def test_values_stay_the_text_that_was_written() -> None:
    found = entries("a: no\nb: 1:30\nc:\n  d: 1_000  # why\n  e: [x, 'y z']\n", "a.yaml")
    assert found == [
        Entry("a", 1, "no"),
        Entry("b", 2, "1:30"),
        Entry("c.d", 4, "1_000"),
        Entry("c.e", 5, ("x", "y z")),
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a: 1\na: 2\n", "a.yaml, line 2: gives 'a' again (first on line 1); keep one of them."),
        ("f:\n  b: 1\n  b: 2\n", "a.yaml, line 3: gives 'f.b' again (first on line 2)"),
        ("f:\n\tb: 1\n", "a.yaml, line 2: has a tab; use spaces."),
        ("a: 1\nb: [1, 2\n", "is not YAML"),
        ("a: &x 1\nb: *x\n", "uses '&x'; write the value out instead."),
        ("a: 1\nb: !!python/object:os.system x\n", "a.yaml, line 2: uses the tag"),
        ("a: 1\n---\nb: 2\n", "starts a second document"),
        ("[" * 9, "a.yaml, line 1: is nested deeper than 4 levels"),
        ("a: [[1]]\n", "'a' must be a plain list"),
        ("? [a]\n: 1\n", "has a key that is no word"),
        ("- a\n- b\n", "a.yaml: is no card"),
        ("", "a.yaml: is no card"),
        ("a: \x00\n", "holds characters that are no text"),
    ],
)
def test_what_a_card_does_not_need_is_refused(text: str, says: str) -> None:
    assert any(says in sentence for sentence in sentences(text)), sentences(text)


def test_a_tab_in_a_remark_harms_nobody() -> None:
    assert entries("a: 1 #\tone\n", "a.yaml") == [Entry("a", 1, "1")]


@pytest.mark.slow
def test_deep_nesting_costs_no_time_and_no_stack() -> None:
    assert "nested deeper" in sentences("[" * 200_000)[0]


def test_too_large_a_card_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"#" * (SIZE_MAX + 1))
    with pytest.raises(CardError, match="larger than 256 KB"):
        read_card(path)
    assert "larger than 256 KB" in sentences("#" * (SIZE_MAX + 1))[0]
    assert "larger than 256 KB" in sentences("é" * (SIZE_MAX // 2 + 1))[0]


def test_a_file_that_cannot_be_read_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(CardError, match=r"missing.yaml: cannot be read .*check the path"):
        read_card(tmp_path / "missing.yaml")
    (tmp_path / "b.yaml").write_bytes(b"a: 1\nb: \xff\n")
    with pytest.raises(CardError, match="line 2: is not UTF-8"):
        read_card(tmp_path / "b.yaml")


@pytest.mark.slow
@given(st.text(max_size=200))
def test_any_text_gives_entries_or_a_card_error(text: str) -> None:
    found: list[Entry] = []
    told: tuple[str, ...] = ()
    try:
        found = entries(text, "a.yaml")
    except CardError as error:
        told = error.sentences
    assert found or told
    assert all(entry.line >= 1 for entry in found)
