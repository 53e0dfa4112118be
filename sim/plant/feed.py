"""The feed: where the plunger really is, which differs from the steps made once steps are lost."""

from __future__ import annotations

import math

from sim.plant.drive import runs_back
from sim.plant.spec import PlantSpec


class Feed:
    """Plunger position [m] from the rear end switch, positive toward the nozzle."""

    def __init__(self, spec: PlantSpec, position_m: float) -> None:
        self._spec = spec
        self._front_m = spec.barrel_m - spec.heel_m
        self.sprung_m = 0.0
        """Way sprung back since the drive was released [m]; whoever holds it again sets it to 0."""
        steep = runs_back(
            spec.lead_m,
            spec.screw_diameter_m,
            spec.screw_friction,
            spec.screw_flank_rad,
            spec.detent,
        )
        # Where nothing springs back something else holds the plunger, whatever the screw does.
        self._give_m = math.inf if steep and spec.springback_m > 0.0 else spec.springback_m
        self.play_m = spec.backlash_m
        """Lost motion at a reversal [m]."""
        self._slack_m = 0.0
        self.position_m = position_m

    @property
    def at_end(self) -> bool:
        """True while an end switch is hit, rear or front."""
        return not 0.0 < self.position_m < self._front_m

    def springing(self, pressure_pa: float) -> bool:
        """True while a released drive is still being pushed back by the dough."""
        pushed = pressure_pa * self._spec.bore_area_m2 > self._spec.seal_n
        return pushed and self.sprung_m < self._give_m

    def spring_back(self, dt_s: float) -> None:
        """Gives way for dt_s [s] at an even speed, up to the way that the drive can give."""
        left_m = self._give_m - self.sprung_m
        move_m = min(left_m, self._spec.springback_m * dt_s / self._spec.springback_s)
        self.sprung_m += move_m
        self.position_m -= move_m

    def travel(self, way_m: float) -> None:
        """Moves by way_m [m], the play taken up first, as far as the hard stops let it; the rest is
        lost steps."""
        if self.play_m > 0.0:
            # Slack is the way the screw can still go backward before the nut takes the plunger.
            free_m = self._slack_m + way_m
            self._slack_m = min(max(free_m, 0.0), self.play_m)
            way_m = free_m - self._slack_m
        margin_m = self._spec.end_margin_m
        aim_m = self.position_m + way_m
        self.position_m = min(max(aim_m, -margin_m), self._front_m + margin_m)
