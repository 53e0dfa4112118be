"""Dough below the nozzle: the strand that hangs there, what the blade keeps, and the pieces that
fall."""

from __future__ import annotations

from dataclasses import dataclass

SLIVER_KG = 2.0e-4
"""Less than this [kg] falls as a smear, not as a piece. Trade value."""


@dataclass(frozen=True)
class Piece:
    """A piece that fell: when [s of plant time], how heavy [kg], the portion under way (0 for
    none), and how far from below the nozzle it landed [m]."""

    t_s: float
    mass_kg: float
    portion: int
    throw_m: float = 0.0


class Strand:
    """Masses below the nozzle [kg], and how far the next break in the strand is from the eye."""

    def __init__(
        self, nozzle_area_m2: float, density_kg_m3: float, hold_kg: float, swell: float = 1.0
    ) -> None:
        self._area_m2 = nozzle_area_m2
        self._kg_per_m = density_kg_m3 * nozzle_area_m2 * swell**2
        self._hold_kg = hold_kg
        self.hanging_kg = 0.0
        self.on_blade_kg = 0.0
        self.waste_kg = 0.0
        self.out_kg = 0.0
        self.gap_m = 0.0
        self.pieces: list[Piece] = []

    @property
    def length_m(self) -> float:
        """Length of the hanging strand [m]."""
        return self.hanging_kg / self._kg_per_m

    def add(self, volume_m3: float, mass_kg: float) -> None:
        """Takes in dough from the nozzle; a strand too heavy to hang tears off and is waste."""
        self.hanging_kg += mass_kg
        if self.gap_m > 0.0:
            self.gap_m = max(0.0, self.gap_m - volume_m3 / self._area_m2)
        if self.hanging_kg > self._hold_kg:
            self.tear()

    def pop(self, air_m3: float) -> None:
        """An air pocket [m3 at room pressure] leaves the nozzle and breaks the strand before the
        eye."""
        self.gap_m += air_m3 / self._area_m2

    def tear(self) -> None:
        """The hanging strand falls and is waste."""
        self.waste_kg += self.hanging_kg
        self.hanging_kg = 0.0

    def sever(
        self, t_s: float, portion: int, hang_up: float, stuck: float, throw_m: float = 0.0
    ) -> None:
        """The blade passes. hang_up: share that stays on the nozzle; stuck: share that stays on the
        blade; throw_m: how far the piece lands from below the nozzle [m]."""
        cut_kg = self.hanging_kg * (1.0 - hang_up)
        self.hanging_kg -= cut_kg
        kept_kg = cut_kg * stuck
        fallen_kg = cut_kg - kept_kg + self.on_blade_kg
        self.on_blade_kg = kept_kg
        if fallen_kg < SLIVER_KG:
            self.waste_kg += fallen_kg
            return
        self.out_kg += fallen_kg
        self.pieces.append(Piece(t_s, fallen_kg, portion, throw_m))
