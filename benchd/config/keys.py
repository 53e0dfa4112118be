"""Reading a card by its table of keys: what each is, its range, what is said when it is wrong."""

from __future__ import annotations

import contextlib
import math
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from benchd.config.errors import Problems
from benchd.config.quantity import UNITS, QuantityError, number, quantity, share, times
from benchd.config.text import Entry, entries

REQUIRED = "required"
"""Default of a key that every card must give."""

OPTIONAL = ""
"""Default of a key that may be left out and then has no value."""

WORD_MAX = 40
"""So much of a word is compared with what is known: longer ones take time and are none."""

SHOWN_MAX = 100
"""Most signs of a value that are shown."""

Value = float | int | str | bool | frozenset[str]


class Key(NamedTuple):
    """One key of a card.

    kind: "quantity" (in `unit`, stored SI), "number", "whole", "share", "choice", "text", or
    "parts" (a list of names).
    low, high: in `unit`, both allowed. default: as a card would write it, REQUIRED or OPTIONAL.
    """

    path: str
    kind: str
    unit: str
    low: float
    high: float
    default: str
    meaning: str
    choices: tuple[str, ...] = ()
    gives: Callable[[float], str] | None = None
    """What a value [SI] out of range would mean, one sentence."""


class Spoiled(Exception):
    """A value is asked for that the card gives wrongly; what rests on it cannot be checked."""


class Values:
    """The values of a card in SI, the line each stands on (0 for defaults), and its text.

    A value that was given wrongly is spoiled: its line is known, and asking for it raises Spoiled.
    """

    def __init__(self) -> None:
        self._values: dict[str, Value] = {}
        self._lines: dict[str, int] = {}
        self._texts: dict[str, str] = {}
        self._spoiled: set[str] = set()

    def set(self, path: str, value: Value, line: int = 0, text: str = "") -> None:
        """Put a value in, with the text that a person would write for it."""
        self._values[path] = value
        self._lines[path] = line
        self._texts[path] = text

    def spoil(self, path: str, line: int = 0) -> None:
        """Remember that a value is wrong or missing."""
        self._spoiled.add(path)
        self._lines[path] = line

    def sound(self, *paths: str) -> bool:
        """Whether all of these are there and not spoiled."""
        return all(path in self._values for path in paths)

    def __contains__(self, path: str) -> bool:
        return path in self._values or path in self._spoiled

    def written(self, path: str) -> str:
        """The value in the units of whoever wrote the card; empty when there is none."""
        return self._texts.get(path, "")

    def _get(self, path: str) -> Value:
        if path in self._spoiled:
            raise Spoiled(path)
        return self._values[path]

    def line(self, path: str) -> int:
        """Line of a key; 0 when the card does not give it."""
        return self._lines.get(path, 0)

    def given(self, path: str) -> bool:
        """Whether the card itself gives this key."""
        return self.line(path) > 0

    def number(self, path: str) -> float:
        """Value of a key that is a number, SI. Raises: TypeError for a key of another kind."""
        value = self._get(path)
        if isinstance(value, str | frozenset):
            raise TypeError(f"{path} is no number.")
        return float(value)

    def whole(self, path: str) -> int:
        """Value of a key that is a whole number."""
        return round(self.number(path))

    def text(self, path: str) -> str:
        """Value of a key that is a word or a text."""
        return str(self._get(path))

    def names(self, path: str) -> frozenset[str]:
        """Value of a key that is a list of names. Raises: TypeError for a key of another kind."""
        value = self._get(path)
        if not isinstance(value, frozenset):
            raise TypeError(f"{path} is no list.")
        return value

    def drop(self, path: str) -> None:
        """Forget a value that another one says by now; nothing where there is none."""
        self._values.pop(path, None)
        self._lines.pop(path, None)

    def digest(self, paths: Iterable[str], start: int = 0) -> int:
        """Return the CRC-32/ISO-HDLC of what a card says at these keys, in SI, from `start` on.

        Neither units nor remarks nor the order of lines change it; nine digits of a value count.
        """
        said = (f"{path}={_canonical(self._get(path))}\n" for path in sorted(paths))
        return zlib.crc32("".join(said).encode(), start)

    def all(self) -> dict[str, Value]:
        """Every value by path, SI."""
        return dict(self._values)


def _canonical(value: Value) -> str:
    if isinstance(value, frozenset):
        return ",".join(sorted(value))
    return value if isinstance(value, str) else f"{float(value):.9g}"


def as_number(value: Value) -> float:
    """Return a checked card's value whose key takes a number, SI."""
    assert not isinstance(value, str | frozenset)  # The table of keys says so.
    return value


