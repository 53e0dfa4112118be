"""From the lines of a scale to weights: one for each piece, and only what has settled.

A piece is weighed once: after its weight the pan must be empty before another is taken. Where lines
come only when somebody presses the scale's key, each line is a weight.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from benchd.core.weighing import OUNCE_KG

UNITS_KG = {"g": 1e-3, "kg": 1.0, "oz": OUNCE_KG, "lb": 16 * OUNCE_KG}
"""Source: NIST Special Publication 811 (2008); a pound is 16 ounces."""

LINE_MAX = 200
"""Bytes beyond which a line is none; what follows up to its end is dropped."""

SETTLED_NS = 1_000_000_000
STILL_LEAST = 3
"""A reading has settled that was the same for so long, in at least so many lines: for scales that
do not say it themselves (common practice)."""


class Reading(NamedTuple):
    """One line of a scale. settled: None where its lines do not say."""

    mass_kg: float
    settled: bool | None
    text: str


class Weight(NamedTuple):
    """A weight to be taken, with the line that said it."""

    mass_kg: float
    text: str


def read_line(line: str, pattern: re.Pattern[str], unit: str) -> Reading | None:
    """Return what a line says; None when it is no reading.

    Parameters:  line : without its end. pattern : with groups mass, and unit and settled if the
        lines tell them; a group settled that took no part in a match says "not settled". unit : of
        lines that name none
    """
    found = pattern.search(line)
    if found is None:
        return None
    parts = found.groupdict()
    digits = (parts["mass"] or "").replace(" ", "").replace(",", ".")
    factor = UNITS_KG.get((parts.get("unit") or unit).strip().lower())
    try:
        mass = float(digits)
    except ValueError:
        return None
    if factor is None or mass - mass != 0 or not digits.isascii() or "_" in digits:
        return None
    settled = None if "settled" not in parts else bool(parts["settled"])
    return Reading(mass * factor, settled, " ".join(line.split()))


class Lines:
    """Bytes into lines; a line that is too long, or is no ASCII, is none."""

    def __init__(self) -> None:
        self._rest = b""

    def take(self, data: bytes) -> list[str]:
        """Return the lines that are complete with these bytes, without their ends."""
        *whole, rest = re.split(rb"[\r\n]+", self._rest + data)
        # What is too long is kept short, and so can never be mistaken for a line.
        self._rest = rest[: LINE_MAX + 1]
        return [line.decode() for line in whole if 0 < len(line) <= LINE_MAX and line.isascii()]


class Pan:
    """What lies on the pan, by reading after reading.

    once: whether each reading is a weight. least_kg: below it the pan is empty. step_kg: the
    scale's smallest step; readings no further apart are the same.
    """

    def __init__(self, *, once: bool, least_kg: float, step_kg: float) -> None:
        self._once = once
        self._least_kg = least_kg
        self._step_kg = step_kg
        self._waits_for_empty = False
        self._still: tuple[float, int, int] | None = None
        """Reading that has lasted, since when [ns], and in how many lines."""

    def take(self, reading: Reading, t_ns: int) -> Weight | None:
        """Return the weight that is complete with this reading, if one is."""
        if reading.mass_kg < self._least_kg:
            self._waits_for_empty, self._still = False, None
            return None
        if not self._settled(reading, t_ns) or (self._waits_for_empty and not self._once):
            return None
        self._waits_for_empty = True
        return Weight(reading.mass_kg, reading.text)

    def forget(self) -> None:
        """Start again after the line was away: what lies on the pan may have been taken."""
        self._waits_for_empty, self._still = True, None

    def _settled(self, reading: Reading, t_ns: int) -> bool:
        if reading.settled is not None:
            return reading.settled
        if self._once:
            return True
        if self._still is None or abs(reading.mass_kg - self._still[0]) > 1.01 * self._step_kg:
            self._still = (reading.mass_kg, t_ns, 1)
            return False
        mass_kg, since_ns, lines = self._still
        self._still = (mass_kg, since_ns, lines + 1)
        return lines + 1 >= STILL_LEAST and t_ns - since_ns >= SETTLED_NS
