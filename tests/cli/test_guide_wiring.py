"""`benchd guide wiring`: every pin stands on it with all that a fitter asks, the drawings follow
the table that the firmware is built from, and a lost wire does in the firmware what the page says.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml

from benchd.cli import guide_pages, guide_text, wiring_drawing
from benchd.cli.cautions import GENERAL
from benchd.cli.guide_wiring import SMALLEST, WIRING, drawings, wiring_page
from benchd.cli.wiring_drawing import port_name
from benchd.config.bench_keys import SIGNALS
from protocols.codes import INTERLOCKS, PIN
from protocols.messages import Move, Run
from protocols.pins import BOARD_PINS, CONTACT, FREE, OUTPUT, SERIAL, BoardPin
from sim.board import SAFE_PINS
from tests.cli.conftest import Outcome
from tests.firmware.talk import Talk

PAGE = wiring_page()
PLAIN = " ".join(PAGE.split())
EXAMPLES = Path(guide_pages.__file__).parents[1] / "examples"
INDEX = guide_pages.index()


def test_both_tables_have_the_same_pins() -> None:
    assert set(WIRING) == {row.name for row in BOARD_PINS}


@pytest.mark.parametrize("row", BOARD_PINS, ids=lambda row: row.label)
def test_a_pin_stands_with_number_port_device_level_and_what_a_lost_wire_does(
    row: BoardPin,
) -> None:
    found = guide_pages.find(row.label, INDEX)
    (entry,) = (one.entry for one in found if one.topic == "wiring")
    assert entry.terms == (row.label, port_name(row), row.name)
    (block,) = entry.blocks
    heads, cells = block.rows
    assert heads == ("pin", "wired to", "safe level", "when the wire comes off")
    assert len(cells) == 4
    assert all(len(cell) > 2 for cell in cells)
    for word in (row.label, port_name(row), row.name):
        assert f"`{word}`" in cells[0]
    if row.kind == FREE:
        assert row.meaning in cells[1]


@pytest.mark.parametrize("row", BOARD_PINS, ids=lambda row: row.label)
def test_a_pin_stands_in_the_drawings_once_each(row: BoardPin) -> None:
    made = drawings(BOARD_PINS)
    for name in ("draw_board", "draw_full"):
        lines = [line for line in made[name] if re.search(rf"\b{row.label}\b", line)]
        assert len(lines) == 1, (name, lines)
        assert port_name(row) in lines[0]
        assert row.name in lines[0]


def test_the_drawings_follow_the_table() -> None:
    swapped = {"valve": ("D12", "B", 4), "leaving": ("D10", "B", 2), "guard": ("D5", "D", 5),
               "far": ("D2", "D", 2)}  # fmt: skip
    rows = sorted(
        (
            row._replace(**dict(zip(("label", "port", "bit"), swapped[row.name], strict=True)))
            if row.name in swapped
            else row
            for row in BOARD_PINS
        ),
        key=lambda row: (row.label[0] == "A", int(row.label[1:])),
    )
    before, after = drawings(BOARD_PINS), drawings(rows)
    assert [name for name in before if before[name] == after[name]] == ["draw_driver"]
    assert any("D12   PB4 |>" in line and "valve" in line for line in after["draw_full"])
    assert any(line.startswith("  D12 --[1k]") for line in after["draw_coil"])
    assert any("GUARD o--o -- D5" in line for line in after["draw_chain"])
    assert "D12 drives no coil by itself" in " ".join(wiring_page(rows).split())
    assert "take the wires of D5, D3, D4, D2 and D6 off" in " ".join(wiring_page(rows).split())


def test_drawings_fit_and_are_plain() -> None:
    for name, lines in drawings(BOARD_PINS).items():
        for line in lines:
            assert len(line) <= wiring_drawing.WIDTH, (name, line)
            assert line.isascii()
            assert line == line.rstrip()


def test_contacts_are_drawn_as_they_are_at_rest() -> None:
    for row in BOARD_PINS:
        wired = WIRING[row.name]
        if row.kind == CONTACT:
            assert wired.closed == bool(SAFE_PINS >> PIN[row.name] & 1), row
            stops = row.name in ("guard", "stop", "ends")
            assert ("opens" in wired.to) == stops == ("opens" in row.meaning), row
        elif row.kind == OUTPUT:
            assert wired.safe.startswith("low") or row.name == "direction"


def test_the_smallest_bench_is_that_of_its_card() -> None:
    card = yaml.safe_load((EXAMPLES / "smallest.yaml").read_text())
    wanted = {name for name, part in SIGNALS.items() if part in card["fitted"]}
    assert set(SMALLEST) == wanted
    lines = "\n".join(drawings(BOARD_PINS)["draw_smallest"])
    for row in BOARD_PINS:
        drawn = re.search(rf"\b{row.label}\b", lines) is not None
        always = row.kind in (OUTPUT, SERIAL) and row.name != "leaving"
        assert drawn == (row.name in wanted or always), row


# What a lost wire does.


def named(name: str) -> list[int]:
    """The interlocks that the page names for a lost wire, in order."""
    return [int(number) for number in re.findall(r"IL-(\d\d)", WIRING[name].off)]


def test_every_interlock_on_the_page_exists() -> None:
    codes = {row.code for row in INTERLOCKS}
    assert set(re.findall(r"IL-\d\d", PAGE)) <= codes


@pytest.mark.parametrize("name", ["guard", "stop", "ends"])
def test_a_lost_wire_of_what_stops_trips_at_once(name: str) -> None:
    talk = Talk().wake()
    talk.move(0, 5000)
    talk.run(300)
    talk.pin(name, False)
    assert talk.moved().reason == 3
    assert talk.trips() == named(name)
    assert talk.is_on("drive") == (name not in ("stop", "guard"))


def test_a_lost_wire_of_home_stops_the_feed_or_refuses_it() -> None:
    talk = Talk().wake()
    talk.move(0, 5000)
    talk.run(300)
    talk.pin("home", False)
    assert talk.moved().reason == 3
    assert talk.trips() == named("home")[:1] == [5]
    at_rest = Talk().wake()
    at_rest.pin("home", False)
    assert at_rest.refused(Move, 0, 5000, 2000, at_rest.beat().nonce)[0] == named("home")[1] == 4


def lost_for_good(talk: Talk, name: str) -> None:
    """Let a switch of the cutter read as off from now on."""
    show = talk.pin

    def pin(which: str, on: bool) -> None:
        show(which, on and which != name)

    talk.pin = pin  # type: ignore[method-assign]
    show(name, False)


@pytest.mark.parametrize(("name", "trips"), [("far", 6), ("home", 7)])
def test_a_lost_wire_of_a_cutter_switch_shows_in_the_cut(name: str, trips: int) -> None:
    talk = Talk().wake()
    talk.plan()
    talk.eye(True)
    talk.start()
    talk.until(lambda: talk.board.valve_on)
    lost_for_good(talk, name)
    talk.ended()
    assert talk.trips() == [trips]
    assert trips in named(name)


def test_a_lost_wire_of_a_local_switch_ends_its_move() -> None:
    for name in ("forward", "reverse"):
        talk = Talk().wake()
        talk.pin(name, True)
        talk.run(300)
        before = talk.board.steps
        assert before != 0
        talk.pin(name, False)
        assert talk.moved().reason == 8
        assert "the feed stops" in WIRING[name].off


def test_a_lost_wire_of_thrust_or_air_is_too_much() -> None:
    talk = Talk().wake()
    talk.wire_off(1)
    talk.move(0, 5000)
    talk.moved()
    assert talk.trips() == named("thrust")
    air = Talk().wake()
    air.plan()
    air.wire_off(2)
    assert air.refused(Run, 7, 0, air.beat().nonce)[0] == named("air")[0]


@pytest.mark.parametrize(("direction", "sign"), [(0, -1), (1, 1)])
def test_a_lost_direction_wire_reverses_or_pushes_as_the_page_says(
    direction: int, sign: int
) -> None:
    """With the line held low the motor turns as it does when the board makes the line low."""
    talk = Talk(direction=direction).wake()
    talk.move(0, -3000)
    talk.until(lambda: abs(talk.board.steps) > 100)
    level_in_reverse = 1 if talk.board.steps > 0 else 0
    assert level_in_reverse == direction
    # Held low, a move in reverse goes in reverse only if low is its level.
    goes = -1 if level_in_reverse == 0 else 1
    assert goes == sign
    words = {-1: "reverse with `direction: normal`", 1: "FORWARD with `reversed`"}
    assert words[sign] in WIRING["direction"].off


# What the page says around the pins.


def test_it_defers_and_says_that_no_board_was_there() -> None:
    assert GENERAL in PAGE
    assert "No physical board was available when this was written" in PLAIN
    assert "Nobody has done these yet" in PLAIN
    for word in ("Motor supply off, air shut and vented", "qualified person", "data sheets"):
        assert word in PLAIN


def test_the_first_steps_measure_every_output_before_and_after_a_reset() -> None:
    steps = PLAIN.split("## First on a real board")[1]
    for row in BOARD_PINS:
        if row.kind == OUTPUT:
            assert f"{row.label} ({row.name})" in steps
    for word in ("A meter", "reset button is held", "while the firmware runs", "without power"):
        assert word in steps


def test_what_must_cut_is_said_for_each_cause() -> None:
    rows = next(block for block in guide_text.parse(PAGE) if block.kind == "table").rows
    assert rows[0] == ("opens", "motor", "valve", "air", "the board")
    assert [row[0] for row in rows[1:]] == ["emergency stop", "guard", "power fails"]
    assert {row[1:4] for row in rows[1:]} == {("off", "off", "dumped")}


def test_every_value_of_the_sources_names_one() -> None:
    known = "data sheet|same|common practice|specification|measured|computed"
    for row in [block for block in guide_text.parse(PAGE) if block.kind == "table"][-1].rows[1:]:
        assert re.search(known, row[1]), row


@pytest.mark.slow
def test_the_page_is_read_by_name_and_a_pin_by_its_label(
    benchd: Callable[..., Outcome],
) -> None:
    assert benchd("guide", "wiring").out.startswith("Wiring\n======\n")
    shown = benchd("guide", "wiring", "D10").out
    assert shown.startswith("[wiring]\nD10 PB2 valve\n    wired to: ")
    assert "    when the wire comes off: the resistor holds the valve off" in shown
