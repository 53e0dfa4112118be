"""Quantities on the command line, against factors defined elsewhere."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.cli.quantity import UNITS, QuantityError, parse, temperature_c

# Inch, pound and ounce by definition, psi to seven digits: NIST SP 811 (2008), appendix B.8.
ROWS = [
    ("+2.5mm", "length", 0.0025),
    ("-5mm", "length", -0.005),
    (" -5 mm", "length", -0.005),
    ("0mm", "length", 0.0),
    ("1in", "length", 0.0254),
    ("2mm/s", "speed", 0.002),
    ("120mm/min", "speed", 0.002),
    ("8s", "time", 8.0),
    ("300ms", "time", 0.3),
    ("1.2bar", "pressure", 120_000.0),
    ("1,2BAR", "pressure", 120_000.0),
    ("30psi", "pressure", 206_842.71),
    ("31.8g", "mass", 0.0318),
    ("1,1oz", "mass", 0.0311844754),
    ("2turns", "turns", 2.0),
    (".5mm", "length", 0.0005),
]


@pytest.mark.parametrize(("text", "kind", "value"), ROWS)
def test_values(text: str, kind: str, value: float) -> None:
    assert parse(text, kind) == pytest.approx(value, rel=1e-8)


def test_a_bare_number_takes_the_default_unit_if_there_is_one() -> None:
    assert parse("31,8", "mass", "g") == pytest.approx(0.0318)
    with pytest.raises(QuantityError, match=r"has no unit; write it as 2.5mm\."):
        parse("5", "length")


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("5bar", "length", "a length is written in mm, cm, m, um, in."),
        ("3bar", "turns", "a number of turns is written in turns, turn, t."),
        ("fast", "speed", "is no speed; write it as 2mm/s."),
        ("1,234g", "mass", "can be read in two ways; write a decimal point."),
        ("", "mass", "is no mass"),
        ("nan", "mass", "is no mass"),
        ("1e3g", "mass", "is no mass"),
    ],
)
def test_what_is_no_quantity_is_one_sentence(text: str, kind: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse(text, kind)
    assert says in str(caught.value)


@pytest.mark.parametrize(("text", "celsius"), [("18", 18), ("18C", 18), ("64.4F", 18), (" -2", -2)])
def test_temperatures(text: str, celsius: float) -> None:
    assert temperature_c(text) == pytest.approx(celsius)
    with pytest.raises(QuantityError):
        temperature_c("18K")


@pytest.mark.slow
@given(st.text(max_size=12), st.sampled_from(sorted(UNITS)))
def test_any_text_gives_a_number_or_one_sentence(text: str, kind: str) -> None:
    try:
        outcome: object = parse(text, kind)
    except QuantityError as error:
        outcome = str(error)
    assert isinstance(outcome, float) or str(outcome).endswith(".")
