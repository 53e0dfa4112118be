"""Reading a card by its table of keys: what each is, its range, what is said when it is wrong."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from benchd.config.errors import Problems
from benchd.config.quantity import UNITS, QuantityError, number, quantity, share
from benchd.config.text import Entry, entries

REQUIRED = "required"
"""Default of a key that every card must give."""

OPTIONAL = ""
"""Default of a key that may be left out and then has no value."""

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


class Values:
    """The values of a card in SI, and the line each stands on (0 for defaults)."""

    def __init__(self) -> None:
        self._values: dict[str, Value] = {}
        self._lines: dict[str, int] = {}

    def set(self, path: str, value: Value, line: int = 0) -> None:
        """Put a value in."""
        self._values[path] = value
        self._lines[path] = line

    def __contains__(self, path: str) -> bool:
        return path in self._values

    def line(self, path: str) -> int:
        """Line of a key; 0 when the card does not give it."""
        return self._lines.get(path, 0)

    def given(self, path: str) -> bool:
        """Whether the card itself gives this key."""
        return self.line(path) > 0

    def number(self, path: str) -> float:
        """Value of a key that is a number, SI."""
        value = self._values[path]
        if isinstance(value, str | frozenset):
            raise TypeError(f"{path} is no number.")
        return float(value)

    def whole(self, path: str) -> int:
        """Value of a key that is a whole number."""
        return round(self.number(path))

    def text(self, path: str) -> str:
        """Value of a key that is a word or a text."""
        return str(self._values[path])

    def names(self, path: str) -> frozenset[str]:
        """Value of a key that is a list of names."""
        value = self._values[path]
        if not isinstance(value, frozenset):
            raise TypeError(f"{path} is no list.")
        return value

    def all(self) -> dict[str, Value]:
        """Every value by path, SI."""
        return dict(self._values)


def read(text: str, name: str, keys: Sequence[Key], problems: Problems) -> Values:
    """Return the values of a card by its table of keys; mistakes go into `problems`.

    Raises: CardError when the text is no card at all.
    """
    table = {key.path: key for key in keys}
    values = Values()
    for entry in entries(text, name):
        key = table.get(entry.path)
        if key is None:
            problems.add(entry.line, _unknown(entry.path, table))
            continue
        try:
            values.set(key.path, _value(key, entry.text), entry.line)
        except QuantityError as error:
            values.set(key.path, _stand_in(key), entry.line)
            problems.add(entry.line, f"'{key.path}: {_shown(entry)}' {error}")
    for key in keys:
        if key.path in values or key.default == OPTIONAL:
            continue
        if key.default == REQUIRED:
            problems.add(0, f"'{key.path}' is missing: {key.meaning}{_possible(key)}.")
            values.set(key.path, _stand_in(key))
        else:
            values.set(key.path, _value(key, key.default))
    return values


def in_unit(value: float, unit: str) -> str:
    """Return an SI value as the card would write it, such as "13.3 mm"."""
    if unit not in UNITS:
        return f"{value:.6g}"
    return f"{value / UNITS[unit].si:.4g} {unit}"


def _shown(entry: Entry) -> str:
    shown = entry.text if isinstance(entry.text, str) else f"[{', '.join(entry.text)}]"
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _unknown(path: str, table: Mapping[str, Key]) -> str:
    section, _, word = path.rpartition(".")
    if path in {known.split(".")[0] for known in table if "." in known}:
        return f"'{path}' is a section; put its keys under it, indented."
    inside = [known for known in table if known.rpartition(".")[0] == section]
    near = difflib.get_close_matches(word, [known.rpartition(".")[2] for known in inside], 1, 0.5)
    if near:
        nearest = f"{section}.{near[0]}" if section else near[0]
    else:
        nearest = _nearest(path, table)
    return f"'{path}' is no key of this card; the nearest is '{nearest}'."


def _nearest(word: str, known: Iterable[str]) -> str:
    return difflib.get_close_matches(word, list(known), 1, 0.0)[0]


def _value(key: Key, text: str | tuple[str, ...]) -> Value:
    if key.kind == "parts":
        return _parts(key, text)
    if not isinstance(text, str):
        raise QuantityError("is a list; one value belongs here.")
    return READERS[key.kind](key, text)


def _quantity(key: Key, text: str) -> Value:
    value = quantity(text, key.unit)
    _check_range(key, value)
    return value * UNITS[key.unit].si


def _number(key: Key, text: str) -> Value:
    value = number(text)
    _check_range(key, value)
    return value


def _share(key: Key, text: str) -> Value:
    value = share(text)
    _check_range(key, value)
    return value


def _whole(key: Key, text: str) -> Value:
    value = number(text)
    if value != round(value):
        raise QuantityError("must be a whole number.")
    _check_range(key, value)
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
            near = _nearest(word, key.choices)
            raise QuantityError(
                f"has '{word}', which is no part; the nearest is '{near}' "
                f"(possible: {', '.join(key.choices)})."
            )
        if word in seen:
            raise QuantityError(f"has '{word}' twice.")
        seen.add(word)
    return frozenset(seen)


def _check_range(key: Key, value: float) -> None:
    tolerance = 1e-9 * max(abs(key.low), abs(key.high))
    if key.low - tolerance <= value <= key.high + tolerance:
        return
    unit = f" {key.unit}" if key.unit else ""
    slip = ""
    if key.unit in ("mm", "bar", "g", "mm/s"):
        for factor in (10.0, 0.1, 25.4, 1 / 25.4):
            if key.low <= value * factor <= key.high:
                slip = f" Did you mean {value * factor:.4g}{unit}?"
                break
    raise QuantityError(f"is outside what is possible, {key.low:g} to {key.high:g}{unit}.{slip}")


def _possible(key: Key) -> str:
    if key.choices:
        return f"; it can be {_or(key.choices)}"
    if key.kind in ("quantity", "number", "whole", "share"):
        return f"; {key.low:g} to {key.high:g} {key.unit}".rstrip()
    return ""


def _or(words: Sequence[str]) -> str:
    quoted = [f"'{word}'" for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def _stand_in(key: Key) -> Value:
    """A value in the place of a wrong one, so that the remaining checks still run."""
    if key.kind == "parts":
        return frozenset()
    if key.kind == "choice":
        return True if "yes" in key.choices else key.choices[0]
    if key.kind == "text":
        return "-"
    si = UNITS[key.unit].si if key.unit in UNITS else 1.0
    return max(key.low, min(key.high, 1.0)) * si
