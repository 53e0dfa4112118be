"""What a person must type before an interlock that asks for proof is let go."""

from __future__ import annotations

import msgspec
import pytest

from benchd.core.proofs import PROOFS, check_words, statements_of
from protocols.codes import INTERLOCKS
from tests.core.script import bench

FACTS = bench()
RIGHT = {number: tuple(word for _, word in rows) for number, rows in PROOFS.items()}


def test_exactly_the_interlocks_that_are_proven_ask_for_words() -> None:
    assert set(PROOFS) == {row.number for row in INTERLOCKS if row.reset == "prove"}


@pytest.mark.parametrize("number", sorted(PROOFS))
def test_three_right_words_and_a_name_prove_it(number: int) -> None:
    assert check_words(PROOFS[number], "the fitter", RIGHT[number]) is None
    assert check_words(PROOFS[number], "x", [f" {word.upper()} " for word in RIGHT[number]]) is None


@pytest.mark.parametrize("number", sorted(PROOFS))
@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_wrong_word_proves_nothing_and_is_named(number: int, place: int) -> None:
    words = list(RIGHT[number])
    words[place] = "yes"
    no = check_words(PROOFS[number], "the fitter", words)
    assert no is not None
    assert PROOFS[number][place][0] in no.message
    assert "nothing was cleared" in no.message


@pytest.mark.parametrize("words", [(), ("looked",), ("looked", "clear", "home", "home")])
def test_fewer_or_more_than_three_words_prove_nothing(words: tuple[str, ...]) -> None:
    no = check_words(PROOFS[20], "the fitter", words)
    assert no is not None
    assert "Three confirmations" in no.message


@pytest.mark.parametrize("name", ["", "  "])
def test_a_proof_has_a_name(name: str) -> None:
    no = check_words(PROOFS[20], name, RIGHT[20])
    assert no is not None
    assert "who looked" in no.message


def test_no_two_statements_of_a_proof_ask_for_the_same_word() -> None:
    for words in RIGHT.values():
        assert len(set(words)) == 3


def test_where_the_cutter_rests_far_nobody_is_asked_to_see_it_at_home() -> None:
    far = msgspec.structs.replace(FACTS, limits=FACTS.limits | {"valve_home": 1})
    for number, statements in PROOFS.items():
        assert statements_of(number, FACTS) == statements
        asked = statements_of(number, far)
        assert len({word for _, word in asked}) == 3
        assert not any("seen at home" in text for text, _ in asked)
    assert [word for _, word in statements_of(7, far)] == ["mended", "clear", "checked"]
    assert [word for _, word in statements_of(8, far)] == ["still", "clear", "wired"]
    assert [word for _, word in statements_of(20, far)] == ["looked", "clear", "far"]
