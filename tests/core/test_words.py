"""Sentences for what the board refuses or trips on."""

from __future__ import annotations

import msgspec
import pytest

from benchd.core import words
from protocols.codes import CAUSES, INTERLOCKS, REFUSALS
from tests.core.script import bench

FACTS = bench()


@pytest.mark.parametrize("row", INTERLOCKS, ids=lambda row: row.code)
def test_every_interlock_of_the_board_has_a_sentence_of_its_own(row: object) -> None:
    number = row.number  # type: ignore[attr-defined]
    text = words.trip_text(FACTS, number, 1100, 1050)
    assert text[0].isupper()
    assert text.endswith((".", "?"))
    if row.place != "daemon":  # type: ignore[attr-defined]
        assert number in words.TRIP_WORDS


@pytest.mark.parametrize(
    "number", [r.number for r in INTERLOCKS if r.kind == "T" and r.place != "daemon"]
)
def test_a_latch_of_which_no_value_is_known_is_told_without_one(number: int) -> None:
    text = words.latch_text(FACTS, number)
    assert text.endswith((".", "?"))
    assert not any(character.isdigit() for character in text)


@pytest.mark.parametrize(
    ("number", "value", "bound", "part"),
    [
        (3, 40, 160, "at rest for 40 ms of 160 ms"),
        (6, 1100, 1050, "in 1.1 s"),
        (9, 12_000, 12_000, "15.0 mm of feed"),
        (11, 3100, 3000, "310 N is over 300 N"),
        (12, 900, 3000, "from 300 to 90 N"),
        (14, 152_000, 152_000, "at 190.0 mm"),
        (16, 1400, 1800, "1.4 bar, the card asks for at least 1.8 bar"),
        (16, 4200, 4000, "4.2 bar, the card asks for at most 4.0 bar"),
        (11, 65_535, 3000, "does not answer: treat the barrel as loaded"),
        (16, 65_535, 4000, "does not answer: treat the air as live"),
        (20, CAUSES.index("lowvolt"), 7, "cause: lowvolt"),
        (20, 99, 7, "cause: unknown"),
        (24, 2500, 2000, "for 2.5 s, allowed are 2.0 s"),
        (29, 4300, 4500, "4.30 V, needed are 4.50 V"),
    ],
)
def test_values_are_given_in_units_that_a_person_reads(
    number: int, value: int, bound: int, part: str
) -> None:
    assert part in words.trip_text(FACTS, number, value, bound)


def test_an_interlock_of_a_later_version_still_has_a_sentence() -> None:
    assert words.trip_text(FACTS, 77, 0, 0) == "Interlock 77."


@pytest.mark.parametrize("row", REFUSALS, ids=lambda row: row.word)
def test_every_refusal_is_a_sentence_with_its_word_and_values(row: object) -> None:
    no = words.refusal(FACTS, row.code, 400, 300)  # type: ignore[attr-defined]
    assert no.message.endswith(".")
    assert (no.condition, no.value, no.bound) == (row.word, 400, 300)  # type: ignore[attr-defined]


def test_a_refusal_by_an_interlock_carries_its_code() -> None:
    no = words.refusal(FACTS, 4, 10, 50)
    assert (no.condition, no.message) == ("IL-04", "Not fed: the cutter is not home.")


def test_a_latched_refusal_names_the_latch_and_the_way_out() -> None:
    no = words.refusal(FACTS, 52, 9, 0)
    assert no.message == (
        "IL-09 is latched (dough gone): clear it first with 'benchd clear IL-09'."
    )


def test_a_busy_refusal_says_with_what() -> None:
    assert "(portion)" in words.refusal(FACTS, 43, 3, 0).message
    assert words.refusal(FACTS, 43, 99, 0).message.startswith("The bench is busy")


def test_a_reason_of_a_later_version_is_passed_on_as_a_number() -> None:
    no = words.refusal(FACTS, 88, 1, 2)
    assert "(88)" in no.message
    assert no.condition == "88"


@pytest.mark.parametrize("row", INTERLOCKS, ids=lambda row: row.code)
def test_for_everything_that_may_be_up_there_is_something_to_do(row: object) -> None:
    for latched in (True, False):
        number, reset = row.number, row.reset  # type: ignore[attr-defined]
        text = words.do_what(number, reset, latched=latched)
        assert text.endswith(".")
        if latched and number not in (13, 17, 27):
            assert f"benchd clear IL-{number:02d}" in text


def test_whatever_latches_says_what_it_means() -> None:
    for row in INTERLOCKS:
        if row.kind == "T" and row.reset != "auto":
            assert row.number in words.SO_WHAT


@pytest.mark.parametrize("number", [5, 6, 7, 8])
def test_nobody_is_sent_to_the_blade_before_the_air_is_off(number: int) -> None:
    row = next(row for row in INTERLOCKS if row.number == number)
    text = words.do_what(number, row.reset, latched=True)
    assert text.index("air shut and vented") < text.index("look for the cause")


@pytest.mark.parametrize("row", INTERLOCKS, ids=lambda row: row.code)
def test_what_is_said_of_an_interlock_says_nothing_twice(row: object) -> None:
    number, reset = row.number, row.reset  # type: ignore[attr-defined]
    parts = (
        words.trip_text(FACTS, number, 1100, 1050),
        words.SO_WHAT.get(number, ""),
        words.do_what(number, reset, latched=True),
    )
    sentences = [one.strip() for part in parts for one in part.split(". ") if one.strip()]
    assert len(set(sentences)) == len(sentences)
    assert " ".join(parts).count("benchd clear") <= 1


def test_a_way_without_dough_is_told_as_the_card_speaks_of_it() -> None:
    facts = bench("eye")
    # 5 mm of feed are 21.7 mm of strand through 24 mm from a bore of 50 mm, by hand.
    gap, first = facts.limits["gap"], facts.limits["first_flow"]
    assert "No dough for 21.7 mm of strand:" in words.trip_text(facts, 9, gap, gap)
    assert "No dough for 25.0 mm of feed:" in words.trip_text(facts, 9, first, first)


def test_a_cutter_that_rests_far_is_told_the_way_home() -> None:
    far = msgspec.structs.replace(FACTS, limits=FACTS.limits | {"valve_home": 1})
    assert words.refusal(FACTS, 4, 10, 50).message.endswith("Not fed: the cutter is not home.")
    assert "'benchd cut' brings it home" in words.refusal(far, 4, 0, 350).message
