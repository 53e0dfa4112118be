"""An end switch of the blade: where it is on, where it lets go again, how its contact bounces."""

from __future__ import annotations

import math

BOUNCE_STEP_S = 0.00025
"""Time between two turns of a bouncing contact [s]. Trade value."""


class EndSwitch:
    """A switch that is on while the blade is near an end.

    Arguments: on_m: distance from the end within which it goes on [m]; off_m: distance beyond which
    it goes off, no less than on_m [m]; bounce_s: time for which its contact opens and shuts after
    each change [s]; away_m: distance of the blade at first [m].
    """

    __slots__ = ("_bounce_s", "_off_m", "_on", "_on_m", "_since_s")

    def __init__(self, on_m: float, off_m: float, bounce_s: float, away_m: float) -> None:
        self._on_m = on_m
        self._off_m = off_m
        self._bounce_s = bounce_s
        self._on = away_m <= on_m
        self._since_s = math.inf

    @property
    def bouncing(self) -> bool:
        """True while its contact opens and shuts."""
        return self._since_s < self._bounce_s

    @property
    def shut(self) -> bool:
        """True while its contact is shut."""
        turned = self.bouncing and int(self._since_s / BOUNCE_STEP_S) % 2 == 1
        return self._on != turned

    def move(self, away_m: float, dt_s: float) -> None:
        """The blade is so far from the end [m], dt_s [s] later."""
        self._since_s += dt_s
        if self._on != (away_m <= (self._off_m if self._on else self._on_m)):
            self._on = not self._on
            self._since_s = 0.0
