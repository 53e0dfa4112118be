"""Weights taken elsewhere, as a CSV file: read whole, or not at all."""

from __future__ import annotations

import csv
import io
import re
from typing import NamedTuple

from benchd.cli import quantity
from benchd.cli.command import Wrong
from benchd.core import weighing

BYTES_MAX = 1_000_000
LINES_MAX = 5000

UNITS = {f"mass_{unit}": unit for unit in quantity.UNITS["mass"]}
"""Header of the column of masses, and the unit that it names."""

EXAMPLE = "write portion,mass_g in the first line, and a line such as 12,30.1 for each portion"


class Line(NamedTuple):
    """One weight of the file. line: counted from 1, the header's; text: as written, with unit."""

    line: int
    portion: int
    mass_kg: float
    text: str


def read(path: str) -> list[Line]:
    """Return the weights of a file, in its order.

    The first line names the columns: `portion`, and one of UNITS; others are not read. Between
    columns stand commas, semicolons or tabs, as in the first line. Numbers have a decimal point or
    comma; a comma between columns as well only where the number is quoted.

    Raises: Wrong with one sentence for each line that is not sound.
    """
    text = _text(path)
    head, _, _ = text.partition("\n")
    between = max(";\t,", key=head.count)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    found: list[Line] = []
    wrong: list[str] = []
    try:
        names = [name.strip().lower() for name in next(rows, [])]
        portion_at, mass_at = _columns(path, names)
        for cells in rows:
            if not any(cell.strip() for cell in cells):
                continue
            try:
                if len(cells) != len(names):
                    raise ValueError(_count(between, cells, names))
                found.append(
                    _line(rows.line_num, cells[portion_at], cells[mass_at], names[mass_at])
                )
            except ValueError as error:
                wrong.append(f"{path}, line {rows.line_num}: {str(error).rstrip('.')}.")
    except csv.Error as error:
        wrong.append(f"{path}, line {rows.line_num}: it is no CSV ({error}).")
    wrong += _twice(path, found)
    if wrong:
        raise Wrong("\n".join([*wrong[:20], *_more(len(wrong) - 20), "Nothing was recorded."]))
    if not found:
        raise Wrong(f"{path} holds no weight: {EXAMPLE}.")
    if len(found) > LINES_MAX:
        raise Wrong(f"{path} holds {len(found)} weights, and {LINES_MAX} go at once: split it.")
    return found


def _text(path: str) -> str:
    try:
        with open(path, "rb") as file:
            content = file.read(BYTES_MAX + 1)
    except OSError as error:
        raise Wrong(f"{path} cannot be read: {(error.strerror or str(error)).lower()}.") from None
    if len(content) > BYTES_MAX:
        raise Wrong(f"{path} is larger than 1 MB, which no file of weights is: look at its name.")
    try:
        # Some spreadsheets begin a file with a mark that is no part of the first name.
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise Wrong(f"{path}, line {line}: it is not UTF-8; save it as CSV in UTF-8.") from None


def _columns(path: str, names: list[str]) -> tuple[int, int]:
    """Return where portion and mass stand."""
    masses = [name for name in names if name in UNITS]
    if names.count("portion") != 1 or len(masses) != 1:
        shown = ", ".join(f"'{name}'" for name in names) or "nothing"
        raise Wrong(
            f"{path}, line 1: it takes one column 'portion' and one of {', '.join(UNITS)}, and it "
            f"names {shown}: {EXAMPLE}. Nothing was recorded."
        )
    return names.index("portion"), names.index(masses[0])


def _count(between: str, cells: list[str], names: list[str]) -> str:
    hint = ""
    if between == "," and len(cells) > len(names):
        hint = "; with decimal commas put semicolons between the columns"
    read_as = between.join(cells)
    many = f"{len(cells)} value{'' if len(cells) == 1 else 's'}"
    return f"'{read_as}' has {many} where line 1 names {len(names)}{hint}"


def _line(line: int, portion: str, mass: str, column: str) -> Line:
    """Return one weight; ValueError says what is wrong with it."""
    portion, mass = portion.strip(), mass.strip()
    number = int(portion) if re.fullmatch(r"[0-9]{1,10}", portion) else 0
    if not 1 <= number < 2**31:
        raise ValueError(f"'{portion}' is no number of a portion; they count from 1")
    unit = UNITS[column]
    _, written = quantity.split(mass, "mass")
    if written.lower() not in ("", unit):
        raise ValueError(f"'{mass}' has the unit '{written}' in the column {column}")
    mass_kg = quantity.parse(mass, "mass", unit)
    if weighing.impossible(mass_kg):
        raise ValueError(f"'{mass}' is no weight: it must be above 0 g and below 100 kg")
    return Line(line, number, mass_kg, mass if written else f"{mass} {unit}")


def _twice(path: str, found: list[Line]) -> list[str]:
    first: dict[int, int] = {}
    wrong = []
    for one in found:
        if one.portion in first:
            wrong.append(
                f"{path}, line {one.line}: portion {one.portion} stands on line "
                f"{first[one.portion]} already."
            )
        first.setdefault(one.portion, one.line)
    return wrong


def _more(count: int) -> list[str]:
    return [f"And {count} more lines like these."] if count > 0 else []
