"""The table of the 8-bit board's pins: each pin once, nothing dangerous where it must not be."""

from __future__ import annotations

from protocols.codes import PIN
from protocols.pins import (
    ANALOG,
    BOARD_PINS,
    CONTACT,
    LEVEL,
    OUTPUT,
    header_text,
    of_kind,
    on_ports,
)


def test_every_pin_stands_once() -> None:
    places = [(row.port, row.bit) for row in BOARD_PINS]
    labels = [row.label for row in BOARD_PINS]
    names = [row.name for row in BOARD_PINS]
    assert len(set(places)) == len(set(labels)) == len(set(names)) == len(BOARD_PINS) == 20
    # Labels of common small boards with this chip (common practice).
    assert labels == [f"D{n}" for n in range(14)] + [f"A{n}" for n in range(6)]
    starts = {"D": ("D", 0), "B": ("D", 8), "C": ("A", 0)}
    for row in BOARD_PINS:
        letter, first = starts[row.port]
        assert row.label == f"{letter}{first + row.bit}"


def test_contacts_are_the_pins_of_the_wire() -> None:
    assert {row.name for row in of_kind(CONTACT)} == {
        name for name, bit in PIN.items() if bit <= PIN["button"]
    }
    assert [row.bit for row in of_kind(ANALOG)] == [0, 1, 2]


def test_nothing_that_moves_hangs_on_the_lines_of_a_programmer_or_a_blinking_boot_loader() -> None:
    programming = {("B", 3), ("B", 4), ("B", 5)}
    moves_nothing_here = ("direction", "leaving")
    moving = {(row.port, row.bit) for row in of_kind(OUTPUT) if row.name not in moves_nothing_here}
    assert not moving & programming
    assert {row.kind for row in BOARD_PINS if (row.port, row.bit) == ("B", 5)} == {LEVEL}


def test_all_that_stops_the_feed_changes_on_one_port() -> None:
    watched = [row for row in of_kind(CONTACT) if PIN[row.name] <= PIN["ends"]]
    assert {row.port for row in watched} == {"D"}
    assert on_ports(watched) == {"B": 0, "C": 0, "D": 0x7C}
    assert "#define BENCHD_WATCHED_D 0x7C\n" in header_text()
