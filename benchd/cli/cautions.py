"""Cautions shown before something moves. They defer to makers, local codes and qualified people."""

from __future__ import annotations

GENERAL = (
    "This tool does not make the bench safe. Follow the component makers' instructions, local "
    "codes and a qualified person's advice for mains wiring, pressure equipment, guarding and "
    "food business rules."
)
STORED = (
    "Stored force: a filled barrel is a loaded spring. Relieve it, wait, then open, and stand "
    "aside. Never chase a blockage with more force."
)
BLADE = (
    "Blade: it cuts at any air pressure. Guard fixed or interlocked; no hands near it with air on."
)
AIR = (
    "Air stays after power is off: close, vent, gauge at zero. The first stroke after venting is "
    "fast and throws: stand clear."
)
PINCH = (
    "Pinch: plunger and screw move on a remote key. Power off before reaching in; no loose "
    "sleeves or hair."
)
ELECTRIC = (
    "Electricity: mains parts by a qualified person; never plug motor leads live; unplug before "
    "wet cleaning."
)
STOP = (
    "Emergency stop: it must cut motor power and dump the air by wire. A key on a keyboard is no "
    "emergency stop."
)
RAW = "Raw dough: do not taste; keep it cold; bake fully; wash hands and all parts."
ALONE = "Do not leave a series running alone. Keep children and pets out."
SHEET = (
    "This sheet computes; it proves nothing. What it rests on is as good as what was measured, and "
    "makers' ratings stand above it."
)

LOADER = (
    "While the board is written its pins float: nothing but a resistor at each driver holds motor "
    "and valve off, and no interlock of the board watches. Motor supply off, air shut and vented."
)

BARE = (
    "This run is for a bare board: it tells the board that no sensor is fitted, so that guard, "
    "emergency stop and end switches are not watched, and then steps, switches the valve and "
    "powers the drive many times. Unplug the drivers of motor and valve from the board first."
)

CAUTIONS: dict[str, tuple[str, ...]] = {
    "serve": (GENERAL, STOP, STORED, BLADE, AIR, PINCH, ELECTRIC, RAW, ALONE),
    "jog": (PINCH, STORED),
    "relieve": (PINCH, STORED),
    "portion": (STORED, BLADE, RAW),
    "series": (STORED, BLADE, RAW, ALONE),
    "cut": (BLADE, AIR),
    "tube": (STORED, PINCH),
    "size": (GENERAL, SHEET),
    "conform": (GENERAL, BARE, STOP, STORED),
    "flash": (GENERAL, LOADER, STOP, STORED),
}
"""Command to what it shows."""
