"""A simulated kitchen or bench scale: what it shows for a mass that lies on it."""

from __future__ import annotations

import math
import random

_WALK_S = 600.0


class Scale:
    """A scale that rounds to its readability after adding noise, and whose zero wanders.

    Arguments: rng: source of chance. readability_kg: smallest shown step [kg], above 0; hobby
    scales show 1e-3, 1e-4 or 1e-5. noise_kg: standard deviation of one weighing before rounding
    [kg], 0 or more; 0.3 to 0.7 of the readability is usual (trade value). off_centre: most that a
    mass off the centre of the pan reads wrong, evenly spread [-]; 1e-3 is a trade value. wander_kg:
    standard deviation of what the zero wanders in 10 min [kg]; 2e-5 is a trade value.
    Source: common practice (a scale's uncertainty is its rounding, d/sqrt(12), and its
    repeatability, added in squares).
    """

    def __init__(
        self,
        rng: random.Random,
        readability_kg: float,
        noise_kg: float,
        *,
        off_centre: float = 0.0,
        wander_kg: float = 0.0,
    ) -> None:
        if not readability_kg > 0.0 or not noise_kg >= 0.0:
            raise ValueError(
                f"A scale cannot have readability {readability_kg} kg and noise {noise_kg} kg; "
                "the first must be above zero and the second not below it."
            )
        self._rng = rng
        self._readability_kg = readability_kg
        self._noise_kg = noise_kg
        self._off_centre = off_centre
        self._wander_kg = wander_kg
        self._zero_kg = 0.0
        self._t_s = 0.0

    def read(self, mass_kg: float, t_s: float = 0.0) -> float:
        """What the display shows for this mass [kg] at a time [s]: a whole number of readability
        steps, below zero if noise says so."""
        chance = self._rng
        passed_s, self._t_s = max(0.0, t_s - self._t_s), max(t_s, self._t_s)
        self._zero_kg += chance.gauss(0.0, self._wander_kg * math.sqrt(passed_s / _WALK_S))
        seen_kg = mass_kg * (1.0 + self._off_centre * (2.0 * chance.random() - 1.0))
        seen_kg += self._zero_kg + chance.gauss(0.0, self._noise_kg)
        return round(seen_kg / self._readability_kg) * self._readability_kg
