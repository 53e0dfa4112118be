"""Flow of a stiff paste through the nozzle, by the form of Benbow and Bridgwater."""

from __future__ import annotations

import math
from dataclasses import dataclass

_ROUNDS = 60
_NEAR = 1.0e-9


@dataclass(frozen=True)
class PasteSpec:
    """A paste: what it resists at the entry and along the wall of the nozzle.

    land_m [m]: length of the nozzle's bore. entry_pa [Pa], entry_rise [Pa (s/m)^m], entry_index m
    [-]: stress of the entry, at rest and by speed. wall_pa [Pa], wall_rise [Pa (s/m)^n],
    wall_index n [-]: the same along the wall. The defaults are plausible and for soft dough: no
    published set with units was found. Trade values.
    """

    land_m: float = 0.020
    entry_pa: float = 1.5e4
    entry_rise: float = 1.0e5
    entry_index: float = 0.5
    wall_pa: float = 1.0e3
    wall_rise: float = 1.0e4
    wall_index: float = 0.4

    def __post_init__(self) -> None:
        if not self.entry_rise + self.wall_rise > 0.0:
            raise ValueError(
                "A paste whose stresses do not rise with speed would flow at any speed; "
                "give 'paste.entry_rise' or 'paste.wall_rise' above 0."
            )


class PasteLaw:
    """Volume flow of a paste by the pressure across entry and nozzle, with speed V in the nozzle:

    p = 2 (s0 + a V^m) ln(D0/D) + 4 (t0 + b V^n) L/D.

    Arguments: barrel_m, nozzle_m: D0 and D [m]; spec: s0, a, m, t0, b, n and L; harder, at_rest:
    multiples of all stresses, and besides of those at rest [-]. Stands where `NozzleLaw` does.
    Source: Benbow and Bridgwater, Paste Flow and Extrusion (1993), form from memory; found
    imperfect for biscuit doughs (J. Food Eng. 74:431, 2006, abstract).
    """

    __slots__ = (
        "_area_m2",
        "_entry",
        "_m",
        "_n",
        "_wall",
        "fresh_yield_pressure_pa",
        "times",
        "yield_pressure_pa",
    )

    def __init__(
        self, barrel_m: float, nozzle_m: float, spec: PasteSpec, harder: float, at_rest: float
    ) -> None:
        narrows, long = 2.0 * math.log(barrel_m / nozzle_m), 4.0 * spec.land_m / nozzle_m
        self._area_m2 = math.pi * nozzle_m**2 / 4.0
        self._entry, self._m = harder * narrows * spec.entry_rise, spec.entry_index
        self._wall, self._n = harder * long * spec.wall_rise, spec.wall_index
        still_pa = narrows * spec.entry_pa + long * spec.wall_pa
        self.fresh_yield_pressure_pa = harder * at_rest * still_pa
        """Pressure [Pa] that fresh dough must pass to flow."""
        self.yield_by(1.0)

    def yield_by(self, times: float) -> None:
        """Lets the dough yield at this multiple of its stress [-], 0 or more."""
        self.times = times
        """The multiple it yields at now [-]."""
        self.yield_pressure_pa = self.fresh_yield_pressure_pa * times
        """Pressure [Pa] that it must pass now."""

    def flow(self, pressure_pa: float) -> tuple[float, float]:
        """Volume flow [m3/s] and its slope by pressure [m3/(s Pa)] at this pressure difference
        [Pa]; 0, 0 below yield.

        Newton's method on the logarithms of speed and pressure, which are nearly a straight line.
        """
        over_pa = pressure_pa - self.yield_pressure_pa
        if over_pa <= 0.0:
            return 0.0, 0.0
        a, m, b, n = self._entry, self._m, self._wall, self._n
        speed = (over_pa / (a + b)) ** (1.0 / (m if a > b else n))
        rise_pa = 0.0
        for _ in range(_ROUNDS):
            entry_pa, wall_pa = a * speed**m, b * speed**n
            rise_pa = m * entry_pa + n * wall_pa
            move = math.log(over_pa / (entry_pa + wall_pa)) * (entry_pa + wall_pa) / rise_pa
            speed *= math.exp(move)
            if abs(move) < _NEAR:
                break
        flow = speed * self._area_m2
        return flow, flow / rise_pa
