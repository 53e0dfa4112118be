"""Named faults that a simulated bench can be told to have, each at one portion or at a rate.

A fault is written `NAME@PORTION` or `NAME@PORTION:SEVERITY`, for example `void@7` or
`lost-steps@12:0.3`; with a rate in place of the portion, for example `void@5%`, each portion has it
by that chance. The table `KINDS` says what each one does, in which unit its severity counts,
and which cause of misfire (`MC-nn`) or interlock (`IL-nn`) it should make visible. This module only
describes; `sim.plant` acts.
"""

from __future__ import annotations

import difflib
import math
import random
from collections.abc import Iterable
from dataclasses import dataclass, replace


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
    "casing-film": FaultKind(
        "The tube's film crumples into the dough, which flows so many times harder from here on.",
        "times",
        2.0,
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
    "worn-coat": FaultKind(
        "The blade's coat is worn, and dough sticks at so many times the speed from here on.",
        "times",
        3.5,
        (1.0, 20.0),
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
    "leak": FaultKind(
        "Dough gets past the plunger from this portion on, so much at 100 kPa.",
        "cm3/s",
        0.5,
        (0.0, 10.0),
        ("MC-03",),
    ),
    "springback": FaultKind(
        "The screw ran back this far before the portion.",
        "mm",
        0.5,
        (0.0, 5.0),
        ("MC-05",),
    ),
    "weak-draw-back": FaultKind(
        "The motor misses this share of the portion's reverse steps.",
        "fraction",
        1.0,
        (0.0, 1.0),
        ("MC-06",),
    ),
    "backlash": FaultKind(
        "The screw has this much lost motion at each reversal from this portion on.",
        "mm",
        0.5,
        (0.0, 5.0),
        ("MC-08",),
    ),
    "frame-yield": FaultKind(
        "A fastener gives way in the push and the barrel grows by this much.",
        "cm3",
        6.0,
        (0.0, 50.0),
        ("MC-09", "IL-12"),
    ),
    "rolled": FaultKind(
        "This share of the piece rolls off and lies with the next one.",
        "fraction",
        1.0,
        (0.0, 1.0),
        ("MC-30",),
    ),
    "hard-lump": FaultKind(
        "The blade meets this much force over 4 mm and gets through it, or does not.",
        "N",
        20.0,
        (0.0, 500.0),
        ("MC-12",),
    ),
    "needle-open": FaultKind(
        "The needles let through this many times as much from this portion on.",
        "times",
        3.0,
        (1.0, 20.0),
        ("MC-14",),
    ),
    "air-dump": FaultKind(
        "The cylinder's air was let out before the stroke, which finds no cushion.",
        "fraction",
        1.0,
        (0.0, 1.0),
        ("MC-15",),
    ),
    "needle-shut": FaultKind(
        "Needle or hose of the way out lets through this many times less from this portion on.",
        "times",
        1.5,
        (1.0, 20.0),
        ("MC-17",),
    ),
    "warm-dough": FaultKind(
        "The dough is this much warmer from this portion on.",
        "K",
        8.0,
        (0.0, 30.0),
        ("MC-18",),
    ),
    "cold-dough": FaultKind(
        "The dough is this much colder from this portion on.",
        "K",
        8.0,
        (0.0, 30.0),
        ("MC-18", "MC-01"),
    ),
    "rising-dough": FaultKind(
        "The dough's gas grows by this share a minute from this portion on.",
        "fraction",
        0.05,
        (0.0, 1.0),
        ("MC-19",),
    ),
    "light-tube": FaultKind(
        "The dough of a tube that is put in just before this portion is lighter by this share.",
        "fraction",
        0.03,
        (-0.3, 0.3),
        ("MC-19",),
    ),
    "ambient-light": FaultKind(
        "A lamp adds this share of the eye's span, flickering, from this portion on.",
        "fraction",
        0.3,
        (0.0, 2.0),
        ("MC-21",),
    ),
    "eye-moved": FaultKind(
        "The eye stands this much further from the strand from this portion on.",
        "mm",
        4.0,
        (0.0, 30.0),
        ("MC-20",),
    ),
    "driver-heat": FaultKind(
        "The hot driver cuts out early in the push for this long and lets its screw go.",
        "s",
        1.0,
        (0.0, 60.0),
        ("MC-24",),
    ),
    "two-on-pan": FaultKind(
        "So many pieces lie on the scale at once.",
        "pieces",
        2.0,
        (1.0, 5.0),
        ("MC-28",),
    ),
    "residue": FaultKind(
        "So much dough is left on the pan when the piece is weighed.",
        "g",
        2.0,
        (0.0, 50.0),
        ("MC-28",),
    ),
    "tare": FaultKind(
        "The pan was not zeroed, so the scale shows this much more.",
        "g",
        5.0,
        (-50.0, 50.0),
        ("MC-28",),
    ),
    "swapped-weights": FaultKind(
        "The person types this weight and the next one the wrong way round.",
        "fraction",
        1.0,
        (0.0, 1.0),
        ("MC-28",),
    ),
    "missed-weight": FaultKind(
        "The person types no weight for this portion.",
        "fraction",
        1.0,
        (0.0, 1.0),
        ("MC-28",),
    ),
    "mistyped-weight": FaultKind(
        "The person types so many times the weight.",
        "times",
        10.0,
        (0.01, 100.0),
        ("MC-28",),
    ),
    "warming-dough": FaultKind(
        "The dough warms by this much a minute from this portion on.",
        "K",
        0.5,
        (-30.0, 30.0),
        ("MC-18",),
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
    """The faults a simulated bench will have. Empty means a sound bench.

    planned: faults at their portions. rates: faults whose portion is 0, each with the chance of a
    portion to have it. salt: what chance starts from; the same salt gives the same portions.
    """

    planned: tuple[Fault, ...] = ()
    rates: tuple[tuple[Fault, float], ...] = ()
    salt: int = 0

    @classmethod
    def parse(cls, texts: Iterable[str], salt: int = 0) -> Faults:
        """The faults written as `NAME@PORTION`, `NAME@RATE%`, each also with `:SEVERITY`.

        Raises ValueError with one sentence for people where a text is not understood.
        """
        read = [_parse(text) for text in texts]
        planned = tuple(fault for fault, chance in read if chance == 0.0)
        return cls(planned, tuple(one for one in read if one[1] > 0.0), salt)

    def of(self, portion: int) -> tuple[Fault, ...]:
        """This portion's faults, planned and by chance; none before portion 1."""
        if portion < 1:
            return ()
        drawn = tuple(
            replace(fault, portion=portion)
            for number, (fault, chance) in enumerate(self.rates)
            # A generator of its own for each draw, so that asking twice gives the same.
            if random.Random(f"{self.salt} {number} {portion}").random() < chance
        )
        return drawn + tuple(fault for fault in self.planned if fault.portion == portion)

    def at(self, portion: int) -> dict[str, float]:
        """Severity by name of this portion's faults; the later of two with one name holds."""
        return {fault.name: fault.severity for fault in self.of(portion)}


def parse_fault(text: str) -> Fault:
    """The fault written as `NAME@PORTION` or `NAME@PORTION:SEVERITY`; portion 0 for one at a rate.

    Without severity it is the usual one of its kind. Raises ValueError with one sentence for
    people: what was wrong and what would be right.
    """
    return _parse(text)[0]


def _parse(text: str) -> tuple[Fault, float]:
    """The fault and the chance of each portion to have it, 0 for one tied to a portion."""
    name, _, rest = text.strip().partition("@")
    kind = KINDS.get(name)
    if kind is None:
        near = difflib.get_close_matches(name, KINDS, n=1, cutoff=0.0)[0]
        raise ValueError(
            f"No fault is called '{name}'; the nearest is '{near}': write it as '{near}@7'."
        )
    when, _, amount = rest.partition(":")
    number, chance = _when(when)
    if number < 1 and chance == 0.0:
        raise ValueError(
            f"Fault '{text}' has no portion number; "
            f"write it as '{name}@7', counting portions from 1, or by chance as '{name}@5%'."
        )
    return Fault(name, number, _severity(name, kind, amount, ":" in rest)), chance


def _when(text: str) -> tuple[int, float]:
    """Portion and chance as written; 0 and 0 for what is neither."""
    if text.isascii() and text.isdigit():
        return int(text), 0.0
    try:
        percent = float(text[:-1]) if text.endswith("%") else 0.0
    except ValueError:
        return 0, 0.0
    return 0, percent / 100.0 if 0.0 < percent <= 100.0 else 0.0


def _severity(name: str, kind: FaultKind, amount: str, written: bool) -> float:
    if not written:
        return kind.usual
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
    return severity