def read(text: str, keys: Sequence[Key], problems: Problems) -> Values:
    """Return the values of a card by its table of keys; mistakes go into `problems`.

    Raises: CardError when the text is no card at all.
    """
    table = {key.path: key for key in keys}
    sections = {path.partition(".")[0] for path in table if "." in path}
    values = Values()
    meant: dict[str, str] = {}
    for entry in entries(text, problems):
        key = table.get(entry.path)
        if key is not None:
            try:
                values.set(key.path, _value(key, entry.text), entry.line, _shown(entry))
            except QuantityError as error:
                values.spoil(key.path, entry.line)
                problems.add(entry.line, f"'{key.path}: {_shown(entry)}' {error}")
            continue
        if problems.full:
            problems.add(entry.line, "is no key of this card.")
            continue
        section, dot, _ = entry.path.partition(".")
        if dot and sections and section not in sections and section not in table:
            if section not in meant:
                meant[section] = _near(section, sections, 0.0)
                problems.add(
                    entry.line,
                    f"'{section}' is no section of this card; the nearest is '{meant[section]}'.",
                )
        elif entry.path not in sections or entry.text:
            # A section whose keys are all remarks is as good as none.
            problems.add(entry.line, _unknown(entry.path, table, sections))
    for key in keys:
        if key.path in values or key.default == OPTIONAL:
            continue
        if key.default != REQUIRED:
            values.set(key.path, _value(key, key.default), text=key.default)
            continue
        values.spoil(key.path)
        if key.path.partition(".")[0] not in meant.values():
            problems.add(0, f"'{key.path}' is missing: {key.meaning}{_possible(key)}.")
    return values


def hold_to(
    checks: Sequence[Callable[[Values], Iterable[tuple[str, str]]]],
    values: Values,
    problems: Problems,
) -> None:
    """Note what each check finds between the values; one that rests on a spoiled value is over."""
    for check in checks:
        with contextlib.suppress(Spoiled):
            for path, sentence in check(values):
                problems.add(values.line(path), sentence)


def in_unit(value: float, unit: str) -> str:
    """Return an SI value as the card would write it, such as "13.3 mm"."""
    if unit not in UNITS:
        return f"{value:.6g}"
    return f"{value / UNITS[unit].si:.4g} {unit}"


def read_one(key: Key, text: str) -> Value:
    """Return the value [SI] of one key as a card would write it.

    Raises: QuantityError with the rest of a sentence that begins with the text.
    """
    return _value(key, text)


def check_range(key: Key, value: float) -> None:
    """Refuse a value, in the unit of its key, that is outside what the key may be.

    Raises: QuantityError with the rest of a sentence that begins with the value.
    """
    tolerance = 1e-9 * max(abs(key.low), abs(key.high))
    if key.low - tolerance <= value <= key.high + tolerance:
        return
    unit = f" {key.unit}" if key.unit else ""
    says = f"is outside what is possible, {key.low:g} to {key.high:g}{unit}."
    if key.gives is not None:
        says += f" {key.gives(value * UNITS[key.unit].si)}"
    meant = [value * factor for factor in SLIPS.get(key.unit, ())]
    fitting = [f"{one:.4g}{unit}" for one in meant if key.low <= one <= key.high]
    if fitting:
        says += f" Did you mean {' or '.join(dict.fromkeys(fitting))}?"
    raise QuantityError(says)


def _shown(entry: Entry) -> str:
    shown = entry.text if isinstance(entry.text, str) else f"[{', '.join(entry.text)}]"
    return shown if len(shown) <= SHOWN_MAX else f"{shown[: SHOWN_MAX - 3]}..."


def _unknown(path: str, table: Mapping[str, Key], sections: set[str]) -> str:
    if path in sections:
        return f"'{path}' is a section; put its keys under it, indented."
    section, _, word = path.rpartition(".")
    inside = [known for known in table if known.rpartition(".")[0] == section]
    near = _near(word, [known.rpartition(".")[2] for known in inside], 0.5)
    if near:
        nearest = f"{section}.{near}" if section else near
    else:
        # The same word in another section, else whatever looks most like it.
        same = [known for known in table if known.rpartition(".")[2] == word]
        nearest = same[0] if same else _near(path, [*table, *sections], 0.0)
    return f"'{path}' is no key of this card; the nearest is '{nearest}'."


def _near(word: str, known: Iterable[str], least: float) -> str:
    import difflib  # Only a mistake pays for loading it.

    found = difflib.get_close_matches(word[:WORD_MAX], list(known), 1, least)
    return found[0] if found else ""


