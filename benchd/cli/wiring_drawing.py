"""The drawings of the wiring page, made from the board's table of pins: pure, text in, lines out.

No pin's number, port or name is written here; what the table says is what is drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from protocols.pins import ANALOG, CONTACT, FREE, LEVEL, OUTPUT, SERIAL, BoardPin

WIDTH = 76
"""Columns of a drawing: a page of 80 indents it by 4."""

PULL_DOWN = "10k"
READING_PULL_DOWN = "100k"


class Wired(NamedTuple):
    """Where the wire of a pin leads: the device in a drawing's few words, then in full; the pin's
    level while nothing moves, and what follows when the wire comes off."""

    device: str
    to: str
    safe: str
    off: str

    @property
    def closed(self) -> bool:
        """Whether a contact is closed while the bench is at rest."""
        return self.safe.startswith("low")


Wiring = dict[str, Wired]


class Kind(NamedTuple):
    """What all pins of a kind share: a heading, and a word beside the pin."""

    title: str
    word: str


KINDS: dict[str, Kind] = {
    CONTACT: Kind("contacts to GND, pulled up in the chip", "contact"),
    ANALOG: Kind(f"readings, 0 to 5 V; + is {READING_PULL_DOWN} to GND", "reading"),
    LEVEL: Kind("levels, 0 or 5 V, driven both ways by the sensor", "level"),
    OUTPUT: Kind(f"outputs, 0 or 5 V; + is {PULL_DOWN} to GND, at the device", "output"),
    FREE: Kind("kept free: nothing reads or drives them so far", "free"),
    SERIAL: Kind("the line to the host, over the board's USB", "line"),
}
"""The kinds of the table, in the order in which a bench is drawn."""


def port_name(row: BoardPin) -> str:
    """Return the chip's own name of a pin, such as PD2."""
    return f"P{row.port}{row.bit}"


def pin(rows: Iterable[BoardPin], name: str) -> str:
    """Return the label of what a pin carries, such as D2 for the guard."""
    return next(row.label for row in rows if row.name == name)


def header(rows: Sequence[BoardPin]) -> list[str]:
    """Return the board from above: its two rows of pins, each with what it carries."""
    left = [_left(row) for row in rows if row.label.startswith("A")]
    right = [_right(row) for row in reversed(rows) if not row.label.startswith("A")]
    left = [f"{'measure it first':>22}   5V", f"{'ground of all signals':>22}  GND", *left]
    left = [""] * (len(right) - len(left)) + left
    edge = f"{'':27}.---- USB ----."
    inside = " " * 13
    return [
        edge,
        f"{'':27}|{inside}| GND",
        *(f"{one:>26} |{inside}| {other}" for one, other in zip(left, right, strict=True)),
        f"{'':27}'{'-' * 13}'",
    ]


def _left(row: BoardPin) -> str:
    return f"{KINDS[row.kind].word:>7} {row.name:>9} {port_name(row):>4} {row.label:>3}"


def _right(row: BoardPin) -> str:
    return f"{row.label:<3} {port_name(row):<4} {row.name:<9} {KINDS[row.kind].word}"


def bench(rows: Sequence[BoardPin], wiring: Wiring) -> list[str]:
    """Return a bench at rest with these pins: the board on the left, its devices on the right."""
    edge = f" .{'-' * 12}."
    lines = [edge]
    for kind, about in KINDS.items():
        mine = [row for row in rows if row.kind == kind]
        if not mine:
            continue
        lines.append(f" |{'':12}|  {about.title}")
        lines += [
            f" |  {row.label:>3}  {port_name(row):>4} |{_symbol(row, wiring)} {row.name}: "
            f"{wiring[row.name].device}"
            for row in mine
        ]
    return [*lines, edge.replace(".", "'")]


def _symbol(row: BoardPin, wiring: Wiring) -> str:
    symbols = {
        CONTACT: "<---o--o--- GND " if wiring[row.name].closed else "<---o  o--- GND ",
        ANALOG: "<---+---------- ",
        LEVEL: "<--------------- ",
        OUTPUT: ">---+---------> ",
        SERIAL: "<=============> ",
        FREE: "                ",
    }
    return symbols[row.kind]


def contact() -> list[str]:
    """Return one contact's circuit."""
    return [
        "        5 V in the chip",
        "         |",
        "       [20k to 50k in the chip]",
        "         |",
        "  pin ---+---------------o--o----- GND",
    ]


def named(rows: Sequence[BoardPin], wiring: Wiring) -> list[str]:
    """Return which contacts are closed and which are open while the bench is at rest."""
    contacts = [row for row in rows if row.kind == CONTACT]
    lines = []
    for words, closed in (("closed at rest", True), ("open at rest", False)):
        mine = [f"{r.label} {r.name}" for r in contacts if wiring[r.name].closed is closed]
        lines.append(f"  {words + ':':<16}{', '.join(mine)}")
    return lines


def coil(rows: Sequence[BoardPin]) -> list[str]:
    """Return the circuit of the valve's coil."""
    return [
        "                     +-------+------ + 24 V, fused, through K",
        "                     |       |",
        "                  [coil]  [suppressor: diode, band to +]",
        "                     |       |",
        "                     +-------+",
        "                     |",
        f"  {pin(rows, 'valve'):>3} --[1k]--+-->[switch: logic-level MOSFET]",
        f"            [{PULL_DOWN}]    |",
        "  GND --------+------+-------------- 0 V",
    ]


def driver(rows: Sequence[BoardPin]) -> list[str]:
    """Return the circuits of the driver's inputs, and that of an enable which is on while low."""
    step, direction, drive = (pin(rows, name) for name in ("step", "direction", "drive"))
    return [
        f"  {step} step, {direction} direction, {drive} drive to an enable that is on while HIGH:",
        "",
        "  pin --------+-------- input of the driver",
        f"            [{PULL_DOWN}]",
        "  GND --------+-------- its signal ground",
        "",
        f"  {drive} drive to an enable that is on while LOW:",
        "",
        "                     +----------- + of the driver's logic supply",
        "                   [10k]",
        "                     +----------- enable of the driver",
        f"  {drive:>3} --[10k]--+-->[switch: NPN transistor]",
        "             [47k]   |",
        "  GND ---------+-----+----------- its signal ground",
    ]


def chain(rows: Sequence[BoardPin]) -> list[str]:
    """Return the chain that cuts motor, valve and air by wire, and what the board sees of it."""
    stop, guard, valve, drive = (pin(rows, n) for n in ("stop", "guard", "valve", "drive"))
    return [
        "  24 V --[fuse]--+-- STOP o--o -- GUARD o--o -- ( K ) -- 0 V",
        "                 |",
        "                 +--[K]--+-- dump valve: without power it vents the air",
        f"                         +-- valve coil, switched by {valve}",
        "",
        f"  motor supply --[fuse]--[K]-- stepper driver, enabled by {drive}",
        "",
        "  second contacts, free of voltage, for the board to see:",
        f"                 GND -- STOP o--o -- {stop}      GND -- GUARD o--o -- {guard}",
        "",
        "  host -- USB -- board: 5 V of its own, stays on and says what happened",
    ]
