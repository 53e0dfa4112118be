"""What all sizing calculations share: a row of the sheet, its limit, and how a sheet is worked out.

A row names its inputs; they come from the cards or from rows above it. So the same table gives the
sheet, what changes with another nozzle, and which results hang on a guess.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

Value = float | str

UNITS: dict[str, float] = {
    "": 1.0, "%": 0.01, "mm": 1e-3, "um": 1e-6, "mm2": 1e-6, "cm3": 1e-6, "l": 1e-3,
    "cm3/s": 1e-6, "l/min": 1e-3 / 60, "g": 1e-3, "mg": 1e-6, "kg": 1.0, "g/mm": 1.0,
    "g/cm3": 1e3, "s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "1/s": 1.0, "mm/s": 1e-3,
    "m/s": 1.0, "mm/s2": 1e-3, "N": 1.0, "Nm": 1.0, "N/mm": 1e3, "Pa": 1.0, "kPa": 1e3,
    "bar": 1e5, "J": 1.0, "deg": math.pi / 180, "W": 1.0, "V": 1.0, "A": 1.0,
    "l/s/bar": 1e-8, "Pa*s^n": 1.0, "Pa*(s/m)^n": 1.0, "g TNT": 1e-3, "C": 1.0,
    "days": 86_400.0,
}  # fmt: skip
"""Unit of the sheet to its factor to SI. Source: NIST Special Publication 811 (2008), B.8."""

RED, TIGHT, WITHIN, PLAIN, UNKNOWN = "red", "tight", "within", "plain", "unknown"
"""States of a line: beyond its limit; nearer than it should be; inside; without a limit; not
computed for want of an input."""

REFERENCE_PA = 1e5
"""Pressure of the reference atmosphere of ISO 8778 [Pa]; its density is 1.185 kg/m3 at 20 C."""

GRAVITY_M_S2 = 9.80665


class Impossible(ValueError):
    """An input that cannot be; the text names it."""


class Input(NamedTuple):
    """A value that a card gives, or that stands for it."""

    value: Value
    """SI."""
    unit: str = ""
    guessed: bool = False
    """Whether nobody measured it: a default, or named as a guess by the card."""


class Limit(NamedTuple):
    """What a value is held against.

    kind: "most" or "least". at: a number [SI], or the name of the input or row that has it.
    beyond: the sentence when it does not hold. ample: the margin below which the line is tight.
    soft: whether a breach is tight rather than red.
    """

    kind: str
    at: float | str
    beyond: str
    ample: float = 1.0
    soft: bool = False


class Row(NamedTuple):
    """One line of the sheet before it is worked out.

    compute takes the values of `needs` in their order, SI, and returns SI; what it raises as
    Impossible is said in the line. says: what the value means, one sentence. safety: what it means
    for the person; stands before the number where the value is above `caution_above` [SI].
    only: names of inputs and the words they must have for the row to apply. counts: whether it
    moves by whole steps, as a number of things does.
    """

    name: str
    label: str
    unit: str
    formula: str
    needs: tuple[str, ...]
    compute: Callable[..., float]
    says: str
    limit: Limit | None = None
    safety: str = ""
    caution_above: float = math.inf
    only: tuple[tuple[str, str], ...] = ()
    counts: bool = False


class Line(NamedTuple):
    """One line of the sheet. Values are SI; margin above 1 is on the right side of the limit."""

    row: Row
    value: float | None
    limit: float | None
    margin: float | None
    state: str
    sentence: str
    inputs: tuple[tuple[str, Value], ...]
    cautions: bool
    """Whether the caution comes before the number."""


Known = dict[str, Value]


def positive(**given: float) -> None:
    """Refuse what must be above zero.

    Parameters:  given : scalars, float [any unit] by the name of the argument
    Raises:      Impossible: names the first argument that is not a finite number above zero
    Source:      none needed: a rule of this project
    """
    for name, value in given.items():
        if not (math.isfinite(value) and value > 0):
            raise Impossible(f"'{name}' is {value:g}; it must be above zero.")


def not_negative(**given: float) -> None:
    """Refuse what must not be below zero.

    Parameters:  given : scalars, float [any unit] by the name of the argument
    Raises:      Impossible: names the first argument that is not a finite number from zero up
    Source:      none needed: a rule of this project
    """
    for name, value in given.items():
        if not (math.isfinite(value) and value >= 0):
            raise Impossible(f"'{name}' is {value:g}; it must not be below zero.")


def disc_area(diameter_m: float) -> float:
    """Return the area of a disc [m^2].

    pi d^2 / 4.

    Parameters:  diameter_m : scalar, float [m], > 0
    Returns:     area : scalar, float [m^2]
    Source:      geometry
    Example:     disc_area(0.05) is 1.9635e-3, computed by hand.
    """
    positive(diameter_m=diameter_m)
    return math.pi * diameter_m**2 / 4


def ring_area(bore_m: float, *, rod_m: float) -> float:
    """Return the area of a piston on the side of its rod [m^2].

    pi (D^2 - d^2) / 4.

    Parameters:  bore_m : scalar, float [m], > 0. rod_m : scalar, float [m], >= 0, below the bore
    Returns:     area : scalar, float [m^2]
    Raises:      Impossible: names the argument
    Source:      geometry
    Example:     16 mm, rod 6 mm: 172.8 mm2, by hand.
    """
    positive(bore_m=bore_m)
    not_negative(rod_m=rod_m)
    if rod_m >= bore_m:
        raise Impossible("'rod_m' is not below 'bore_m': a rod is thinner than its cylinder.")
    return math.pi * (bore_m**2 - rod_m**2) / 4


def flow_share(ratio: float, *, critical: float) -> float:
    """Return how much of the choked flow passes at a ratio of pressures.

    1 up to the critical ratio b, above it sqrt(1 - ((r - b) / (1 - b))^2), 0 from r = 1 on.

    Parameters:  ratio : scalar, float [-], >= 0; pressure behind over pressure before, absolute.
        critical : scalar, float [-], 0 to below 1; b, as measured for the part (0.2 to 0.5)
    Returns:     share : scalar, float [-], 0 to 1
    Raises:      Impossible when an argument is out of its range
    Source:      ISO 6358-1, mass flow of a component with sonic conductance C and ratio b
    Example:     flow_share(500/700, critical=0.35) is 0.8282 (0.00686988 / 0.008295 kg/s).
    """
    not_negative(ratio=ratio, critical=critical)
    if critical >= 1:
        raise Impossible(f"'critical' is {critical:g}; it must be below 1.")
    if ratio <= critical:
        return 1.0
    if ratio >= 1:
        return 0.0
    return math.sqrt(1 - ((ratio - critical) / (1 - critical)) ** 2)


def applies(row: Row, known: Mapping[str, Value]) -> bool:
    """Return whether a row is meant for these inputs [-].

    Source:      none needed: a rule of this project
    """
    return all(known.get(name) == word for name, word in row.only)


def rests_on(row: Row) -> set[str]:
    """Return the inputs and rows that a row rests on or is held against [names].

    Source:      none needed: a rule of this project
    """
    names = {*row.needs, *(name for name, _ in row.only)}
    if row.limit is not None and isinstance(row.limit.at, str):
        names.add(row.limit.at)
    return names


def work_out(
    rows: Iterable[Row],
    inputs: Mapping[str, Input],
    changed: frozenset[str] | None = None,
    before: Sequence[Line] = (),
) -> list[Line]:
    """Return the lines of a sheet, in the order of its rows; all values SI [as each row says].

    Parameters:  rows : (n,), the table. inputs : by name. changed, before : where only these inputs
        differ from those of the lines before, only what hangs on them is worked out again.
    Source:      none needed: a rule of this project
    """
    known: Known = {name: one.value for name, one in inputs.items()}
    old = {line.row: line for line in before}
    moved = set(changed or ())
    lines = []
    for row in rows:
        if not applies(row, known):
            continue
        if changed is not None and row in old and not rests_on(row) & moved:
            line = old[row]
        else:
            line = _line(row, known)
            moved.add(row.name)
        if line.value is not None:
            known[row.name] = line.value
        lines.append(line)
    return lines


def _line(row: Row, known: Known) -> Line:
    limit = _limit(row, known)
    missing = [name for name in row.needs if name not in known]
    given = tuple((name, known[name]) for name in row.needs if name in known)
    if missing:
        what = f"Not computed: {', '.join(missing)} is not known."
        return Line(row, None, limit, None, UNKNOWN, what, given, False)
    try:
        value = row.compute(*(known[name] for name in row.needs))
    except (Impossible, ZeroDivisionError, OverflowError) as error:
        what = str(error) if isinstance(error, Impossible) else "These values cannot go together."
        return Line(row, None, limit, None, RED, what, given, False)
    cautions = value > row.caution_above
    if row.limit is None or limit is None:
        return Line(row, value, None, None, PLAIN, row.says, given, cautions)
    margin = _margin(row.limit.kind, value, limit)
    state = WITHIN
    if margin < 1:
        state = TIGHT if row.limit.soft else RED
    elif margin < row.limit.ample:
        state = TIGHT
    says = row.limit.beyond if margin < 1 else row.says
    return Line(row, value, limit, margin, state, says, given, cautions)


def _limit(row: Row, known: Known) -> float | None:
    if row.limit is None:
        return None
    if isinstance(row.limit.at, str):
        found = known.get(row.limit.at)
        return None if found is None or isinstance(found, str) else found
    return row.limit.at


def _margin(kind: str, value: float, limit: float) -> float:
    above, below = (limit, value) if kind == "most" else (value, limit)
    if below <= 0:
        return math.inf
    return above / below


class Hang(NamedTuple):
    """How a result hangs on a guess: its change in per cent for one per cent of the guess."""

    guess: str
    result: str
    label: str
    share: float


STEP = 0.005
"""Share by which an input is moved either way for its effect."""

COUNT_STEP = 0.1
"""The same for results that are counts, which move by whole steps."""

LEAST_SHARE = 0.05
"""What moves by less than this per one per cent does not hang on the guess."""


def hangs(rows: Sequence[Row], inputs: Mapping[str, Input], lines: Sequence[Line]) -> list[Hang]:
    """Return how results hang on guessed inputs, largest first.

    (dy/dx) (x/y) by central differences of half a per cent, of ten per cent for counts.

    Parameters:  rows : (n,), and inputs : what the sheet was worked out from. lines : (m,), it
    Returns:     share : scalar, float [-] (per cent of the result for one per cent of the guess)
    Source:      first-order sensitivity, JCGM 100:2008 (GUM), 5.1.3
    """
    smooth = [line for line in lines if not line.row.counts]
    counts = [line for line in lines if line.row.counts and line.value]
    above_counts = rows_for(rows, (line.row.name for line in counts))
    found = []
    for step, tried, results in ((STEP, rows, smooth), (COUNT_STEP, above_counts, counts)):
        for name, one in inputs.items():
            if not one.guessed or isinstance(one.value, str) or one.value == 0:
                continue
            moved = []
            for way in (1 + step, 1 - step):
                other = {**inputs, name: one._replace(value=one.value * way)}
                again = work_out(tried, other, frozenset({name}), lines)
                moved.append({line.row.name: line.value for line in again})
            for line in results:
                above, below = (side.get(line.row.name) for side in moved)
                if above is None or below is None or not line.value:
                    continue
                share = (above - below) / (2 * step * line.value)
                if abs(share) > LEAST_SHARE and math.isfinite(share):
                    found.append(Hang(name, line.row.name, line.row.label, share))
    return sorted(found, key=lambda hang: -abs(hang.share))


def rows_for(rows: Sequence[Row], names: Iterable[str]) -> list[Row]:
    """Return the rows of these names and all that their values need [rows], in order.

    Source:      none needed: a rule of this project
    """
    wanted = set(names)
    for row in reversed(rows):
        if row.name in wanted:
            wanted |= {*row.needs, *(name for name, _ in row.only)}
    return [row for row in rows if row.name in wanted]


def unsloped(inputs: Mapping[str, Input], lines: Sequence[Line]) -> list[str]:
    """Return the guessed inputs that the sheet used and whose effect no slope tells [names].

    They are words and zeros.

    Source:      none needed: a rule of this project
    """
    used = {name for line in lines for name in line.row.needs}
    used |= {name for line in lines for name, _ in line.row.only}
    return [
        name
        for name, one in inputs.items()
        if one.guessed and name in used and (isinstance(one.value, str) or one.value == 0)
    ]
