"""Which pin of the 8-bit board carries what.

The one table; the firmware's header and the simulator's wiring are made from it, and whatever tells
a person where a wire goes.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from protocols.codes import PIN

CONTACT = "contact"
"""A contact to ground with the chip's pull-up: closed reads low and counts as on."""

ANALOG = "analog"
"""0 to 5 V against the board's own supply."""

OUTPUT = "output"
"""High is on. A resistor to ground at the driver holds it off while the board starts or is gone."""

LEVEL = "level"
"""0 or 5 V, driven both ways by a sensor; high is on. No pull-up: a lamp of the board hangs on the
pin, against which that of the chip is too weak."""

FREE = "free"
"""Kept for this use, and an input that nothing reads so far."""

SERIAL = "serial"


class BoardPin(NamedTuple):
    """One pin: its name on common small boards, port and bit of the chip, kind, what it carries."""

    label: str
    port: str
    bit: int
    kind: str
    name: str
    meaning: str


BOARD_PINS: tuple[BoardPin, ...] = (
    BoardPin("D0", "D", 0, SERIAL, "rx", "bytes from the host"),
    BoardPin("D1", "D", 1, SERIAL, "tx", "bytes to the host"),
    BoardPin("D2", "D", 2, CONTACT, "guard", "guard shut; opens with the guard"),
    BoardPin("D3", "D", 3, CONTACT, "stop", "emergency stop not pressed; opens when pressed"),
    BoardPin("D4", "D", 4, CONTACT, "home", "cutter at home; closes there"),
    BoardPin("D5", "D", 5, CONTACT, "far", "cutter at its far end; closes there"),
    BoardPin("D6", "D", 6, CONTACT, "ends", "feed clear of both ends, in series; opens at either"),
    BoardPin("D7", "D", 7, CONTACT, "forward", "forward switch; closes when pressed"),
    BoardPin("D8", "B", 0, OUTPUT, "step", "one step at each rise"),
    BoardPin("D9", "B", 1, OUTPUT, "drive", "power for the stepper drive"),
    BoardPin("D10", "B", 2, OUTPUT, "valve", "cutter valve"),
    # D11 to D13 are the lines by which a chip is programmed: nothing dangerous hangs on them.
    BoardPin("D11", "B", 3, OUTPUT, "direction", "direction of the feed"),
    BoardPin("D12", "B", 4, OUTPUT, "leaving",
             "tells the machine downstream that a portion leaves: from the end of its cut until "
             "the cutter is home"),
    # Common boot loaders blink D13: never an output that moves something.
    BoardPin("D13", "B", 5, LEVEL, "drop-eye", "sees the portion fall"),
    BoardPin("A0", "C", 0, ANALOG, "eye", "dough-presence sensor"),
    BoardPin("A1", "C", 1, ANALOG, "thrust", "force on the plunger"),
    BoardPin("A2", "C", 2, ANALOG, "air", "air pressure"),
    BoardPin("A3", "C", 3, CONTACT, "reverse", "reverse switch; closes when pressed"),
    BoardPin("A4", "C", 4, CONTACT, "button",
             "local button, or the ready contact of the machine downstream; closes"),
    BoardPin("A5", "C", 5, FREE, "dump", "lets air in; without it the air is dumped"),
)  # fmt: skip
"""Every pin that a common small board with this chip brings out, in the order of its labels."""

PORTS = ("B", "C", "D")


def on_ports(rows: Iterable[BoardPin]) -> dict[str, int]:
    """Return the bits of these pins by port; every port is there."""
    bits = dict.fromkeys(PORTS, 0)
    for row in rows:
        bits[row.port] |= 1 << row.bit
    return bits


def of_kind(kind: str) -> list[BoardPin]:
    """Return the pins of a kind, in order."""
    return [row for row in BOARD_PINS if row.kind == kind]


def _contacts() -> str:
    """Return the expression that gathers the contacts into the wire's order, low as 1 or 0."""
    groups: dict[tuple[str, int], int] = {}
    for row in of_kind(CONTACT):
        shift = PIN[row.name] - row.bit
        groups[row.port, shift] = groups.get((row.port, shift), 0) | 1 << row.bit
    parts = []
    # The port whose change interrupts comes last: what is read last is newest.
    for (port, shift), mask in sorted(groups.items()):
        turn = f"<< {shift}" if shift > 0 else f">> {-shift}"
        parts.append(f"(uint8_t)((uint8_t)(PIN{port} & 0x{mask:02X}) {turn})")
    return " | ".join(parts)


def header_text() -> str:
    """Return the C++ header of the 8-bit board's pins."""
    out = [
        "// Made by protocols/gen.py from protocols/pins.py. Not to be edited.",
        "#ifndef BENCHD_PINS_H",
        "#define BENCHD_PINS_H",
        "",
        "// Pins 0 to 7 in the order of the wire, as they stand: a closed contact reads 0.",
        f"#define BENCHD_CONTACTS ({_contacts()})",
        "",
        "// Each output: its port, its bit.",
    ]
    for row in of_kind(OUTPUT):
        name = row.name.upper()
        out.append(f"#define BENCHD_{name}_PORT PORT{row.port}")
        out.append(f"#define BENCHD_{name}_BIT {row.bit}")
    out += ["", "// Each reading: its channel of the converter."]
    out += [f"#define BENCHD_{row.name.upper()}_CHANNEL {row.bit}" for row in of_kind(ANALOG)]
    for row in of_kind(LEVEL):
        name = row.name.upper().replace("-", "_")
        out += ["", f"// Reads 1 while on: {row.meaning}."]
        out += [f"#define BENCHD_{name}_PINS PIN{row.port}", f"#define BENCHD_{name}_BIT {row.bit}"]
    out += ["", "// Outputs, and contacts with the chip's pull-up, of each port."]
    outputs, contacts = on_ports(of_kind(OUTPUT)), on_ports(of_kind(CONTACT))
    watched = on_ports(row for row in of_kind(CONTACT) if PIN[row.name] <= PIN["ends"])
    for port in PORTS:
        out.append(f"#define BENCHD_OUTPUTS_{port} 0x{outputs[port]:02X}")
        out.append(f"#define BENCHD_CONTACTS_{port} 0x{contacts[port]:02X}")
    analog = on_ports(of_kind(ANALOG))["C"]
    out += [
        f"#define BENCHD_ANALOG_C 0x{analog:02X}",
        "",
        "// Guard, stop, home, far and ends: a change of theirs interrupts.",
        f"#define BENCHD_WATCHED_D 0x{watched['D']:02X}",
        "",
        "#endif",
        "",
    ]
    return "\n".join(out)
