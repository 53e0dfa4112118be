"""The barrel as a spring: dough with air in it, in a frame that stretches a little."""

from __future__ import annotations

import math

from sim.plant.air import AMBIENT_PA
from sim.plant.flow import Law

# Newton's error after a move of 10 Pa is the square of that over some 10 kPa.
_NEWTON_PA = 10.0
_NEWTON_LIMIT = 60


def closed_pressure_pa(
    solids_m3: float, gas_m3: float, room_m3: float, stretch_m3_pa: float
) -> float:
    """Gauge pressure [Pa] of dough shut in a room, 0 where the room is too large, infinite where
    nothing can yield.

    Arguments: solids_m3: what does not compress [m3]; gas_m3: air at room pressure [m3]; room_m3:
    volume of the unloaded barrel [m3]; stretch_m3_pa: volume the frame gives per pressure [m3/Pa].
    Solves solids + gas P0/(P0+p) = room + stretch p.
    Source: ideal gas law at constant temperature; its fit to bread dough is published up to 5 MPa
    (Korea-Australia Rheology Journal 18:127, 2006, abstract).
    """
    excess = solids_m3 - room_m3
    c = AMBIENT_PA * (excess + gas_m3)
    if c <= 0.0:
        return 0.0
    b = stretch_m3_pa * AMBIENT_PA - excess
    bottom = b + math.sqrt(b * b + 4.0 * stretch_m3_pa * c)
    return 2.0 * c / bottom if bottom > 0.0 else math.inf


class Barrel:
    """Dough between plunger and nozzle: how much of it there is, and its gauge pressure [Pa]."""

    __slots__ = ("_stretch", "gas_m3", "pressure_pa", "solids_m3")

    def __init__(self, stretch_m3_pa: float) -> None:
        self.solids_m3 = 0.0
        self.gas_m3 = 0.0
        self.pressure_pa = 0.0
        self._stretch = stretch_m3_pa

    def step(
        self,
        room_m3: float,
        dt_s: float,
        law: Law,
        friction_pa: float,
        ceiling_pa: float,
        air: float,
    ) -> tuple[float, float, float]:
        """Moves on by dt_s [s] with the plunger leaving room_m3 [m3].

        Arguments: friction_pa: wall friction to pass besides the nozzle [Pa]; ceiling_pa: pressure
        at which the drive
        stalls [Pa]; air: share of air in the dough that leaves, by volume at room pressure [-].
        Answers the volume that left, at room pressure [m3], the solids in it [m3], and the room the
        plunger could really make [m3], larger than asked when the drive stalled. Implicit, so that
        it stays stable for any dt_s.
        """
        closed = closed_pressure_pa(self.solids_m3, self.gas_m3, room_m3, self._stretch)
        low = friction_pa + law.yield_pressure_pa
        if closed <= low and closed <= ceiling_pa:
            self.pressure_pa = closed
            return 0.0, 0.0, room_m3
        high = min(closed, ceiling_pa)
        # Below the yield nothing flows that could save it from a stall.
        stalled = closed > ceiling_pa and (
            ceiling_pa <= low
            or self._excess(ceiling_pa, room_m3, dt_s, law, friction_pa, air) > 0.0
        )
        if stalled:
            p = ceiling_pa
            out = law.flow(p - friction_pa)[0] * dt_s
        else:
            p, flow_m3_s = self._solve(low, high, room_m3, dt_s, law, friction_pa, air)
            out = flow_m3_s * dt_s
        solids = min(out * (1.0 - air), self.solids_m3)
        self.solids_m3 -= solids
        self.gas_m3 = max(0.0, self.gas_m3 - out * air)
        self.pressure_pa = p
        if stalled:
            room_m3 = (
                self.solids_m3 + self.gas_m3 * AMBIENT_PA / (AMBIENT_PA + p) - self._stretch * p
            )
        return out, solids, room_m3

    def leak(self, volume_m3: float, over_pa: float) -> float:
        """Loses up to volume_m3 [m3 at room pressure] past the plunger, and no more than is pressed
        out by over_pa [Pa] above the pressure at which it stops; answers the solids in it [m3]."""
        whole_m3 = self.solids_m3 + self.gas_m3
        absolute = AMBIENT_PA + self.pressure_pa
        gives_m3_pa = self._stretch + self.gas_m3 * AMBIENT_PA / (absolute * absolute)
        most_m3 = min(volume_m3, gives_m3_pa * over_pa)
        share = min(most_m3 / whole_m3, 1.0) if whole_m3 > 0.0 else 0.0
        solids_m3 = share * self.solids_m3
        self.solids_m3 -= solids_m3
        self.gas_m3 -= share * self.gas_m3
        return solids_m3

    def _excess(
        self, p: float, room_m3: float, dt_s: float, law: Law, friction_pa: float, air: float
    ) -> float:
        """Volume too much in the barrel [m3] if its pressure were p [Pa] at the end of the step."""
        squeeze = AMBIENT_PA / (AMBIENT_PA + p)
        out_m3 = law.flow(p - friction_pa)[0] * dt_s * (1.0 - air + air * squeeze)
        return self.solids_m3 + self.gas_m3 * squeeze - self._stretch * p - room_m3 - out_m3

    def _solve(
        self,
        low: float,
        high: float,
        room_m3: float,
        dt_s: float,
        law: Law,
        friction_pa: float,
        air: float,
    ) -> tuple[float, float]:
        """Pressure [Pa] between low and high where nothing is in excess, and the flow [m3/s] at it:
        Newton, halving where Newton would leave."""
        p = self.pressure_pa
        if not low < p < high:
            p = 0.5 * (low + high)
        # The same as `_excess`, with what stays the same taken out: this is where the time goes.
        flow_at, stretch, gas = law.flow, self._stretch, self.gas_m3
        rest, air_dt = self.solids_m3 - room_m3, air * dt_s
        fixed_dt = dt_s - air_dt
        flow = slope = move = 0.0
        for _ in range(_NEWTON_LIMIT):
            flow, slope = flow_at(p - friction_pa)
            absolute = AMBIENT_PA + p
            squeeze = AMBIENT_PA / absolute
            share_dt = fixed_dt + air_dt * squeeze
            excess = rest + gas * squeeze - stretch * p - flow * share_dt
            falls = (gas - air_dt * flow) * squeeze / absolute + stretch + slope * share_dt
            if excess > 0.0:
                low = p
            else:
                high = p
            move = excess / falls if falls > 0.0 else math.inf
            if not low <= p + move <= high:
                move = 0.5 * (low + high) - p
            p += move
            if -_NEWTON_PA < move < _NEWTON_PA:
                break
        # The last move was small enough for the slope to tell what it changed.
        return p, max(0.0, flow + slope * move)
