"""What a plant shows of itself: readings of its sensors, and where all dough is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


class Readings(NamedTuple):
    """What can be measured now.

    eye_counts: 0 to 1023, with noise. thrust_n: force on the plunger [N]. air_pa: air supply, gauge
    [Pa]. supply_v: logic supply [V]. home, far: cutter end switches. feed_end: an end switch of the
    feed is hit. dough_at_nozzle: the truth that the eye tries to see. guard_open: somebody has
    opened the guard.
    """

    eye_counts: int
    thrust_n: float
    air_pa: float
    supply_v: float
    home: bool
    far: bool
    feed_end: bool
    dough_at_nozzle: bool
    guard_open: bool


@dataclass(frozen=True)
class MassBalance:
    """Where all dough is [kg]; loaded = out + waste + barrel.

    out: pieces that fell. waste: dough that fell otherwise or was taken out with a tube, and what
    still hangs on the nozzle or the blade. barrel: dough in the barrel.
    """

    loaded_kg: float
    out_kg: float
    waste_kg: float
    barrel_kg: float
