"""The sizing sheet as lines for a person and as values for a program."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from benchd.calc.sizing import PARTS
from benchd.calc.sizing.base import (
    PLAIN,
    RED,
    TIGHT,
    UNITS,
    UNKNOWN,
    WITHIN,
    Hang,
    Input,
    Line,
    Value,
    rests_on,
    unsloped,
)

MARKS = {RED: "RED", TIGHT: "tight", WITHIN: "", PLAIN: "", UNKNOWN: "?"}
MARK_WIDTH, LABEL_WIDTH, VALUE_WIDTH = 6, 32, 14
INSET = " " * MARK_WIDTH
GUESSES_SHOWN, RESULTS_SHOWN = 12, 3


def number(value: float) -> str:
    """Return a number with four digits, without powers of ten where a person would write none."""
    if value == 0 or 1e-3 <= abs(value) < 1e7:
        text = f"{value:.0f}" if abs(value) >= 1000 else f"{value:.4g}"
        return text
    return f"{value:.3g}"


def quantity(value: Value, unit: str) -> str:
    """Return a value [SI] in a unit of the sheet."""
    if isinstance(value, str):
        return value
    return f"{number(value / UNITS[unit])} {unit}".rstrip()


def margin(line: Line) -> str:
    """Return what a line is held against and by how much, or nothing."""
    if line.limit is None or line.row.limit is None or line.value is None:
        return ""
    return f"at {line.row.limit.kind} {quantity(line.limit, line.row.unit)}{_share(line.margin)}"


def _share(share: float | None) -> str:
    """Return a margin, short enough to stand at the end of a line of 80 columns."""
    if share is None or share > 999:
        return ""
    if share < 0.01:
        return " (<0.01 x)"
    if share < 1:
        # Cut off, not rounded: what is beyond its limit must not read as at it.
        digits = 3 if share >= 0.1 else 2
        return f" ({math.floor(share * 1000) / 1000:.{digits}g} x)"
    return f" ({share:.3g} x)"


def units_of(inputs: Mapping[str, Input], lines: Sequence[Line]) -> dict[str, str]:
    """Return the unit in which each input and each row is shown."""
    return {
        **{name: one.unit for name, one in inputs.items()},
        **{line.row.name: line.row.unit for line in lines},
    }


def head(line: Line) -> str:
    """Return a line's mark, label, value and margin."""
    value = "-" if line.value is None else quantity(line.value, line.row.unit)
    text = f"{MARKS[line.state]:<{MARK_WIDTH}}{line.row.label:<{LABEL_WIDTH}}"
    return f"{text}{value:<{VALUE_WIDTH - 1}} {margin(line)}".rstrip()


def body(line: Line, units: Mapping[str, str]) -> Iterator[str]:
    """Give what a line means and what it comes from."""
    yield f"{INSET}  {line.sentence}"
    came = ", ".join(f"{name} {quantity(value, units[name])}" for name, value in line.inputs)
    yield f"{INSET}  {line.row.formula}; from {came}."


def parts(lines: Sequence[Line], inputs: Mapping[str, Input], *, short: bool) -> Iterator[str]:
    """Give the sheet, part by part; a line above its caution begins with the caution."""
    units = units_of(inputs, lines)
    by_row = {line.row: line for line in lines}
    said = {line.row.safety for line in lines if line.cautions}
    for title, rows in PARTS:
        here = [by_row[row] for row in rows if row in by_row]
        here = [line for line in here if line.state != UNKNOWN]
        if not here:
            continue
        yield ""
        yield title
        yield from sheet(here, units, said, short=short)


def sheet(
    lines: Sequence[Line], units: Mapping[str, str], said: set[str], *, short: bool
) -> Iterator[str]:
    """Give lines one after the other; of a caution that was said in full only its beginning."""
    for line in lines:
        safety = line.row.safety
        if short or not safety:
            warning = ""
        elif safety in said:
            warning = f"{INSET}! {safety.partition('. ')[0].rstrip('.')}."
        else:
            warning = f"{INSET}! {safety}"
            said.add(safety)
        if warning and line.cautions:
            yield warning
        yield head(line)
        if not short:
            yield from body(line, units)
        if warning and not line.cautions:
            yield f"  {warning}"


def cautions(lines: Sequence[Line]) -> Iterator[str]:
    """Give what comes before every number: each caution once, with what it is about."""
    about: dict[str, list[str]] = {}
    for line in lines:
        if line.cautions and line.row.safety:
            about.setdefault(line.row.safety, []).append(line.row.label)
    for text, labels in about.items():
        yield f"{text} ({', '.join(labels)})"


def red(lines: Sequence[Line]) -> Iterator[str]:
    """Give the red lines' sentences."""
    for line in lines:
        if line.state == RED:
            yield f"RED   {line.row.label}: {line.sentence}"


