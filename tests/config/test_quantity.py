"""Quantities with units, against conversion factors defined elsewhere."""

from __future__ import annotations

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.config.quantity import ATOMS, UNITS, QuantityError, number, quantity, share

# The inch is 25.4 mm and the pound-force 4.4482216152605 N exactly, psi 6894.757 Pa, the ounce
# 28.349523125 g: NIST Special Publication 811 (2008), appendix B.8.
CONVERSIONS = [
    ("50 mm", "mm", 50.0),
    ("5 cm", "mm", 50.0),
    ("1/4 in", "mm", 6.35),
    ("1 1/4 in", "mm", 31.75),
    ('2"', "mm", 50.8),
    ("0,5 in", "mm", 12.7),
    ("2 bar", "bar", 2.0),
    ("30 psi", "bar", 30 * 6894.757 / 1e5),
    ("200 kPa", "bar", 2.0),
    ("300 ms", "ms", 300.0),
    ("0.3 s", "ms", 300.0),
    ("4 mm/s", "mm/s", 4.0),
    ("0.24 m/min", "mm/s", 4.0),
    ("50 mm/s2", "mm/s2", 50.0),
    ("50 mm/s^2", "mm/s2", 50.0),
    ("50 mm/s²", "mm/s2", 50.0),
    ("0.05 m/s**2", "mm/s2", 50.0),
    ("100 lbf", "N", 444.82216152605),
    ("1 oz", "g", 28.349523125),
    ("1.15 g/cm3", "g/cm3", 1.15),
    ("1150 kg/m^3", "g/cm3", 1.15),
    ("4500 mV", "V", 4.5),
    ("10 min", "min", 10.0),
    ("30 days", "days", 30.0),
    ("1.8 deg", "deg", 1.8),
    ("0.5 turn", "deg", 180.0),
    ("22 psi", "bar", 22 * 6894.757 / 1e5),
    ("2 kgf", "N", 19.6133),
    ("60 in/min", "mm/s", 25.4),
    ("0.4 N*m", "Nm", 0.4),
    ("40 Ncm", "Nm", 0.4),
    ("57 ozf*in", "Nm", 57 * 0.2780138509537812 * 0.0254),
    ("0.2 dm3/s/bar", "l/s/bar", 0.2),
    ("25 l/min", "l/min", 25.0),
    ("500 mA", "A", 0.5),
]


@pytest.mark.parametrize(("text", "unit", "value"), CONVERSIONS)
def test_conversions(text: str, unit: str, value: float) -> None:
    assert quantity(text, unit) == pytest.approx(value, rel=1e-6)


def test_every_unit_of_the_tables_reads_itself() -> None:
    for unit in UNITS:
        assert quantity(f"1.5 {unit}", unit) == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("50", "mm", "has no unit; write a length such as '50 mm'."),
        ("50 bar", "mm", "is a pressure, not a length; write it in mm."),
        ("5 V*s", "mm", "is not a length; write it in mm."),
        ("50 MM", "mm", "has the unknown unit 'MM'; write a length in mm."),
        ("50 bra", "bar", "has the unknown unit 'bra'; the nearest is 'bar'."),
        ("50 mm/s/s/s/s/s", "mm", "has the unknown unit"),
        ("50 furlong-ish", "mm", "has the unknown unit 'furlong-ish'"),
        ("50 mmm", "mm", "has the unknown unit 'mmm'; the nearest is 'mm'."),
        ("wide", "mm", "is not a number with a unit."),
        ("1,000 mm", "mm", "can be read in two ways"),
        ("1/0 in", "mm", "divides by nothing."),
        ("nan mm", "mm", "is not a number with a unit."),
        ("1e999 mm", "mm", "has the unknown unit"),
        ("9**9**9 mm", "mm", "has the unknown unit"),
        ("5 __import__('os')", "mm", "has the unknown unit"),
        ("", "mm", "is not a number with a unit."),
    ],
)
def test_what_is_no_quantity_says_why(text: str, unit: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        quantity(text, unit)
    assert says in str(caught.value)


def test_pure_numbers_and_shares() -> None:
    assert number("1/4") == 0.25
    assert number("3,5") == 3.5
    assert share("8 %") == pytest.approx(0.08)
    assert share("0.08") == pytest.approx(0.08)
    with pytest.raises(QuantityError, match="bare number"):
        number("3 mm")
    with pytest.raises(QuantityError, match="share"):
        share("8 g")


# The same table by another hand: the library of units that knows them all.
SPELLED_OTHERWISE = {
    '"': "inch",
    "cc": "milliliter",
    "sec": "second",
    "Nm": "newton * meter",
    "Ncm": "newton * centimeter",
}


@pytest.mark.slow
def test_every_unit_is_worth_what_the_library_says() -> None:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    for name, (si, _) in ATOMS.items():
        theirs = registry.Quantity(1.0, SPELLED_OTHERWISE.get(name, name)).to_base_units()
        assert si == pytest.approx(float(theirs.magnitude), rel=1e-9), name


@pytest.mark.slow
@given(st.text(max_size=30), st.sampled_from(sorted(UNITS)))
def test_any_text_gives_a_number_or_a_quantity_error(text: str, unit: str) -> None:
    try:
        outcome: object = quantity(text, unit)
    except QuantityError as error:
        outcome = str(error)
    assert isinstance(outcome, float) or str(outcome).endswith(".")
