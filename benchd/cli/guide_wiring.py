"""The guide's page of wiring: made from the table of pins that the firmware is built from."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files

from benchd.calc.sizing.step_up import coil_current, input_current
from benchd.cli import wiring_drawing as drawing
from benchd.cli.cautions import GENERAL
from benchd.cli.wiring_drawing import Wired, Wiring, port_name
from protocols import limits
from protocols.limits import LIMIT_BY_NAME
from protocols.pins import BOARD_PINS, OUTPUT, SERIAL, BoardPin

SUPPLY_V = 5.0
COIL_W, COIL_V, STEP_UP_SHARE = 4.8, 24.0, 0.85
"""A usual valve's coil, and a usual step-up (common practice)."""
FULL_COUNTS = 1023
_ZERO = LIMIT_BY_NAME["thrust_zero"].start
_ZERO_V = f"{_ZERO * SUPPLY_V / FULL_COUNTS:.1f} V ({_ZERO} counts)"
_OFF_S = f"{limits.DRIVE_OFF_MS / 1000:g} s"
_FREE = Wired("nothing", "nothing so far; meant as what {}", "floats; nothing reads it", "nothing")

WIRING: Wiring = {
    "rx": Wired(
        "USB of the board", "the board's own USB interface, and nothing else",
        "high while nothing is said",
        f"the board hears nothing: what moves ends (IL-18), and {_OFF_S} later the drive loses its "
        "power"),
    "tx": Wired(
        "USB of the board", "the board's own USB interface, and nothing else",
        "high while nothing is said",
        "no beat reaches the host, so no leave to move comes back (IL-18); the screen says NO LINK "
        "(IL-19)"),
    "guard": Wired(
        "second contact of the guard", "a second contact of the guard's switch, free of voltage, "
        "to GND; it opens with the guard", "low: closed, guard shut",
        "reads as open: IL-02, the feed stops within one pulse and the valve goes to rest"),
    "stop": Wired(
        "second contact of the stop", "a second contact of the emergency stop, free of voltage, to "
        "GND; it opens when pressed", "low: closed, not pressed",
        "reads as pressed: IL-01, as with the guard, and the drive loses its power"),
    "home": Wired(
        "cutter's switch at home", "the cutter's end switch at home, to GND; it closes there",
        "low: closed, cutter at home",
        "reads as not at home: IL-05 while the feed steps, else no feed move starts (IL-04); after "
        "a cut IL-07"),
    "far": Wired(
        "cutter's switch at the far end", "the cutter's end switch at the far end, to GND; it "
        "closes there", "high: open, cutter not there",
        "reads as never there: the next cut ends with IL-06"),
    "ends": Wired(
        "both feed ends, in series", "the feed's two end switches in series, to GND; each opens at "
        "its end", "low: closed, feed clear of both",
        "reads as at an end: IL-14, and the feed stops within one pulse"),
    "forward": Wired(
        "switch", "the local forward switch, to GND; it closes when pressed",
        "high: open, not pressed",
        "pressing it does nothing; if it is pressed just then, the feed stops"),
    "step": Wired(
        "step input of the driver", "the driver's step input; its signal ground to GND",
        "low; each rise is one step",
        "the motor stands while the board counts on: no dough comes (IL-09 with an eye), and the "
        "position is wrong until `benchd here 0mm` is said anew"),
    "drive": Wired(
        "enable of the driver", "the driver's enable input, or the switch of its supply",
        "low: off",
        "the resistor holds the drive off: the motor lets go, a screw that does not lock itself "
        "runs back, and the board counts on"),
    "valve": Wired(
        "switch of the valve's coil", "the switch of the valve's coil", "low: off",
        "the resistor holds the valve off: the cutter goes where its valve rests, and no cut comes "
        "(IL-06 with a far switch). Choose a valve that rests at home"),
    "direction": Wired(
        "direction input of the driver", "the driver's direction input; its signal ground to GND",
        "either: that of the last move, low after a start",
        "the resistor holds it low: every move goes one way, reverse with `direction: normal` in "
        "the card but FORWARD with `reversed`, also when pressure is to be relieved (IL-11 with a "
        "thrust sensor, IL-14 with end switches). Swap the two leads of one coil, power off, "
        "rather than use `reversed`"),
    "leaving": Wired(
        "machine downstream", "the input of the machine downstream that a portion leaves for, its "
        "ground to GND", "low: none leaves",
        "the resistor holds it low: the machine downstream hears of no portion. By the programming "
        "header this pin toggles: that machine off first"),
    "drop-eye": Wired(
        "sensor where pieces fall", "the output of a sensor that sees the piece fall, 0 or 5 V, "
        "high while it sees something, driven both ways (the lamp on this pin outweighs a "
        "pull-up) through 470 ohm in line: boot loaders drive this pin themselves for a while at "
        "each reset", "low: nothing falls",
        "the lamp holds it low: no piece is seen to fall"),
    "eye": Wired(
        "dough-presence sensor", "the analog output of the dough-presence sensor",
        "the taught level of no dough",
        "reads 0 counts: no dough where dough reads high (IL-09). Where dough reads low it is "
        "taken for dough (IL-10): put that resistor to 5 V instead"),
    "thrust": Wired(
        "force sensor of the plunger", "the amplifier of the force sensor, its zero at about "
        f"{_ZERO_V}", f"about {_ZERO_V}: no force",
        "reads 0 counts, which no sensor with such a zero gives: too much thrust, IL-11 as soon as "
        "the feed steps forward"),
    "air": Wired(
        "air pressure sensor", f"the air pressure sensor, its zero at about {_ZERO_V}",
        f"about {_ZERO_V}: vented",
        "reads 0 counts, which no sensor with such a zero gives: outside the limits, IL-16 at the "
        "next cut"),
    "reverse": Wired(
        "switch", "the local reverse switch, to GND; it closes when pressed",
        "high: open, not pressed",
        "pressing it does nothing; if it is pressed just then, the feed stops"),
    "button": Wired(
        "button, or ready contact", "the local button, or the ready contact of the machine "
        "downstream, to GND; it closes", "high: open, not pressed",
        "pressing it does nothing; a portion that waits for it is dropped after 60 s"),
    "dump": _FREE._replace(
        to="nothing so far; meant as what {}. The dump valve hangs on the chain of stop and "
        "guard, not on the board"),
}  # fmt: skip
"""What each pin carries to where it is wired."""

