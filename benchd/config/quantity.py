"""Quantities with units, as people write them on a card: "50 mm", "1/4 in", "22 psi", "1.8 deg"."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import NamedTuple

Dimensions = tuple[int, int, int, int, int]
"""Exponents of metre, kilogram, second, volt and radian."""

LENGTH: Dimensions = (1, 0, 0, 0, 0)
MASS: Dimensions = (0, 1, 0, 0, 0)
TIME: Dimensions = (0, 0, 1, 0, 0)
VOLTAGE: Dimensions = (0, 0, 0, 1, 0)
ANGLE: Dimensions = (0, 0, 0, 0, 1)
FORCE: Dimensions = (1, 1, -2, 0, 0)
PRESSURE: Dimensions = (-1, 1, -2, 0, 0)
TORQUE: Dimensions = (2, 1, -2, 0, 0)
POWER: Dimensions = (2, 1, -3, 0, 0)
CURRENT: Dimensions = (2, 1, -3, -1, 0)

KINDS: dict[Dimensions, str] = {
    LENGTH: "a length",
    MASS: "a mass",
    TIME: "a time",
    VOLTAGE: "a voltage",
    ANGLE: "an angle",
    FORCE: "a force",
    PRESSURE: "a pressure",
    TORQUE: "a torque",
    POWER: "a power",
    CURRENT: "a current",
    (2, 0, 0, 0, 0): "an area",
    (3, 0, 0, 0, 0): "a volume",
    (1, 0, -1, 0, 0): "a speed",
    (1, 0, -2, 0, 0): "an acceleration",
    (-3, 1, 0, 0, 0): "a density",
    (3, 0, -1, 0, 0): "a flow",
    (4, -1, 1, 0, 0): "a conductance",
    (0, 1, -2, 0, 0): "a force per width",
}

POUND_KG = 0.45359237
INCH_M = 0.0254
GRAVITY = 9.80665
POUND_FORCE_N = POUND_KG * GRAVITY

ATOMS: dict[str, tuple[float, Dimensions]] = {
    **{name: (si, LENGTH) for name, si in {
        "m": 1.0, "dm": 0.1, "cm": 1e-2, "mm": 1e-3, "um": 1e-6, "in": INCH_M, "inch": INCH_M,
        "inches": INCH_M, '"': INCH_M, "thou": INCH_M / 1000, "ft": 12 * INCH_M}.items()},
    **{name: (si, MASS) for name, si in {
        "kg": 1.0, "g": 1e-3, "mg": 1e-6, "lb": POUND_KG, "lbs": POUND_KG,
        "oz": POUND_KG / 16}.items()},
    **{name: (si, TIME) for name, si in {
        "s": 1.0, "sec": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0, "hour": 3600.0,
        "hours": 3600.0, "day": 86_400.0, "days": 86_400.0, "d": 86_400.0}.items()},
    **{name: (si, FORCE) for name, si in {
        "N": 1.0, "kN": 1e3, "mN": 1e-3, "lbf": POUND_FORCE_N, "ozf": POUND_FORCE_N / 16,
        "kgf": GRAVITY, "gf": GRAVITY / 1000}.items()},
    **{name: (si, PRESSURE) for name, si in {
        "Pa": 1.0, "hPa": 100.0, "kPa": 1e3, "MPa": 1e6, "bar": 1e5, "mbar": 100.0,
        "psi": POUND_FORCE_N / INCH_M**2, "atm": 101_325.0}.items()},
    **{name: (si, ANGLE) for name, si in {
        "rad": 1.0, "deg": math.pi / 180, "degree": math.pi / 180, "degrees": math.pi / 180,
        "°": math.pi / 180, "turn": 2 * math.pi}.items()},
    **{name: (si, VOLTAGE) for name, si in {"V": 1.0, "mV": 1e-3}.items()},
    **{name: (si, (3, 0, 0, 0, 0)) for name, si in {
        "l": 1e-3, "L": 1e-3, "ml": 1e-6, "mL": 1e-6, "cc": 1e-6}.items()},
    "Nm": (1.0, TORQUE),
    "Ncm": (1e-2, TORQUE),
    "W": (1.0, POWER),
    "A": (1.0, CURRENT),
    "mA": (1e-3, CURRENT),
}  # fmt: skip
"""Every unit with its factor to SI; a card may join them, as in mm/s2 or kg/m^3.

