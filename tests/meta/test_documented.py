"""Everything with a name stands in its reference page: a code that nobody can look up does not
exist."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from benchd.core import ledger, words
from benchd.core.proofs import PROOFS
from protocols.codes import INTERLOCKS, PINS, REFUSALS
from protocols.limits import LIMITS
from protocols.messages import MESSAGES

ROOT = Path(__file__).parents[2]
SPEC = (ROOT / "protocols" / "SPEC.md").read_text("utf-8")
JOURNAL = (ROOT / "benchd" / "guide" / "journal.md").read_text("utf-8")


@pytest.mark.parametrize("tag", MESSAGES)
def test_every_message_stands_in_the_specification(tag: str) -> None:
    assert re.search(rf"^\| `{tag}` \|", SPEC, re.MULTILINE)


@pytest.mark.parametrize("code", [interlock.code for interlock in INTERLOCKS])
def test_every_interlock_stands_in_the_specification(code: str) -> None:
    assert re.search(rf"^\| {code} \|", SPEC, re.MULTILINE)


def test_every_limit_pin_and_refusal_stands_in_the_specification() -> None:
    for name in [limit.name for limit in LIMITS] + list(PINS) + [row.word for row in REFUSALS]:
        assert re.search(rf"^\|.*\| {name} \|", SPEC, re.MULTILINE), name


@pytest.mark.parametrize("view", [name for name, _, _ in ledger.views()])
def test_every_view_of_the_journal_stands_in_its_page(view: str) -> None:
    assert f"`{view}`" in JOURNAL


def test_every_interlock_that_can_latch_says_what_it_means_and_what_to_do() -> None:
    for interlock in INTERLOCKS:
        if interlock.reset in ("ack", "prove"):
            assert words.SO_WHAT[interlock.number].endswith(".")
            assert interlock.code in words.do_what(
                interlock.number, interlock.reset, latched=True
            ) or interlock.number in (13, 17)
        if interlock.reset == "prove":
            assert len(PROOFS[interlock.number]) == 3


def test_every_interlock_of_the_board_has_its_sentence() -> None:
    for interlock in INTERLOCKS:
        if interlock.place in ("board", "both"):
            assert interlock.number in words.TRIP_WORDS


def _said(path: Path) -> list[str]:
    """The texts of a module that may reach a person: its strings, without the docstrings."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]


@pytest.mark.slow
def test_no_text_for_people_gives_an_all_clear() -> None:
    texts = [(ROOT / "README.md").read_text("utf-8")]
    texts += [page.read_text("utf-8") for page in (ROOT / "benchd" / "guide").glob("*.md")]
    for room in ("benchd", "tui", "sim"):
        for path in (ROOT / room).rglob("*.py"):
            texts += _said(path)
    all_clear = re.compile(
        r"\b((?<![Nn]ot )safe to (open|touch|reach)|hands? may go|may reach in)\b"
    )
    for text in texts:
        assert not all_clear.search(" ".join(text.split())), text
    assert all_clear.search("It is safe to reach in.")
