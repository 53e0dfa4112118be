"""The bench as one body: feed, barrel, nozzle, cutter and eye, moved on together in small steps of
time."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import NamedTuple

from sim.faults import Faults
from sim.plant.barrel import Barrel
from sim.plant.cutter import Cutter
from sim.plant.eye import Eye
from sim.plant.feed import Feed
from sim.plant.flow import NozzleLaw
from sim.plant.spec import PlantSpec
from sim.plant.strand import Piece, Strand

_STEP_S = 0.005
_INSTANT_S = 1.0e-12
_STILL_M3_S = 1.0e-11
_QUIET_M3_S = 1.0e-9
_MOVING_M3_S = 1.0e-8
_EARLY_M = 0.010
# The slowest feed makes ten steps a second; between two of them its seal does not let go.
_STEP_GAP_S = 0.2


class Readings(NamedTuple):
    """What can be measured now.

    eye_counts: 0 to 1023, with noise. thrust_n: force on the plunger [N]. air_pa: air supply, gauge
    [Pa]. supply_v: logic supply [V]. home, far: cutter end switches. feed_end: an end switch of the
    feed is hit. dough_at_nozzle: the truth that the eye tries to see. guard_open: somebody has
    opened the guard.
    """

    eye_counts: int
    thrust_n: float
    air_pa: float
    supply_v: float
    home: bool
    far: bool
    feed_end: bool
    dough_at_nozzle: bool
    guard_open: bool


@dataclass(frozen=True)
class MassBalance:
    """Where all dough is [kg]; loaded = out + waste + barrel.

    out: pieces that fell. waste: dough that fell otherwise or was taken out with a tube, and what
    still hangs on the nozzle or the blade. barrel: dough in the barrel.
    """

    loaded_kg: float
    out_kg: float
    waste_kg: float
    barrel_kg: float


class Plant:
    """A simulated bench with a full tube loaded, the blade at home and the drive released.

    Arguments: spec: what it is made of. rng: the only source of chance; the same seed gives the
    same numbers. faults: what goes wrong, by portion number.
    """

    def __init__(self, spec: PlantSpec, rng: random.Random, faults: Faults) -> None:
        self._spec = spec
        self._rng = rng
        # Readings draw from a stream of their own: asking more often must not change the dough.
        self._reading_rng = random.Random(rng.getrandbits(64))
        self._faults = faults
        self._microstep_m = spec.microstep_m
        self._bore_m2 = spec.bore_area_m2
        self._nozzle_m2 = spec.nozzle_area_m2
        self._barrel_m = spec.barrel_m
        self._solid_kg_m3 = spec.density_kg_m3 / (1.0 - spec.air_fraction)
        self._stall_pa = (spec.stall_thrust_n - spec.seal_n) / spec.bore_area_m2
        self._friction_pa_m3 = 4.0 * spec.wall_stress_pa / (spec.bore_m * spec.bore_area_m2)
        self._t_s = 0.0
        self._number = 0
        self._under_way = 0
        self._now: dict[str, float] = {}
        self._early_m = math.inf
        self._kept_share = 1.0
        self._air_pa = spec.air_pa
        self._guard_s = 0.0
        self._dip_s = 0.0
        self._dip_v = 0.0
        self._loaded_kg = 0.0
        self._out_kg = 0.0
        self._springing = False
        self._eye = Eye(spec)
        self._strand = Strand(self._nozzle_m2, spec.density_kg_m3, spec.strand_hold_kg)
        self._cutter = Cutter(spec)
        self._barrel = Barrel(spec.stretch_m3_pa)
        self._draw_dough()
        self.load_tube()

    def load_tube(self, *, column_m: float | None = None) -> None:
        """Puts in a tube with a dough column of column_m [m], a full one if None.

        The plunger is drawn back off the dough. What was left of the old tube is waste, unless
        none of it was used. Raises ValueError for a column that the barrel cannot take.
        """
        spec = self._spec
        column = spec.tube_m if column_m is None else column_m
        if not spec.heel_m < column <= spec.tube_m:
            raise ValueError(
                f"A column of {column} m does not fit; this barrel takes more than {spec.heel_m} m "
                f"and up to {spec.tube_m} m."
            )
        if self._out_kg > 0.0:
            self._strand.waste_kg += self._dough_kg()
        else:
            self._loaded_kg -= self._dough_kg()
        self._out_kg = 0.0
        voids = {f.portion: f.severity for f in self._faults.planned if f.name == "void"}
        ahead_m3 = sum(cm3 * 1.0e-6 for at, cm3 in voids.items() if at > self._number)
        dough_m3 = spec.bore_area_m2 * column - ahead_m3
        self._barrel = Barrel(spec.stretch_m3_pa)
        self._barrel.solids_m3 = dough_m3 * (1.0 - spec.air_fraction)
        self._barrel.gas_m3 = dough_m3 * spec.air_fraction + ahead_m3
        self._loaded_kg += self._dough_kg()
        self._strand.gap_m = 0.0
        self._feed = Feed(spec, spec.barrel_m - column - spec.load_gap_m)
        self._flow_m3_s = 0.0
        self._drag_s = 0.0
        self._still = True

    def advance(
        self, dt_s: float, *, steps: int, drive_on: bool, valve_on: bool, portion: int
    ) -> None:
        """Lets dt_s [s] pass (0.5 ms to 100 ms).

        Arguments: steps: net microsteps made in that time, forward positive, evenly spread; none
        count while the drive is off. valve_on: cutter valve from the start of it. portion: number
        of the portion under way, 0 for none.
        """
        if portion != self._under_way:
            self._under_way = portion
            if portion not in (0, self._number):
                self._begin(portion)
        if self._cutter.switch(valve_on, self._air_pa, self._now):
            self._dip_s = self._spec.supply_dip_s
            self._dip_v = self._now.get("supply-dip", self._spec.supply_dip_v)
        way_m = steps * self._microstep_m if drive_on else 0.0
        if way_m > 0.0:
            self._drag_s = _STEP_GAP_S
            way_m *= self._kept_share if portion else 1.0
        else:
            self._drag_s = max(0.0, self._drag_s - dt_s) if way_m == 0.0 else 0.0
        self._springing = self._feed.springing(drive_on, self._barrel.pressure_pa)
        if self._still and way_m == 0.0 and not self._springing and self._cutter.at_rest:
            self._pass_time(dt_s)
            return
        part_s = dt_s / math.ceil(dt_s / _STEP_S)
        left_s = dt_s
        while left_s > _INSTANT_S:
            step_s = min(part_s, left_s, self._cutter.to_cut_s)
            self._move_dough(step_s, way_m * step_s / dt_s)
            self._cutter.advance(step_s)
            self._pass_time(step_s)
            if self._cutter.to_cut_s <= _INSTANT_S:
                self._cut()
            left_s -= step_s
        self._still = way_m == 0.0 and self._flow_m3_s < _STILL_M3_S

    @property
    def quiet(self) -> bool:
        """True when nothing changes by itself: no dough flows, nothing springs back, the cutter
        rests, no passing fault is under way. The caller may then take long steps."""
        passing = self._springing or self._guard_s > 0.0 or self._dip_s > 0.0
        return self._flow_m3_s < _QUIET_M3_S and self._cutter.at_rest and not passing

    def readings(self) -> Readings:
        """What the sensors show now."""
        spec, chance = self._spec, self._reading_rng.random
        thrust_n = self._barrel.pressure_pa * self._bore_m2
        if self._drag_s > 0.0:
            thrust_n += spec.seal_n
        dip_v = self._dip_v * self._dip_s / spec.supply_dip_s if self._dip_s > 0.0 else 0.0
        dough = self._strand.length_m > spec.eye_below_m and self._strand.gap_m <= 0.0
        moving = self._flow_m3_s > _MOVING_M3_S
        return Readings(
            eye_counts=self._eye.counts(dough, moving, self._reading_rng.gauss(0.0, 1.0)),
            thrust_n=thrust_n + spec.thrust_noise_n * (2.0 * chance() - 1.0),
            air_pa=self._air_pa + spec.air_reading_noise_pa * (2.0 * chance() - 1.0),
            supply_v=spec.supply_v - dip_v + spec.supply_noise_v * (2.0 * chance() - 1.0),
            home=self._cutter.home,
            far=self._cutter.far,
            feed_end=self._feed.at_end,
            dough_at_nozzle=dough,
            guard_open=self._guard_s > 0.0,
        )

    def take_pieces(self) -> list[Piece]:
        """The pieces that fell since this was last asked."""
        pieces, self._strand.pieces = self._strand.pieces, []
        return pieces

    def mass_balance(self) -> MassBalance:
        """Where all dough is now [kg]."""
        strand = self._strand
        waste_kg = strand.waste_kg + strand.hanging_kg + strand.on_blade_kg
        return MassBalance(self._loaded_kg, strand.out_kg, waste_kg, self._dough_kg())

    def _dough_kg(self) -> float:
        return self._barrel.solids_m3 * self._solid_kg_m3

    def _begin(self, portion: int) -> None:
        """A new portion: its dough differs a little from the last, and its faults take hold."""
        self._number = portion
        self._now = self._faults.at(portion)
        self._kept_share = 1.0 - self._now.pop("lost-steps", 0.0)
        low_bar = self._now.pop("low-air", None)
        self._air_pa = self._spec.air_pa if low_bar is None else low_bar * 1.0e5
        self._eye.dirt = self._now.pop("dirty-eye", self._eye.dirt)
        self._eye.smear = self._now.pop("smear", self._eye.smear)
        early = not self._now.keys().isdisjoint(("void", "dough-gone", "guard-open"))
        self._early_m = _EARLY_M if early else math.inf
        self._draw_dough()
        self._still = False

    def _draw_dough(self) -> None:
        """Flow resistance and air of the dough that comes next."""
        spec = self._spec
        resistance = math.exp(self._rng.gauss(0.0, spec.flow_noise))
        air = spec.air_fraction * (1.0 + self._rng.gauss(0.0, spec.air_noise))
        self._air_share = min(max(air, 0.0), 1.0)
        self._law = NozzleLaw(
            0.5 * spec.nozzle_m,
            spec.nozzle_length_m,
            spec.yield_stress_pa * resistance * self._now.pop("blockage", 1.0),
            spec.consistency_pa_sn * resistance,
            spec.flow_exponent,
        )

    def _pass_time(self, dt_s: float) -> None:
        self._t_s += dt_s
        if self._guard_s > 0.0:
            self._guard_s = max(0.0, self._guard_s - dt_s)
        if self._dip_s > 0.0:
            self._dip_s = max(0.0, self._dip_s - dt_s)

    def _move_dough(self, dt_s: float, way_m: float) -> None:
        """Moves plunger and dough on by dt_s [s], over which the screw makes way_m [m]."""
        feed, barrel = self._feed, self._barrel
        if self._springing:
            feed.spring_back(dt_s)
        if way_m != 0.0:
            feed.travel(way_m)
        room_m3 = self._bore_m2 * (self._barrel_m - feed.position_m)
        friction_pa = self._friction_pa_m3 * (barrel.solids_m3 + barrel.gas_m3)
        out_m3, solids_m3, made_m3 = barrel.step(
            room_m3, dt_s, self._law, friction_pa, self._stall_pa, self._air_share
        )
        if made_m3 != room_m3:
            feed.position_m = self._barrel_m - made_m3 / self._bore_m2
        self._flow_m3_s = out_m3 / dt_s if dt_s > 0.0 else self._flow_m3_s
        if out_m3 > 0.0:
            self._out_kg += solids_m3 * self._solid_kg_m3
            self._strand.add(out_m3, solids_m3 * self._solid_kg_m3)
            self._early_m -= out_m3 / self._nozzle_m2
            if self._early_m <= 0.0:
                self._strike()

    def _strike(self) -> None:
        """The faults that come early in a push, once its dough is on the way."""
        self._early_m = math.inf
        self._guard_s = self._now.pop("guard-open", 0.0)
        air_m3 = min(self._now.pop("void", 0.0) * 1.0e-6, self._barrel.gas_m3)
        if air_m3 > 0.0:
            self._barrel.gas_m3 -= air_m3
            self._strand.pop(air_m3)
        share = self._now.pop("dough-gone", None)
        if share is not None:
            whole_kg = self._dough_kg()
            self._barrel.solids_m3 *= share
            self._barrel.gas_m3 *= share
            self._strand.waste_kg += whole_kg - self._dough_kg()
            self._strand.end()

    def _cut(self) -> None:
        self._cutter.to_cut_s = math.inf
        hang_up, stuck = self._now.pop("hang-up", 0.0), self._now.pop("stuck-blade", 0.0)
        self._strand.sever(self._t_s, self._under_way, hang_up, stuck)
