"""Cards as text: what is refused before any key is looked at, with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchd.config import CardError, read_card
from benchd.config import text as text_module
from benchd.config.errors import TOLD_MAX, Problems
from benchd.config.text import NODES_MAX, SIZE_MAX, Entry, entries

LOADERS = [yaml.SafeLoader, *([yaml.CSafeLoader] if yaml.__with_libyaml__ else [])]


@pytest.fixture(autouse=True, params=LOADERS, ids=lambda loader: loader.__name__)
def loader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both parsers of YAML: which one a machine has must not change what a card means."""
    monkeypatch.setattr(text_module, "LOADER", request.param)


def read(text: str) -> list[Entry]:
    problems = Problems("a.yaml")
    found = entries(text, problems)
    problems.raise_if_any()
    return found


def sentences(text: str) -> tuple[str, ...]:
    with pytest.raises(CardError) as caught:
        read(text)
    return caught.value.sentences


def test_values_stay_the_text_that_was_written() -> None:
    found = read("a: no\nb: 1:30\nc:\n  d: 1_000  # why\n  e: [x, 'y z']\n")
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
        ("{}", "a.yaml: is no card"),
        ("a: \x00\n", "holds characters that are no text"),
    ],
)
def test_what_a_card_does_not_need_is_refused(text: str, says: str) -> None:
    assert any(says in sentence for sentence in sentences(text)), sentences(text)


def test_a_tab_in_a_remark_harms_nobody() -> None:
    assert read("a: 1 #\tone\n") == [Entry("a", 1, "1")]


@pytest.mark.slow
@pytest.mark.parametrize("sign", ["[", "{", "- ", "? ", "[{"])
def test_deep_nesting_costs_no_time_and_no_stack(sign: str) -> None:
    said = sentences(sign * (SIZE_MAX // len(sign)))[0]
    # Some parsers give up by themselves, before the depth is looked at.
    assert "nested deeper" in said or "is not YAML" in said


def test_more_values_than_any_card_has_are_refused() -> None:
    text = "".join(f"k{number}: 1\n" for number in range(NODES_MAX))
    assert f"is past {NODES_MAX} keys and values" in sentences(text)[0]


def test_mistakes_that_leave_the_rest_readable_are_told_together() -> None:
    found = sentences("a: 1\t\na: 2\nb.c: 3\nd: [[1]]\n")
    assert [sentence.split(":")[0] for sentence in found] == [
        f"a.yaml, line {line}" for line in (1, 2, 3, 4)
    ]


def test_no_more_than_a_screenful_is_told() -> None:
    found = sentences("".join("a: 1\n" for _ in range(TOLD_MAX + 8)))
    assert len(found) == TOLD_MAX + 1
    assert found[-1] == "a.yaml: has 7 more mistakes after these."


def test_what_a_card_says_cannot_steer_a_terminal() -> None:
    (sentence,) = sentences('"\\e[2J.x": 1\n')
    assert sentence.isprintable()
    assert len(sentences(f"{'x' * 900}.y: 1\n")[0]) < 500


def test_too_large_a_card_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"#" * (SIZE_MAX + 1))
    with pytest.raises(CardError, match="larger than 64 KB"):
        read_card(path)
    assert "larger than 64 KB" in sentences("#" * (SIZE_MAX + 1))[0]
    assert "larger than 64 KB" in sentences("é" * (SIZE_MAX // 2 + 1))[0]


def test_a_file_that_cannot_be_read_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(CardError, match=r"missing.yaml: cannot be read .*check the path"):
        read_card(tmp_path / "missing.yaml")
    (tmp_path / "b.yaml").write_bytes(b"a: 1\nb: \xff\n")
    with pytest.raises(CardError, match="line 2: is not UTF-8"):
        read_card(tmp_path / "b.yaml")


YAML_SIGNS = st.text(st.sampled_from("ab:-[]{}?&*!|>'\"%@`#,\\ \n\t"), max_size=80)


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=200) | YAML_SIGNS | st.text(st.characters(), max_size=20))
def test_any_text_gives_entries_or_a_card_error(text: str) -> None:
    found: list[Entry] = []
    told: tuple[str, ...] = ()
    try:
        found = read(text)
    except CardError as error:
        told = error.sentences
    assert found or told
    assert all(entry.line >= 1 for entry in found)