def _value(key: Key, text: str | tuple[str, ...]) -> Value:
    if key.kind == "parts":
        return _parts(key, text)
    if not isinstance(text, str):
        raise QuantityError("is a list; one value belongs here.")
    return READERS[key.kind](key, text)


def _quantity(key: Key, text: str) -> Value:
    value = quantity(text, key.unit, lambda bare: _unit_meant(key, bare))
    check_range(key, value)
    return value * UNITS[key.unit].si


def _number(key: Key, text: str) -> Value:
    value = number(text)
    check_range(key, value)
    return value


def _share(key: Key, text: str) -> Value:
    value = share(text)
    check_range(key, value)
    return value


def _whole(key: Key, text: str) -> Value:
    value = number(text)
    if value != round(value):
        raise QuantityError("must be a whole number.")
    check_range(key, value)
    return int(value)


def _choice(key: Key, text: str) -> Value:
    word = " ".join(text.split())
    word = {"true": "yes", "false": "no"}.get(word.lower(), word) if "yes" in key.choices else word
    if word in key.choices:
        return word == "yes" if "yes" in key.choices else word
    raise QuantityError(f"is not possible here; it can be {_or(key.choices)}.")


def _text(key: Key, text: str) -> Value:
    if not text:
        raise QuantityError(f"is empty; it is {key.meaning}.")
    if len(text) > key.high or not text.isprintable():
        raise QuantityError(f"must be one line of at most {key.high:g} characters.")
    return text


READERS: dict[str, Callable[[Key, str], Value]] = {
    "quantity": _quantity,
    "number": _number,
    "share": _share,
    "whole": _whole,
    "choice": _choice,
    "text": _text,
}
"""How each kind of value is read."""


def _parts(key: Key, text: str | tuple[str, ...]) -> Value:
    words = text if isinstance(text, tuple) else (text,) if text not in ("", "none") else ()
    seen: set[str] = set()
    for word in words:
        if word not in key.choices:
            near = _near(word, key.choices, 0.0)
            raise QuantityError(
                f"has '{word}', which is no part; the nearest is '{near}' "
                f"(possible: {', '.join(key.choices)})."
            )
        if word in seen:
            raise QuantityError(f"has '{word}' twice.")
        seen.add(word)
    return frozenset(seen)


SLIPS: dict[str, tuple[float, ...]] = {
    **dict.fromkeys(("mm", "mm/s", "mm/s2"), (10.0, 0.1, 25.4, 1 / 25.4, 1000.0)),
    "bar": (10.0, 0.1, 1 / 14.5, 0.01),
    "g": (0.001, 1000.0, 10.0, 0.1, 28.35, 1 / 28.35),
    "s": (0.001, 1000.0),
    "ms": (10.0, 0.1, 1000.0, 0.001),
    "N": (10.0, 0.1, 4.448),
    "deg": (10.0, 0.1),
}
"""Factors by which a value may be off: decimal point, inches, psi, ounces, thousandths."""

OTHER_UNITS: dict[str, tuple[str, ...]] = {
    "mm": ("cm", "in", "m"), "mm/s": ("m/s", "in/s"), "ms": ("s",), "s": ("ms", "min"),
    "min": ("h", "s"), "g": ("kg", "oz"), "bar": ("psi", "kPa"), "g/cm3": ("kg/m3",),
}  # fmt: skip
"""Units that a number without one may be meant in, beside that of the key."""

FAR_OFF = 100
"""A bare number so many times more or less than usual is likelier to be meant in another unit."""


def _unit_meant(key: Key, bare: float) -> str:
    """The unit that a number without one is likeliest in: the key's, unless that puts it out of
    range or far off; then the one that brings it nearest to what is usual."""
    least = max(key.low, key.high / 1000)
    usual = math.sqrt(least * key.high)
    if key.default not in (REQUIRED, OPTIONAL):
        usual = quantity(key.default, key.unit) or usual

    def off(unit: str) -> float:
        value = bare * times(key.unit, unit)
        fits = value > 0 and key.low <= value <= key.high
        return abs(math.log(value / usual)) if fits else math.inf

    if off(key.unit) <= math.log(FAR_OFF):
        return key.unit
    return min((key.unit, *OTHER_UNITS.get(key.unit, ())), key=off)


def _possible(key: Key) -> str:
    if key.choices:
        return f"; it can be {_or(key.choices)}"
    if key.kind in ("quantity", "number", "whole", "share"):
        return f"; {key.low:g} to {key.high:g} {key.unit}".rstrip()
    return ""


def _or(words: Sequence[str]) -> str:
    quoted = [f"'{word}'" for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"
