"""Quantities on the command line: `+2.5mm`, `2mm/s`, `8s`, `1.2bar`, `1,1oz`. Quick to load."""

from __future__ import annotations

import re

UNITS: dict[str, dict[str, float]] = {
    "length": {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "um": 1e-6, "in": 0.0254},
    "speed": {"mm/s": 1e-3, "cm/s": 1e-2, "m/s": 1.0, "in/s": 0.0254, "mm/min": 1e-3 / 60},
    "time": {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0},
    "pressure": {"bar": 1e5, "kPa": 1e3, "psi": 6894.757, "Pa": 1.0},
    "mass": {"g": 1e-3, "kg": 1.0, "oz": 28.349523125e-3, "lb": 0.45359237},
    "turns": {"turns": 1.0, "turn": 1.0, "t": 1.0},
}
"""Kind of quantity, and its units with their factor to SI.

Source: NIST Special Publication 811 (2008), appendix B.8.
"""

EXAMPLES: dict[str, str] = {
    "length": "2.5mm",
    "speed": "2mm/s",
    "time": "8s",
    "pressure": "1.2bar",
    "mass": "31.8g",
    "turns": "2turns",
    "temperature": "18C",
}


def _name(kind: str) -> str:
    return "number of turns" if kind == "turns" else kind


_FORM = re.compile(r"([-+]?(?:\d{1,9}(?:[.,]\d{0,9})?|[.,]\d{1,9}))\s*([A-Za-z%/]*)", re.ASCII)


class QuantityError(ValueError):
    """The text is no such quantity; the message is one sentence."""


def parse(text: str, kind: str, default_unit: str = "") -> float:
    """Return a quantity in SI.

    Parameters: text: number with unit, a decimal point or comma; kind: a key of UNITS;
    default_unit: the unit of a bare number, or empty where a unit must be written.
    Raises: QuantityError with one sentence that says what would be right.
    Example: parse("1,1oz", "mass") is 0.0311845 (kg).
    """
    value, unit = split(text, kind)
    table = UNITS[kind]
    if not unit and default_unit:
        unit = default_unit
    factor = table.get(unit)
    if factor is None:
        factor = {known.lower(): scale for known, scale in table.items()}.get(unit.lower())
    if not unit:
        raise QuantityError(f"'{text}' has no unit; write it as {EXAMPLES[kind]}.")
    if factor is None:
        known = ", ".join(table)
        raise QuantityError(
            f"'{text}' has the unit '{unit}'; a {_name(kind)} is written in {known}."
        )
    return value * factor


def temperature_c(text: str) -> float:
    """Return a temperature in degrees Celsius; a bare number is one, "64F" is converted.

    Raises: QuantityError.
    """
    value, unit = split(text, "temperature")
    if unit.upper() not in ("", "C", "F"):
        raise QuantityError(f"'{text}' has the unit '{unit}'; a temperature is written in C or F.")
    return (value - 32) / 1.8 if unit.upper() == "F" else value


def split(text: str, kind: str) -> tuple[float, str]:
    """Return number and unit of a quantity.

    Raises: QuantityError when there is no number, or when its comma can be read in two ways.
    """
    found = _FORM.fullmatch(text.strip())
    if found is None:
        raise QuantityError(f"'{text}' is no {_name(kind)}; write it as {EXAMPLES[kind]}.")
    number = found[1]
    if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", number):
        raise QuantityError(f"'{text}' can be read in two ways; write a decimal point.")
    return float(number.replace(",", ".")), found[2]
