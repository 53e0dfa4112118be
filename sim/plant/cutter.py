"""The air cutter: a blade that rests at home, and goes and comes at speeds set by the air
pressure."""

from __future__ import annotations

import math

from sim.plant.spec import PlantSpec

_BAR_PA = 1.0e5
_HANG_UP_S = 0.080
_LURCH = 5.0
_DUMPED = 4.0
_PUSH_M2 = 2.0e-4
_LUMP_S_N = 0.0125


class Cutter:
    """Where the blade is, and where it is going.

    A move is a list of legs (time [s], end position [m]), each at constant speed: a delay is a leg
    without way. Faults change the legs, so that switches and cut follow from the position alone.
    """

    near_cut = False
    """The time of the cut is known ahead, so nobody needs to look often for it."""

    def __init__(self, spec: PlantSpec) -> None:
        self._spec = spec
        self._legs: list[tuple[float, float]] = []
        self._valve_on = False
        self._edges_m = (spec.home_zone_m, spec.stroke_m - spec.far_zone_m)
        self.firm = 1.0
        """Force to cut as a multiple of the usual [-]; what is cut does not slow this blade."""
        self.needle_out = self.needle_back = 1.0
        """Opening of the needle of each way as a multiple of the usual [-]."""
        self.cut_speed_m_s = 0.0
        """Speed of the blade through the strand that it last severed, or will [m/s]."""
        self.gauge_pa = spec.air_pa
        """Pressure before the valve, gauge [Pa]."""
        self.position_m = 0.0
        self.to_cut_s = math.inf
        """Time until the blade severs the strand [s], infinite when it is not on its way to."""

    @property
    def at_rest(self) -> bool:
        """True when the blade does not move by itself."""
        return not self._legs

    @property
    def return_m_s(self) -> float:
        """Speed of the blade on its way back [m/s]."""
        air_pa = max(self.gauge_pa, self._spec.air_least_pa)
        return 1.0 / self._slowness_back_s_m(air_pa)

    @property
    def to_edge_s(self) -> float:
        """Time until an end switch may change or the blade goes on otherwise [s], infinite at
        rest."""
        if not self._legs:
            return math.inf
        (left_s, end_m), here_m = self._legs[0], self.position_m
        for edge_m in self._edges_m if end_m > here_m else self._edges_m[::-1]:
            if min(here_m, end_m) < edge_m < max(here_m, end_m):
                return left_s * (edge_m - here_m) / (end_m - here_m)
        return left_s

    @property
    def home(self) -> bool:
        """True while the blade holds its home end switch."""
        return self.position_m <= self._spec.home_zone_m

    @property
    def far(self) -> bool:
        """True while the blade holds its far end switch."""
        return self.position_m >= self._spec.stroke_m - self._spec.far_zone_m

    def switch(self, valve_on: bool, air_pa: float, faults: dict[str, float]) -> bool:
        """Tells the valve; answers True when it switched just now. Takes the one-time faults it
        uses out of faults."""
        self.gauge_pa = air_pa
        if valve_on == self._valve_on:
            return False
        self._valve_on = valve_on
        self.to_cut_s = math.inf
        if air_pa < self._spec.air_least_pa:
            self._legs = []
            return True
        if valve_on:
            self._legs = self._going(air_pa, faults)
            self.to_cut_s, self.cut_speed_m_s = self._time_to(self._spec.cut_at_m)
        else:
            self._legs = self._coming(air_pa, faults)
        return True

    def advance(self, dt_s: float) -> None:
        """Moves the blade on by dt_s [s]."""
        self.to_cut_s -= dt_s
        while self._legs and dt_s > 0.0:
            time_s, end_m = self._legs[0]
            if dt_s >= time_s:
                dt_s -= time_s
                self.position_m = end_m
                del self._legs[0]
            else:
                self.position_m += (end_m - self.position_m) * dt_s / time_s
                self._legs[0] = (time_s - dt_s, end_m)
                dt_s = 0.0

    def _start_s(self, air_pa: float) -> float:
        return self._spec.start_floor_s + self._spec.start_air_s / (air_pa / _BAR_PA) ** 2

    def _slowness_s_m(self, air_pa: float) -> float:
        """Time per way of an unhindered stroke with the usual needles [s/m]."""
        time_s = self._spec.stroke_floor_s + self._spec.stroke_air_s * _BAR_PA / air_pa
        return time_s / self._spec.stroke_m

    def _slowness_back_s_m(self, air_pa: float) -> float:
        return self._slowness_s_m(air_pa) * self._spec.return_ratio / self.needle_back

    def _going(self, air_pa: float, faults: dict[str, float]) -> list[tuple[float, float]]:
        here, stroke = self.position_m, self._spec.stroke_m
        slow = self._slowness_s_m(air_pa) / self.needle_out
        legs = [(self._start_s(air_pa) + faults.pop("sticky-valve", 0.0), here)]
        if faults.pop("air-dump", 0.0):
            slow /= _DUMPED
        lump_n = faults.pop("hard-lump", 0.0)
        if lump_n > _PUSH_M2 * air_pa:
            faults["cut-stall"] = 0.5 * self._spec.cut_at_m / stroke
        elif lump_n > 0.0:
            faults["inclusion"] = _LUMP_S_N * lump_n
        if "cut-stall" in faults:
            stop_m = max(here, faults.pop("cut-stall") * stroke)
            return [*legs, (slow * (stop_m - here), stop_m)]
        if "inclusion" in faults:
            held_m = max(here, 0.5 * self._spec.cut_at_m)
            legs += [(slow * (held_m - here), held_m), (faults.pop("inclusion"), held_m)]
            return [*legs, (slow * (stroke - held_m) / _LURCH, stroke)]
        if "hang-up" in faults:
            held_m = max(here, stroke - 1.5 * self._spec.far_zone_m)
            legs += [(slow * (held_m - here), held_m), (_HANG_UP_S, held_m)]
            here = held_m
        return [*legs, (slow * (stroke - here), stroke)]

    def _coming(self, air_pa: float, faults: dict[str, float]) -> list[tuple[float, float]]:
        slow = self._slowness_back_s_m(air_pa)
        stop_m = 0.0
        if "home-stuck" in faults:
            stop_m = (1.0 - faults.pop("home-stuck")) * self.position_m
        return [
            (self._start_s(air_pa), self.position_m),
            (slow * (self.position_m - stop_m), stop_m),
        ]

    def _time_to(self, way_m: float) -> tuple[float, float]:
        """Time until the legs pass this position upward [s], infinite when they do not, and the
        speed there [m/s]."""
        time_s, here = 0.0, self.position_m
        for leg_s, end_m in self._legs:
            if here < way_m <= end_m:
                speed_m_s = (end_m - here) / leg_s
                return time_s + leg_s * (way_m - here) / (end_m - here), speed_m_s
            time_s, here = time_s + leg_s, end_m
        return math.inf, 0.0
