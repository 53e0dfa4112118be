"""What is known of one portion, and the table of the signals that are held against good ones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import msgspec

NORMAL, COMPLETE = "normal", "complete"
MASS = "mass_kg"


class Seen(msgspec.Struct, frozen=True):
    """One portion as the journal tells it. SI; None where not fitted, not known or not weighed."""

    number: int
    tube: str
    loading: int
    """How manieth tube of the bench this was."""
    index: int
    """How manieth portion of its tube."""
    like: str
    """What portions must share to be compared: dough, aim, recipe, values set by hand."""
    kind: str
    outcome: str
    place: float | None
    """Share of the tube that was used at its end, 0 to 1."""
    signals: dict[str, float | None]
    """By the names in SIGNALS."""
    readings_kg: tuple[float, ...] = ()
    look: str = ""
    bench: str = ""
    events: dict[str, str] = {}
    """What happened with it, by the names in findings.EVENTS, each with its words."""
    tripped_by: str = ""
    """Code of the interlock that ended it early, if one did."""

    @property
    def good(self) -> bool:
        """Whether others may be held against it: normal and complete."""
        return self.kind == NORMAL and self.outcome == COMPLETE

    @property
    def third(self) -> int | None:
        """Third of the tube: 0, 1 or 2."""
        return None if self.place is None else min(int(max(self.place, 0.0) * 3), 2)


class Signal(NamedTuple):
    """A number per portion. part: sensor that gives it, "" for the board itself. floor: least
    difference that counts [SI]; share: the same as a share of what is usual; both are well outside
    what a sound bench shows (common practice)."""

    words: str
    unit: str
    factor: float
    part: str
    floor: float
    share: float = 0.0
    sides: str = "+-"
    """Sides on which it can be odd."""
    early: bool = False
    """Whether it also counts of a portion that ended early."""


SIGNALS: dict[str, Signal] = {
    MASS: Signal("weight", "g", 1e3, "scale", 0.0, 0.04),
    "take_up_s": Signal("take-up", "ms", 1e3, "", 0.02),
    "push_s": Signal("push", "ms", 1e3, "", 0.04),
    "draw_back_s": Signal("draw-back", "ms", 1e3, "", 0.02),
    "settle_s": Signal("settle", "ms", 1e3, "", 0.03),
    "start_delay_s": Signal("cutter start delay", "ms", 1e3, "home", 0.008, 0.3, early=True),
    "stroke_s": Signal("cutter stroke", "ms", 1e3, "far", 0.0, 0.06, early=True),
    "return_delay_s": Signal("cutter return delay", "ms", 1e3, "far", 0.010, 0.3),
    "return_s": Signal("cutter return", "ms", 1e3, "far", 0.0, 0.06),
    "thrust_start_n": Signal("thrust at its start", "N", 1.0, "thrust", 15.0, early=True),
    "thrust_peak_n": Signal("highest thrust", "N", 1.0, "thrust", 15.0, 0.3),
    "thrust_cut_n": Signal("thrust at the cut", "N", 1.0, "thrust", 15.0),
    "gap_m": Signal("gap in the strand", "mm", 1e3, "eye", 0.001, sides="+", early=True),
    "eye_min": Signal("lowest eye level", "counts", 1.0, "eye", 25.0),
    "eye_mean": Signal("mean eye level", "counts", 1.0, "eye", 25.0, 0.08),
    "eye_cut": Signal("eye level at the cut", "counts", 1.0, "eye", 40.0),
    "air_min_pa": Signal("lowest air pressure", "bar", 1e-5, "air", 1.0e4, early=True),
    "air_cut_pa": Signal("air pressure at the cut", "bar", 1e-5, "air", 1.0e4),
    "supply_min_v": Signal("lowest supply", "V", 1.0, "supply", 0.1, sides="-", early=True),
    "late_s": Signal("late start of the portion", "ms", 1e3, "", 0.1, sides="+", early=True),
    "missing_steps": Signal("steps asked but not made", "steps", 1.0, "", 2.0, sides="+"),
    "bad_lines": Signal("damaged lines on the link", "", 1.0, "", 0.5, sides="+", early=True),
}
"""Name of a signal to how it is judged; the order is that of a portion's phases."""


def of_record(record: Mapping[str, Any], strand_per_feed: float) -> dict[str, float | None]:
    """Return the signals of a portion record, weight left out.

    Parameters:  record : as benchd.core.portion_record makes it. strand_per_feed : millimetres of
        strand for one of feed [-]
    Returns:     signals : by name, SI; None where the record has none
    """
    phases, cutter = record.get("phase_s") or {}, record.get("cutter") or {}
    thrust, eye = record.get("thrust_n") or {}, record.get("eye") or {}
    air, gap = record.get("air_pa") or {}, (record.get("eye") or {}).get("gap_m")
    asked, made = record.get("asked_steps"), record.get("made_steps")
    return {
        "take_up_s": phases.get("take-up"),
        "push_s": phases.get("push"),
        "draw_back_s": phases.get("draw-back"),
        "settle_s": phases.get("settle"),
        "start_delay_s": cutter.get("start_delay_s"),
        "stroke_s": cutter.get("stroke_s"),
        "return_delay_s": cutter.get("return_delay_s"),
        "return_s": cutter.get("return_s"),
        "thrust_start_n": thrust.get("start"),
        "thrust_peak_n": thrust.get("peak"),
        "thrust_cut_n": thrust.get("at_cut"),
        "gap_m": None if gap is None else gap * strand_per_feed,
        "eye_min": eye.get("min"),
        "eye_mean": eye.get("mean"),
        "eye_cut": eye.get("at_cut"),
        "air_min_pa": air.get("min"),
        "air_cut_pa": air.get("at_cut"),
        "supply_min_v": (record.get("supply_v") or {}).get("min"),
        "late_s": record.get("late_s"),
        "missing_steps": None if asked is None or made is None else float(asked - made),
        "bad_lines": record.get("bad_lines"),
    }


def only_fitted(seen: Seen, fitted: frozenset[str]) -> Seen:
    """Return a portion without the signals of parts that are not fitted; a weight always stays."""
    return msgspec.structs.replace(
        seen,
        signals={
            name: value
            for name, value in seen.signals.items()
            if SIGNALS[name].part in fitted | {"", "scale"}
        },
    )
