"""The eye: an analog level that tells dough from nothing."""

from __future__ import annotations

import math

from sim.plant.spec import PlantSpec

_FULL_SCALE = 1023
_DIRT_DARKENS = 0.6
_DIRT_LIGHTENS = 0.3
_FLICKER = 5.0


def reflection(distance_m: float, peak_m: float) -> float:
    """Share of its best level that a reflecting eye sees at a distance [-]: 1 at the peak, less
    before it and beyond.

    Arguments: distance_m [m], 0 or more; peak_m [m], above 0.
    Source: common practice; (z/z0)^2 exp(2 (1 - z/z0)) rises with the square of the distance, as
    the two light cones begin to overlap, and fades beyond.
    """
    z = distance_m / peak_m
    return z * z * math.exp(2.0 * (1.0 - z))


class Eye:
    """The eye with what covers it: dirt and smear, shares from 0 to 1."""

    def __init__(self, spec: PlantSpec) -> None:
        self._spec = spec
        self._moving_noise = math.hypot(spec.eye_noise, spec.eye_ripple)
        self.dirt = 0.0
        self.smear = 0.0
        self.moved_m = 0.0
        """How much further than usual its strand is [m]."""
        self.lamp = 0.0
        """Light that does not come from the eye, as a share of its span [-]."""

    def counts(self, dough: bool, moving: bool, noise: float) -> int:
        """The level [counts, 0 to 1023]; noise is one draw from a unit normal distribution.

        Dough that moves past wobbles and so reads with more noise; a smear does not.
        """
        spec = self._spec
        span = spec.eye_dough - spec.eye_empty
        empty = spec.eye_empty + _DIRT_LIGHTENS * self.dirt * span
        full = spec.eye_dough - _DIRT_DARKENS * self.dirt * span
        if self.moved_m != 0.0:
            seen = reflection(max(0.0, spec.eye_gap_m + self.moved_m), spec.eye_peak_m)
            full = empty + (full - empty) * seen / reflection(spec.eye_gap_m, spec.eye_peak_m)
        share = max(self.smear, 1.0 if dough else 0.0)
        ripples = dough and moving and self.smear == 0.0
        level = empty + share * (full - empty)
        # Light at twice the mains frequency is sampled at no fixed phase, so it reads as noise too.
        noise *= 1.0 + _FLICKER * self.lamp
        level += self.lamp * span + noise * (self._moving_noise if ripples else spec.eye_noise)
        return min(max(round(level), 0), _FULL_SCALE)
