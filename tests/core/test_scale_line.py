"""Lines of a scale into weights: what is read, what is dropped, and one weight for each piece."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchd.core.scale_line import LINE_MAX, Lines, Pan, Reading, Weight, read_line

WITH_WORD = re.compile(r"(?:(?P<settled>ST)|US),\w+, *(?P<mass>[-+]? *[0-9.]+) *(?P<unit>g|kg|oz)")
BARE = re.compile(r"(?P<mass>[-+]?[0-9.,]+)")
SECOND_NS = 1_000_000_000


@pytest.mark.parametrize(
    ("line", "mass_kg", "settled"),
    [
        ("ST,GS,+  31.8 g", 0.0318, True),
        ("US,GS,+  31.8 g", 0.0318, False),
        ("ST,GS, 0.0318kg", 0.0318, True),
        ("ST,NT,-   0.4 g", -0.0004, True),
        # An avoirdupois ounce is 28.34952 g (NIST SP 811).
        ("ST,GS,+ 1.000oz", 0.02834952, True),
    ],
)
def test_what_a_line_says(line: str, mass_kg: float, settled: bool) -> None:
    reading = read_line(line, WITH_WORD, "g")
    assert reading is not None
    assert reading.mass_kg == pytest.approx(mass_kg, abs=1e-9)
    assert reading.settled is settled


def test_a_line_without_words_has_the_cards_unit_and_says_nothing_of_settling() -> None:
    reading = read_line("  31,8", BARE, "g")
    assert reading is not None
    assert reading.mass_kg == pytest.approx(0.0318)
    assert (reading.settled, reading.text) == (None, "31,8")
    ounces = read_line("2", BARE, "oz")
    assert ounces is not None
    assert ounces.mass_kg == pytest.approx(2 * 0.02834952)


@pytest.mark.parametrize(
    "line", ["", "ERR", "ST,GS,+ . g", "ST,GS,+ 1.2.3 g", "OL", "ST,GS,31.8 t"]
)
def test_what_is_no_reading(line: str) -> None:
    assert read_line(line, WITH_WORD, "g") is None


@pytest.mark.parametrize("digits", ["nan", "1_0", "\u0663"])
def test_what_only_python_takes_for_a_number_is_none(digits: str) -> None:
    assert read_line(digits, re.compile("(?P<mass>.+)"), "g") is None


@settings(max_examples=50)
@given(st.text(max_size=40))
def test_no_line_is_an_error(line: str) -> None:
    for pattern in (WITH_WORD, BARE, re.compile("(?P<mass>.*)")):
        reading = read_line(line, pattern, "g")
        assert reading is None or reading.mass_kg - reading.mass_kg == 0


@settings(max_examples=50)
@given(st.lists(st.binary(max_size=30), max_size=20))
def test_lines_are_the_same_however_the_bytes_come(parts: list[bytes]) -> None:
    whole = Lines().take(b"".join(parts))
    split = Lines()
    assert [line for part in parts for line in split.take(part)] == whole


def test_a_line_without_end_fills_no_memory_and_is_none() -> None:
    lines = Lines()
    for _ in range(100):
        assert lines.take(b"1" * LINE_MAX) == []
    assert lines.take(b"\r\n31.8\r\n") == ["31.8"]


def taken(pan: Pan, readings: list[tuple[float, bool | None]], every_ns: int) -> list[float]:
    found = []
    for at, (grams, settled) in enumerate(readings):
        weight = pan.take(Reading(grams / 1e3, settled, f"{grams}"), at * every_ns)
        if weight is not None:
            found.append(weight.mass_kg * 1e3)
    return found


def pan(*, once: bool = False) -> Pan:
    return Pan(once=once, least_kg=0.002, step_kg=1e-4)


def test_only_what_has_settled_and_each_piece_once() -> None:
    shown: list[tuple[float, bool | None]] = [
        (0.0, True), (12.0, False), (31.8, False), (31.8, True), (31.8, True), (31.9, True),
        (14.0, False), (0.1, True), (30.2, True), (0.0, True),
    ]  # fmt: skip
    assert taken(pan(), shown, SECOND_NS // 10) == pytest.approx([31.8, 30.2])


def test_without_a_word_it_has_settled_when_it_lasts() -> None:
    rising: list[tuple[float, bool | None]] = [(grams, None) for grams in (5, 14, 25, 31, 31.7)]
    still: list[tuple[float, bool | None]] = [(31.8, None)] * 20
    shown = [*rising, *still, (0.0, None), *still]
    assert taken(pan(), shown, SECOND_NS // 5) == pytest.approx([31.7, 31.8], abs=0.11)
    # Too short a time, or too few lines, is not enough.
    assert taken(pan(), still[:4], SECOND_NS // 5) == []
    assert taken(pan(), still[:2], SECOND_NS) == []


def test_a_scale_that_sends_once_gives_a_weight_a_line() -> None:
    assert taken(pan(once=True), [(31.8, None), (31.8, None), (1.0, None)], 1) == pytest.approx(
        [31.8, 31.8]
    )
    assert taken(pan(once=True), [(31.8, False)], 1) == []


def test_what_lay_there_while_the_line_was_away_is_not_taken_again() -> None:
    one = pan()
    assert one.take(Reading(0.0318, True, "a"), 0) == Weight(0.0318, "a")
    one.forget()
    assert one.take(Reading(0.0318, True, "b"), SECOND_NS) is None
    one.take(Reading(0.0, True, "c"), 2 * SECOND_NS)
    assert one.take(Reading(0.030, True, "d"), 3 * SECOND_NS) == Weight(0.030, "d")