SMALLEST = ("eye", "forward", "reverse")
"""What the smallest bench fits beside the host's line and the outputs (smallest.yaml)."""

SOURCES: tuple[tuple[str, str], ...] = (
    ("pull-up of 20 to 50 kohm in the chip", "ATmega328P data sheet, DC characteristics"),
    ("at most -0.5 V to supply + 0.5 V on a pin, and 40 mA through it",
     "same, absolute maximum ratings"),
    ("20 mA of an output", "same, test condition of the output levels"),
    ("low up to 1.5 V, high from 3.0 V (0.3 and 0.6 of 5 V)", "same, DC characteristics"),
    ("reading from a source of at most 10 kohm", "same, analog-to-digital converter"),
    ("chip's own reference of 1.0 to 1.2 V", "same, system and reset characteristics"),
    ("16 MHz from 3.8 V up, between 10 MHz at 2.7 V and 20 MHz at 4.5 V; brown-out at 4.3 V",
     "same, speed grades and fuses"),
    ("115200 is 2.1 % fast at 16 MHz, 250000 exact", "same, table of baud rates"),
    ("500 mA from a USB port, once granted", "USB 2.0 specification, section 7.2.1"),
    ("resistors of 1k, 10k, 47k and 100k; a diode across a coil; one common ground point",
     "common practice"),
    ("an opening seen up to 0.5 ms later", "computed: 50 kohm loads 10 nF to 3 V in 0.46 ms"),
    ("drivers want pulses of 1 to 2.5 us", "common practice; the driver's data sheet decides"),
    ("boot loaders wait up to 2 s and blink D13", "common practice"),
    ("at most one pulse, or 3 us, after guard or stop opened; pulses of at least 2.5 us",
     "measured on this firmware's machine code in a simulator of the chip, which starts an "
     "interrupt some 0.5 us sooner than silicon"),
)  # fmt: skip
"""Each value on the page, and where it comes from."""


def wiring_page(rows: Sequence[BoardPin] = BOARD_PINS) -> str:
    """Return the page of wiring: the prose of guide/wiring.md with what is made from the table."""
    text = (files("benchd") / "guide" / "wiring.md").read_text("utf-8")
    coil_a = coil_current(COIL_W, voltage_v=COIL_V)
    from_logic_a = input_current(COIL_W, supply_v=SUPPLY_V, efficiency=STEP_UP_SHARE)
    return text.format_map(
        {row.name: row.label for row in rows}
        | {name: _code(lines) for name, lines in drawings(rows).items()}
        | {
            "general": GENERAL,
            "pin_table": pin_table(rows),
            "sources": "".join(f"| {value} | {source} |\n" for value, source in SOURCES),
            "outputs": ", ".join(f"{r.label} ({r.name})" for r in rows if r.kind == OUTPUT),
            "drive_off": _OFF_S,
            "lease": f"{LIMIT_BY_NAME['lease_ms'].start / 1000:g} s",
            "supply_min": f"{LIMIT_BY_NAME['supply_min'].start / 1000:g} V",
            "coil": f"{COIL_W:g} W takes {coil_a:.1f} A at {COIL_V:g} V, but {from_logic_a:.1f} A "
            f"from {SUPPLY_V:g} V at {STEP_UP_SHARE:.0%}".replace("%", " %"),
        }
    )


def drawings(rows: Sequence[BoardPin]) -> dict[str, list[str]]:
    """Return every drawing of the page by its name."""
    smallest = [
        row
        for row in rows
        if row.kind == SERIAL
        or row.name in SMALLEST
        or (row.kind == OUTPUT and row.name != "leaving")
    ]
    return {
        "draw_board": drawing.header(rows),
        "draw_smallest": drawing.bench(smallest, WIRING),
        "draw_full": drawing.bench(rows, WIRING),
        "draw_chain": drawing.chain(rows),
        "draw_contact": [*drawing.contact(), "", *drawing.named(rows, WIRING)],
        "draw_coil": drawing.coil(rows),
        "draw_driver": drawing.driver(rows),
    }


def pin_table(rows: Sequence[BoardPin]) -> str:
    """Return the table of pins."""
    lines = ["| pin | wired to | safe level | when the wire comes off |", "|---|---|---|---|"]
    for row in rows:
        wired = WIRING[row.name]
        lines.append(
            f"| `{row.label}` `{port_name(row)}` `{row.name}` | {wired.to.format(row.meaning)} | "
            f"{wired.safe} | {wired.off} |"
        )
    return "\n".join(lines)


def _code(lines: Sequence[str]) -> str:
    return "\n".join(("```", *lines, "```"))
