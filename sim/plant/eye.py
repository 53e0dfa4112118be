"""The eye: an analog level that tells dough from nothing."""

from __future__ import annotations

import math

from sim.plant.spec import PlantSpec

_FULL_SCALE = 1023
_DIRT_DARKENS = 0.6
_DIRT_LIGHTENS = 0.3


class Eye:
    """The eye with what covers it: dirt and smear, shares from 0 to 1."""

    def __init__(self, spec: PlantSpec) -> None:
        self._spec = spec
        self._moving_noise = math.hypot(spec.eye_noise, spec.eye_ripple)
        self.dirt = 0.0
        self.smear = 0.0

    def counts(self, dough: bool, moving: bool, noise: float) -> int:
        """The level [counts, 0 to 1023]; noise is one draw from a unit normal distribution.

        Dough that moves past wobbles and so reads with more noise; a smear does not.
        """
        spec = self._spec
        span = spec.eye_dough - spec.eye_empty
        empty = spec.eye_empty + _DIRT_LIGHTENS * self.dirt * span
        full = spec.eye_dough - _DIRT_DARKENS * self.dirt * span
        share = max(self.smear, 1.0 if dough else 0.0)
        ripples = dough and moving and self.smear == 0.0
        level = empty + share * (full - empty)
        level += noise * (self._moving_noise if ripples else spec.eye_noise)
        return min(max(round(level), 0), _FULL_SCALE)
