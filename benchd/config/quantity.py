"""Quantities with units, as people write them on a card: "50 mm", "1/4 in", "2 bar", "300 ms"."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import pint


class Unit(NamedTuple):
    """A unit that cards are written in: its factor to SI, and what it measures."""

    si: float
    measures: str


UNITS: dict[str, Unit] = {
    "mm": Unit(1e-3, "a length"),
    "mm/s": Unit(1e-3, "a speed"),
    "mm/s2": Unit(1e-3, "an acceleration"),
    "ms": Unit(1e-3, "a time"),
    "s": Unit(1.0, "a time"),
    "min": Unit(60.0, "a time"),
    "days": Unit(86_400.0, "a time"),
    "bar": Unit(1e5, "a pressure"),
    "N": Unit(1.0, "a force"),
    "V": Unit(1.0, "a voltage"),
    "g": Unit(1e-3, "a mass"),
    "g/cm3": Unit(1e3, "a density"),
}
"""Units that the tables of keys are written in; a card may use any other unit of the same kind."""

_FRACTION = r"(?:(?P<whole>\d{1,4})\s+)?(?P<top>\d{1,4})/(?P<bottom>\d{1,4})"
_DECIMAL = r"(?P<decimal>[-+]?(?:\d{1,12}(?:[.,]\d{0,12})?|[.,]\d{1,12})(?:[eE][-+]?\d{1,2})?)"
_QUANTITY = re.compile(rf"(?:{_FRACTION}|{_DECIMAL})\s*(?P<unit>[^\d\s].*)?", re.ASCII)
_FACTOR = r"[A-Za-zµ°\"']{1,24}(?:\*\*|\^)?[23²³]?"
_UNIT = re.compile(rf"{_FACTOR}(?:\s*[/*·]\s*{_FACTOR}){{0,2}}")
_SIGNS = str.maketrans({"²": "2", "³": "3", "·": "*", "^": "", "µ": "u"})


class QuantityError(ValueError):
    """No such quantity; the message is the rest of a sentence that begins with the text."""


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry()


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


def quantity(text: str, unit: str) -> float:
    """Return a quantity in `unit`, one of UNITS, written in any unit of the same kind.

    Raises: QuantityError when the number, the unit or its kind is wrong.
    Example: quantity("1/4 in", "mm") is 6.35.
    """
    value, written = _split(text)
    measures = UNITS[unit].measures
    if not written:
        raise QuantityError(f"has no unit; write {measures} such as '{_plain(value)} {unit}'.")
    if not _UNIT.fullmatch(written):
        raise QuantityError(f"has the unknown unit '{written}'; write {measures} in {unit}.")
    import pint

    registry = _registry()
    try:
        source = registry.parse_units(_pint_spelling(written))
        target = registry.parse_units(_pint_spelling(unit))
        return float(registry.convert(value, source, target))
    except pint.DimensionalityError:
        raise QuantityError(f"is not {measures}; write it in {unit}.") from None
    except (pint.PintError, ValueError, TypeError, AttributeError, OverflowError):
        raise QuantityError(
            f"has the unknown unit '{written}'; write {measures} in {unit}."
        ) from None


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


def _pint_spelling(unit: str) -> str:
    plain = unit.translate(_SIGNS).replace('"', "in").replace("**", "")
    return re.sub(r"(?<=[A-Za-z])([23])(?![0-9A-Za-z])", r"**\1", plain)


def _plain(value: float) -> str:
    return f"{value:.6g}"
