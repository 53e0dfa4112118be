"""Named faults that a simulated bench can be told to have, each tied to one portion number.

A fault is written `NAME@PORTION` or `NAME@PORTION:SEVERITY`, for example `void@7` or
`lost-steps@12:0.3`. The table `KINDS` says what each one does, in which unit its severity counts,
and which cause of misfire (`MC-nn`) or interlock (`IL-nn`) it should make visible. This module only
describes; `sim.plant` acts.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class FaultKind:
    """What a named fault does, the unit of its severity, usual value and range, and its codes."""

    sentence: str
    unit: str
    usual: float
    span: tuple[float, float]
    codes: tuple[str, ...]


KINDS: dict[str, FaultKind] = {
    "lost-steps": FaultKind(
        "The motor misses this share of the portion's forward steps.",
        "fraction",
        0.2,
        (0.0, 1.0),
        ("MC-01",),
    ),
    "void": FaultKind(
        "An air pocket, this big at room pressure, leaves early in the push.",
        "cm3",
        2.5,
        (0.0, 50.0),
        ("MC-02",),
    ),
    "blockage": FaultKind(
        "Dough at the nozzle yields at this multiple until the next portion.",
        "times",
        2.5,
        (1.0, 20.0),
        ("MC-04",),
    ),
    "hang-up": FaultKind(
        "This share of the piece is not cut off and goes with the next one.",
        "fraction",
        0.15,
        (0.0, 1.0),
        ("MC-10",),
    ),
    "stuck-blade": FaultKind(
        "This share of the piece sticks to the blade and falls with the next.",
        "fraction",
        1.0,
        (0.0, 1.0),
        ("MC-11",),
    ),
    "inclusion": FaultKind(
        "Something hard holds the blade this long, then it goes with a lurch.",
        "s",
        0.25,
        (0.0, 10.0),
        ("MC-12",),
    ),
    "cut-stall": FaultKind(
        "The blade stops at this share of its stroke until the valve lets go.",
        "fraction",
        0.4,
        (0.05, 0.9),
        ("MC-12", "IL-06"),
    ),
    "low-air": FaultKind(
        "Air falls to this gauge pressure until the next portion.",
        "bar",
        1.0,
        (0.0, 10.0),
        ("MC-13", "IL-16"),
    ),
    "sticky-valve": FaultKind(
        "The cutter starts this much later than it should, once.",
        "s",
        0.15,
        (0.0, 10.0),
        ("MC-16",),
    ),
    "home-stuck": FaultKind(
        "The blade stops at this share of its way back until the next stroke.",
        "fraction",
        0.3,
        (0.05, 0.95),
        ("MC-16", "IL-07"),
    ),
    "dough-gone": FaultKind(
        "Early in the push all but this share of the dough is lost.",
        "fraction",
        0.0,
        (0.0, 1.0),
        ("IL-09",),
    ),
    "dirty-eye": FaultKind(
        "Dirt covers this share of the eye from this portion on.",
        "fraction",
        0.5,
        (0.0, 1.0),
        ("MC-20",),
    ),
    "smear": FaultKind(
        "A smear on the eye reads as this share of dough from this portion on.",
        "fraction",
        1.0,
        (0.0, 1.0),
        ("MC-22", "IL-10"),
    ),
    "supply-dip": FaultKind(
        "The 5 V supply falls by this much when the valve switches.",
        "V",
        1.2,
        (0.0, 5.0),
        ("MC-23", "IL-29"),
    ),
    "guard-open": FaultKind(
        "The guard stands open for this long early in the push.",
        "s",
        1.0,
        (0.0, 3600.0),
        ("IL-02",),
    ),
}


@dataclass(frozen=True)
class Fault:
    """One fault at one portion: a name from `KINDS`, a portion number from 1, a severity in that
    kind's unit."""

    name: str
    portion: int
    severity: float


@dataclass(frozen=True)
class Faults:
    """The faults a simulated bench will have. Empty means a sound bench."""

    planned: tuple[Fault, ...] = ()

    @classmethod
    def parse(cls, texts: Iterable[str]) -> Faults:
        """The faults written as `NAME@PORTION` or `NAME@PORTION:SEVERITY`.

        Raises ValueError with one sentence for people where a text is not understood.
        """
        return cls(tuple(parse_fault(text) for text in texts))

    def at(self, portion: int) -> dict[str, float]:
        """Severity by name of this portion's faults; the later of two with one name holds."""
        return {fault.name: fault.severity for fault in self.planned if fault.portion == portion}


def parse_fault(text: str) -> Fault:
    """The fault written as `NAME@PORTION` or `NAME@PORTION:SEVERITY`.

    Without severity it is the usual one of its kind. Raises ValueError with one sentence for
    people: what was wrong and what would be right.
    """
    name, _, rest = text.strip().partition("@")
    kind = KINDS.get(name)
    if kind is None:
        near = difflib.get_close_matches(name, KINDS, n=1, cutoff=0.0)[0]
        raise ValueError(
            f"No fault is called '{name}'; the nearest is '{near}': write it as '{near}@7'."
        )
    number, _, amount = rest.partition(":")
    if not (number.isascii() and number.isdigit()) or int(number) < 1:
        raise ValueError(
            f"Fault '{text}' has no portion number; "
            f"write it as '{name}@7', counting portions from 1."
        )
    if not amount and ":" not in rest:
        return Fault(name, int(number), kind.usual)
    try:
        severity = float(amount)
    except ValueError:
        severity = math.nan
    least, most = kind.span
    if not least <= severity <= most:
        raise ValueError(
            f"Severity '{amount}' of fault '{name}' is not usable; "
            f"give a number from {least:g} to {most:g} ({kind.unit}), usually {kind.usual:g}."
        )
    return Fault(name, int(number), severity)