def unknown(lines: Sequence[Line]) -> Iterator[str]:
    """Give what was not computed or not held against a limit, by the keys that are wanted."""
    names = {line.row.name for line in lines}
    wanted: dict[str, list[str]] = {}
    unheld: dict[str, list[str]] = {}
    for line in lines:
        given = {name for name, _ in line.inputs}
        if line.state == UNKNOWN:
            for name in line.row.needs:
                if name not in given and name not in names:
                    wanted.setdefault(name, []).append(line.row.label)
        limit = line.row.limit
        if limit is not None and isinstance(limit.at, str) and line.limit is None:
            if line.value is not None and limit.at not in names:
                unheld.setdefault(limit.at, []).append(line.row.label)
    if wanted:
        yield ""
        yield "not computed, nor what rests on it"
        for name, labels in wanted.items():
            yield f"{INSET}{name} is not given: {', '.join(labels)}"
    if unheld:
        yield ""
        yield "held against nothing"
        for name, labels in unheld.items():
            yield f"{INSET}{name} is not given: {', '.join(labels)}"


def guesses(
    found: Sequence[Hang],
    inputs: Mapping[str, Input],
    lines: Sequence[Line],
    most: int = GUESSES_SHOWN,
) -> Iterator[str]:
    """Give the guesses on which most hangs, largest first, then those that have no slope."""
    by_guess: dict[str, list[Hang]] = {}
    for hang in found:
        by_guess.setdefault(hang.guess, []).append(hang)
    if not by_guess:
        return
    yield ""
    yield "guessed, not measured: what moves, and by how much, for 1 % of each"
    for guess, results in list(by_guess.items())[:most]:
        shown = "; ".join(f"{one.label} {one.share:+.2g} %" for one in results[:RESULTS_SHOWN])
        more = len(results) - RESULTS_SHOWN
        rest = f"; and {more} more" if more > 0 else ""
        one = inputs[guess]
        yield f"{INSET}{guess} {quantity(one.value, one.unit)}: {shown}{rest}"
    if len(by_guess) > most:
        yield f"{INSET}and {len(by_guess) - most} more guesses with less effect (--json has all)"
    bare = [
        f"{name} {quantity(inputs[name].value, inputs[name].unit)}"
        for name in unsloped(inputs, lines)
    ]
    if bare:
        yield f"{INSET}also guessed, words and zeros: {'; '.join(bare)}"


def side_by_side(before: Sequence[Line], after: Sequence[Line]) -> Iterator[str]:
    """Give the lines that differ, the old value beside the new."""
    old = {line.row.name: line for line in before}
    new = {line.row.name: line for line in after}
    names = [
        name
        for name in [*new, *(name for name in old if name not in new)]
        if not (name in old and name in new and _same(old[name], new[name]))
    ]
    if not names:
        yield f"{INSET}Nothing on the sheet changes."
        return
    yield f"{INSET}{'':<{LABEL_WIDTH}}{'now':<{VALUE_WIDTH}} then"
    for name in names:
        was, now = old.get(name), new.get(name)
        line = now or was
        assert line is not None  # Every name is from one or the other.
        texts = [
            "-" if one is None or one.value is None else quantity(one.value, one.row.unit)
            for one in (was, now)
        ]
        mark = MARKS[now.state] if now is not None else ""
        text = f"{mark:<{MARK_WIDTH}}{line.row.label:<{LABEL_WIDTH}}"
        yield f"{text}{texts[0]:<{VALUE_WIDTH}} {texts[1]}".rstrip()
        held = "" if now is None else margin(now)
        if now is not None and held:
            wrong = f": {now.sentence}" if now.state in (RED, TIGHT) else ""
            yield f"{INSET}  {held}{wrong}"


def idle(keys: Iterable[str], lines: Sequence[Line]) -> Iterator[str]:
    """Give the keys that no line of these cards rests on or is held against."""
    idle = (key for key in keys if not any(key in rests_on(line.row) for line in lines))
    yield from (f"{INSET}No line of these cards rests on {key}." for key in idle)


def _same(was: Line, now: Line) -> bool:
    """Whether two lines of one row say the same: value, what it is held against, and state."""
    return was.state == now.state and _near(was.value, now.value) and _near(was.limit, now.limit)


def _near(was: float | None, now: float | None) -> bool:
    if was is None or now is None:
        return was is now
    return math.isclose(was, now, rel_tol=1e-9)


def line_json(line: Line, units: Mapping[str, str]) -> dict[str, Any]:
    """Return a line for a program: values in the unit that is named."""
    scale = UNITS[line.row.unit]
    endless = line.margin is None or line.margin > 1e9
    return {
        "name": line.row.name,
        "label": line.row.label,
        "caution": line.row.safety if line.cautions else None,
        "value": None if line.value is None else line.value / scale,
        "unit": line.row.unit,
        "limit": None if line.limit is None else line.limit / scale,
        "limit_kind": None if line.row.limit is None else line.row.limit.kind,
        "margin": None if endless else line.margin,
        "state": line.state,
        "sentence": line.sentence,
        "formula": line.row.formula,
        "inputs": [
            {
                "name": name,
                "value": value if isinstance(value, str) else value / UNITS[units[name]],
                "unit": units[name],
            }
            for name, value in line.inputs
        ],
        "safety": line.row.safety or None,
    }


def hang_json(found: Sequence[Hang]) -> list[dict[str, Any]]:
    """Return what hangs on guesses for a program."""
    return [
        {"guess": one.guess, "result": one.result, "per_cent_per_per_cent": one.share}
        for one in found
    ]