Source: NIST Special Publication 811 (2008), appendix B.8, where inch, pound and standard gravity
are exact.
"""


class Unit(NamedTuple):
    """A unit that cards are written in: its factor to SI, and what it measures."""

    si: float
    measures: str


_FRACTION = r"(?:(?P<whole>\d{1,4})\s+)?(?P<top>\d{1,4})/(?P<bottom>\d{1,4})"
_DECIMAL = r"(?P<decimal>[-+]?(?:\d{1,12}(?:[.,]\d{0,12})?|[.,]\d{1,12})(?:[eE][-+]?\d{1,2})?)"
_QUANTITY = re.compile(rf"(?:{_FRACTION}|{_DECIMAL})\s*(?P<unit>[^\d\s].*)?", re.ASCII)
_FACTOR = re.compile(r"([A-Za-z\"°]{1,12})(?:\^?([23]))?")
_SIGNS = str.maketrans({"²": "2", "³": "3", "·": "*", "µ": "u", "μ": "u"})
UNIT_LENGTH_MAX = 40
FACTORS_MAX = 4


class QuantityError(ValueError):
    """No such quantity; the message is the rest of a sentence that begins with the text."""


def number(text: str) -> float:
    """Return a pure number written with a decimal point or comma, or as a fraction.

    Raises: QuantityError when it is none, or carries a unit.
    """
    value, unit = _split(text)
    if unit:
        raise QuantityError("must be a bare number, without a unit.")
    return value


def share(text: str) -> float:
    """Return a share written as "8 %" or 0.08.

    Raises: QuantityError when it is neither.
    """
    value, unit = _split(text)
    if unit not in ("", "%"):
        raise QuantityError("must be a share such as '8 %' or 0.08.")
    return value / 100 if unit else value


def quantity(text: str, unit: str, meant: Callable[[float], str] | None = None) -> float:
    """Return a quantity in `unit`, one of UNITS, written in any unit of the same kind.

    `meant` says which unit is likeliest for a number that was written without one.

    Raises: QuantityError when the number, the unit or its kind is wrong.
    Example: quantity("1/4 in", "mm") is 6.35.
    """
    value, written = _split(text)
    wanted_si, wanted = _dissect(unit) or (1.0, LENGTH)
    measures = KINDS[wanted]
    if not written:
        likeliest = unit if meant is None else meant(value)
        raise QuantityError(f"has no unit; write {measures} such as '{_plain(value)} {likeliest}'.")
    found = _dissect(written)
    if found is None:
        import difflib  # Only a mistake pays for loading it.

        near = difflib.get_close_matches(written[:UNIT_LENGTH_MAX], _names_of(wanted), 1, 0.6)
        hint = f"; the nearest is '{near[0]}'" if near else f"; write {measures} in {unit}"
        raise QuantityError(f"has the unknown unit '{written[:UNIT_LENGTH_MAX]}'{hint}.")
    si, dimensions = found
    if dimensions != wanted:
        what = f"{KINDS[dimensions]}, not {measures}" if dimensions in KINDS else f"not {measures}"
        raise QuantityError(f"is {what}; write it in {unit}.")
    return value * (si / wanted_si)


def times(unit: str, other: str) -> float:
    """Return how many of `unit` one of `other` is, two units of a kind.

    Example: times("mm", "in") is 25.4.
    """
    return _unit(other).si / _unit(unit).si


def _names_of(dimensions: Dimensions) -> list[str]:
    """The units of a kind, those of the tables of keys first."""
    names = [name for name in UNITS if (_dissect(name) or (0, None))[1] == dimensions]
    return names + [name for name, (_, own) in ATOMS.items() if own == dimensions]


def _dissect(unit: str) -> tuple[float, Dimensions] | None:
    """Factor to SI and dimensions of a unit such as "mm", "mm/s2" or "kg/m^3"; None if unknown."""
    if len(unit) > UNIT_LENGTH_MAX:
        return None
    plain = unit.translate(_SIGNS).replace("**", "^")
    parts = re.split(r"\s*([*/])\s*", plain)
    if len(parts) > 2 * FACTORS_MAX:
        return None
    si, total = 1.0, [0, 0, 0, 0, 0]
    for place in range(0, len(parts), 2):
        found = _FACTOR.fullmatch(parts[place])
        atom = ATOMS.get(found[1]) if found is not None else None
        if found is None or atom is None:
            return None
        power = int(found[2] or 1) * (-1 if place and parts[place - 1] == "/" else 1)
        si *= atom[0] ** power
        total = [sum_ + power * own for sum_, own in zip(total, atom[1], strict=True)]
    return si, (total[0], total[1], total[2], total[3], total[4])


def _split(text: str) -> tuple[float, str]:
    found = _QUANTITY.fullmatch(text.strip())
    if found is None:
        raise QuantityError("is not a number with a unit.")
    decimal = found["decimal"]
    if decimal is not None:
        if re.fullmatch(r"[-+]?\d{1,3},\d{3}", decimal):
            raise QuantityError("can be read in two ways; write a decimal point, and no comma.")
        value = float(decimal.replace(",", "."))
    elif int(found["bottom"]) == 0:
        raise QuantityError("divides by nothing.")
    else:
        value = int(found["whole"] or 0) + int(found["top"]) / int(found["bottom"])
    return value, (found["unit"] or "").strip()


def _plain(value: float) -> str:
    return f"{value:.6g}"


def _unit(name: str) -> Unit:
    found = _dissect(name)
    assert found is not None  # A name of our own.
    return Unit(found[0], KINDS[found[1]])


UNITS: dict[str, Unit] = {}
"""Units that the tables of keys are written in; a card may use any other unit of the same kind."""
UNITS.update(
    (name, _unit(name))
    for name in (
        *("mm", "mm/s", "mm/s2", "ms", "s", "min", "days", "bar", "N", "V", "g", "g/cm3", "deg"),
        *("Pa", "kPa", "Nm", "W", "A", "l", "l/min", "l/s/bar", "cm3", "m/s", "N/mm"),
    )
)
