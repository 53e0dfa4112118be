"""A simulated kitchen or bench scale: what it shows for a mass that lies on it."""

from __future__ import annotations

import random


class Scale:
    """A scale that rounds to its readability after adding noise.

    Arguments: rng: source of chance. readability_kg: smallest shown step [kg], above 0; hobby
    scales show 1e-3, 1e-4 or 1e-5. noise_kg: standard deviation of one weighing before rounding
    [kg], 0 or more; 0.3 to 0.7 of the readability is usual (trade value).
    Source: common practice (a scale's uncertainty is its rounding, d/sqrt(12), and its
    repeatability, added in squares).
    """

    def __init__(self, rng: random.Random, readability_kg: float, noise_kg: float) -> None:
        if not readability_kg > 0.0 or not noise_kg >= 0.0:
            raise ValueError(
                f"A scale cannot have readability {readability_kg} kg and noise {noise_kg} kg; "
                "the first must be above zero and the second not below it."
            )
        self._rng = rng
        self._readability_kg = readability_kg
        self._noise_kg = noise_kg

    def read(self, mass_kg: float) -> float:
        """What the display shows for this mass [kg]: a whole number of readability steps, below
        zero if noise says so."""
        seen_kg = mass_kg + self._rng.gauss(0.0, self._noise_kg)
        return round(seen_kg / self._readability_kg) * self._readability_kg
