"""The bench as one body: feed, barrel, nozzle, cutter and eye, moved on together in small steps of
time."""

from __future__ import annotations

import math
import random

from sim.faults import Faults
from sim.plant.air_cutter import AirCutter
from sim.plant.barrel import Barrel
from sim.plant.cutter import Cutter
from sim.plant.drive import pull_out, whole_rounds_m
from sim.plant.eye import Eye
from sim.plant.feed import Feed
from sim.plant.flow import Law, NozzleLaw
from sim.plant.paste import PasteLaw
from sim.plant.readings import MassBalance, Readings
from sim.plant.rest import relaxed, stiffened
from sim.plant.spec import PlantSpec
from sim.plant.strand import Piece, Strand
from sim.plant.throw import dragged, sticking, throw_m

FIDELITIES = ("brisk", "physical")
"""brisk: the blade keeps times that fit its air; physical: it moves by its air."""

_STEP_S = 0.020
_CUTTING_STEP_S = 0.0025
_DIP_STEP_S = 0.005
_ROTOR_S = 0.020
_INSTANT_S = 1.0e-12
_STILL_M3_S = 1.0e-11
_QUIET_M3_S = 1.0e-9
_HELD_PA = 50.0
_SOFT = 1.001
_MOVING_M3_S = 1.0e-8
_EARLY_M = 0.010
# The slowest feed makes ten steps a second; between two of them its seal does not let go.
_STEP_GAP_S = 0.2
_EARLY = frozenset(("void", "dough-gone", "guard-open", "frame-yield", "driver-heat"))
_LASTING = {
    "leak": 0.0,
    "backlash": 0.0,
    "warm-dough": 0.0,
    "warming-dough": 0.0,
    "cold-dough": 0.0,
    "rising-dough": 0.0,
    "ambient-light": 0.0,
    "eye-moved": 0.0,
    "needle-open": 1.0,
    "needle-shut": 1.0,
    "casing-film": 1.0,
    "worn-coat": 1.0,
}
"""Faults that last from their portion on, each with what it is on a sound bench."""


class Plant:
    """A simulated bench with a full tube loaded, the blade at home and the drive released.

    Arguments: spec: what it is made of. rng: the only source of chance; the same seed gives the
    same numbers. faults: what goes wrong, by portion number. fidelity: one of FIDELITIES.
    """

    def __init__(
        self, spec: PlantSpec, rng: random.Random, faults: Faults, fidelity: str = "brisk"
    ) -> None:
        self._spec = spec
        self._rng = rng
        # Readings draw from a stream of their own: asking more often must not change the dough.
        seed = rng.getrandbits(64)
        self._reading_rng, self._stick_rng, self._throw_rng = (
            random.Random(seed + k) for k in range(3)
        )
        self._faults = faults
        self._microstep_m = spec.microstep_m
        self._full_step_m = spec.lead_m / spec.steps_per_turn
        self._bore_m2 = spec.bore_area_m2
        self._nozzle_m2 = spec.nozzle_area_m2
        self._barrel_m = spec.barrel_m
        self._usual_kg_m3 = spec.density_kg_m3 / (1.0 - spec.air_fraction)
        self._solid_kg_m3 = self._usual_kg_m3
        self._stall_pa = (spec.stall_thrust_n - spec.seal_n) / spec.bore_area_m2
        self._friction_pa_m3 = 4.0 * spec.wall_stress_pa / (spec.inside_m * spec.bore_area_m2)
        self._t_s = 0.0
        self._number = 0
        self._under_way = 0
        self._now: dict[str, float] = {}
        self._early_m = math.inf
        self._kept_share = self._back_share = 1.0
        self._given_m3 = 0.0
        self._speed_m_s = 0.0
        self.lost_m = 0.0
        """Way lost by stalls so far [m]."""
        self._dead_s = 0.0
        self._leak_m3_s_pa = spec.leak_m3_s_pa
        self._leaks = spec.leak_m3_s_pa > 0.0
        self._rise = 1.0
        self._rises = False
        self._lasting = dict(_LASTING)
        self._air_pa = spec.air_pa
        self._guard_s = 0.0
        self._dip_s = 0.0
        self._dip_v = 0.0
        self._loaded_kg = 0.0
        self._out_kg = 0.0
        self._springing = False
        self._rest_s = 0.0
        self._stiff = 1.0
        self._warmed_k = 0.0
        self._begun_s = 0.0
        self._eye = Eye(spec)
        self._strand = Strand(self._nozzle_m2, spec.density_kg_m3, spec.strand_hold_kg, spec.swell)
        if fidelity not in FIDELITIES:
            raise ValueError(
                f"No fidelity is called '{fidelity}'; it can be {' or '.join(FIDELITIES)}."
            )
        self._cutter: Cutter | AirCutter = (
            AirCutter(spec) if fidelity == "physical" else Cutter(spec)
        )
        self._barrel = Barrel(spec.stretch_m3_pa)
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
        lighter = self._faults.at(self._number + 1).get("light-tube", 0.0)
        self._solid_kg_m3 = self._usual_kg_m3 * (1.0 - lighter)
        dough_m3 = spec.bore_area_m2 * column - ahead_m3
        self._barrel = Barrel(spec.stretch_m3_pa)
        self._barrel.solids_m3 = dough_m3 * (1.0 - spec.air_fraction)
        self._barrel.gas_m3 = dough_m3 * spec.air_fraction + ahead_m3
        self._loaded_kg += self._dough_kg()
        self._feed = Feed(spec, spec.barrel_m - column - spec.load_gap_m)
        self._feed.play_m += self._lasting["backlash"] * 1.0e-3
        self._rise = 1.0
        self._warmed_k = 0.0
        self._begun_s = self._t_s
        self._draw_dough()
        self._lag_m = 0.0
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
        feed, cutter = self._feed, self._cutter
        if cutter.switch(valve_on, self._air_pa, self._now):
            self._dip_s = self._spec.supply_dip_s
            self._dip_v = self._now.get("supply-dip", self._spec.supply_dip_v)
        if drive_on and self._dead_s <= 0.0:
            feed.sprung_m = 0.0
            self._springing = False
        else:
            self._lag_m = 0.0
            self._springing = feed.springing(self._barrel.pressure_pa)
        way_m = steps * self._microstep_m if drive_on and self._dead_s < dt_s else 0.0
        if way_m > 0.0:
            self._drag_s = _STEP_GAP_S
            way_m *= self._kept_share if portion else 1.0
        else:
            way_m *= self._back_share if portion else 1.0
            self._drag_s = max(0.0, self._drag_s - dt_s) if way_m == 0.0 else 0.0
        still = self._still and way_m == 0.0 and not (self._springing or self._rises)
        if still:
            self._speed_m_s = 0.0
            if cutter.at_rest:
                cutter.advance(dt_s)
                self._pass_time(dt_s)
                return
        longest_s = _CUTTING_STEP_S if cutter.near_cut else _STEP_S
        part_s = dt_s if dt_s <= longest_s else dt_s / math.ceil(dt_s / longest_s)
        left_s = dt_s
        while left_s > _INSTANT_S:
            step_s = min(part_s, left_s, cutter.to_cut_s)
            if not still:
                self._move_dough(step_s, way_m * step_s / dt_s)
            cutter.advance(step_s)
            self._pass_time(step_s)
            if cutter.to_cut_s <= _INSTANT_S:
                self._cut()
            left_s -= step_s
        # Stress that dough holds up relaxes, so that what does not flow yet may flow later.
        if not still and way_m == 0.0 and self._flow_m3_s < _STILL_M3_S:
            kept_pa = self._spec.yield_kept * self._law.fresh_yield_pressure_pa + self.friction_pa
            held_pa = self._barrel.pressure_pa
            still = held_pa < kept_pa + _HELD_PA and not self._leaking(held_pa)
        self._still = still

    @property
    def even_s(self) -> float:
        """Time for which no reading jumps, as far as that is known ahead [s]; infinite where
        nothing is known."""
        return self._cutter.to_edge_s if self._dip_s <= 0.0 else _DIP_STEP_S

    @property
    def pieces_fell(self) -> bool:
        """Whether `take_pieces` has any."""
        return bool(self._strand.pieces)

    @property
    def quiet(self) -> bool:
        """True when nothing changes quickly by itself: no dough leaves the nozzle, nothing springs
        back, the cutter rests, no passing fault is under way. The caller may then take long
        steps."""
        passing = self._springing or self._guard_s > 0.0 or self._dip_s > 0.0
        return self._flow_m3_s < _QUIET_M3_S and self._cutter.at_rest and not passing

    def readings(self) -> Readings:
        """What the sensors show now."""
        spec, chance, cutter = self._spec, self._reading_rng.random, self._cutter
        thrust_n = self._barrel.pressure_pa * self._bore_m2
        if self._drag_s > 0.0:
            thrust_n += spec.seal_n
        dip_v = self._dip_v * self._dip_s / spec.supply_dip_s if self._dip_s > 0.0 else 0.0
        dough = self._strand.length_m > spec.eye_below_m and self._strand.gap_m <= 0.0
        moving = self._flow_m3_s > _MOVING_M3_S
        # By place, which is much quicker than by name.
        return Readings(
            self._eye.counts(dough, moving, self._reading_rng.gauss(0.0, 1.0)),
            thrust_n + spec.thrust_noise_n * (2.0 * chance() - 1.0),
            cutter.gauge_pa + spec.air_reading_noise_pa * (2.0 * chance() - 1.0),
            spec.supply_v - dip_v + spec.supply_noise_v * (2.0 * chance() - 1.0),
            cutter.home,
            cutter.far,
            self._feed.at_end,
            dough,
            self._guard_s > 0.0,
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

    @property
    def pressure_pa(self) -> float:
        """Pressure in the barrel at the plunger [Pa, gauge], for those who judge."""
        return self._barrel.pressure_pa

    @property
    def friction_pa(self) -> float:
        """Wall friction of the column [Pa]."""
        return self._friction_pa_m3 * (self._barrel.solids_m3 + self._barrel.gas_m3)

    def _left_m(self) -> float:
        """Length of the dough column up to the heel [m]."""
        dough_m3 = self._barrel.solids_m3 + self._barrel.gas_m3
        return dough_m3 / self._bore_m2 - self._spec.heel_m

    def _dough_kg(self) -> float:
        return self._barrel.solids_m3 * self._solid_kg_m3

    def _begin(self, portion: int) -> None:
        """A new portion: its dough differs a little from the last, and its faults take hold."""
        self._number = portion
        self._now = self._faults.at(portion)
        self._kept_share = 1.0 - self._now.pop("lost-steps", 0.0)
        self._back_share = 1.0 - self._now.pop("weak-draw-back", 0.0)
        self._take_lasting()
        low_bar = self._now.pop("low-air", None)
        self._air_pa = self._spec.air_pa if low_bar is None else low_bar * 1.0e5
        self._eye.dirt = self._now.pop("dirty-eye", self._eye.dirt)
        self._eye.smear = self._now.pop("smear", self._eye.smear)
        early = not self._now.keys().isdisjoint(_EARLY)
        self._early_m = _EARLY_M if early else math.inf
        self._draw_dough()
        self._still = False

    def _draw_dough(self) -> None:
        """Flow resistance and air of the dough that comes next."""
        spec = self._spec
        lasting = self._lasting
        warmer_k = lasting["warm-dough"] - lasting["cold-dough"] + self._warmed_k
        stiffness = math.exp(-spec.temperature_slope * warmer_k)
        self._cutter.firm = stiffness
        resistance = stiffness * math.exp(self._rng.gauss(0.0, spec.flow_noise))
        resistance *= lasting["casing-film"]
        if 0.0 < self._left_m() < spec.film_m:
            resistance *= spec.film_times
        air = spec.air_fraction * (1.0 + self._rng.gauss(0.0, spec.air_noise))
        self._air_share = min(max(air, 0.0), 1.0)
        blocked = self._now.pop("blockage", 1.0)
        self._law: Law
        if spec.paste is not None:
            self._law = PasteLaw(spec.inside_m, spec.nozzle_m, spec.paste, resistance, blocked)
        else:
            self._law = NozzleLaw(
                0.5 * spec.nozzle_m,
                spec.nozzle_length_m,
                spec.yield_stress_pa * resistance * blocked,
                spec.consistency_pa_sn * resistance,
                spec.flow_exponent,
            )

    def _take_lasting(self) -> None:
        """Faults that stay take hold, and what gives way at once gives way."""
        lasting, before_m = self._lasting, self._lasting["backlash"]
        self._warmed_k += lasting["warming-dough"] * (self._t_s - self._begun_s) / 60.0
        self._begun_s = self._t_s
        lasting |= {name: self._now.pop(name) for name in _LASTING if name in self._now}
        self._feed.play_m += (lasting["backlash"] - before_m) * 1.0e-3
        self._feed.position_m -= self._now.pop("springback", 0.0) * 1.0e-3
        self._eye.lamp = lasting["ambient-light"]
        self._eye.moved_m = lasting["eye-moved"] * 1.0e-3
        self._cutter.needle_back = lasting["needle-open"]
        # A needle turns, or a hose kinks, on one way only.
        self._cutter.needle_out = lasting["needle-open"] / lasting["needle-shut"]
        self._leak_m3_s_pa = self._spec.leak_m3_s_pa + lasting["leak"] * 1.0e-11
        self._rises = lasting["rising-dough"] > 0.0
        self._leaks = self._leak_m3_s_pa > 0.0 or self._rises

    def _pass_time(self, dt_s: float) -> None:
        self._t_s += dt_s
        self._rest_s += dt_s
        if self._dead_s > 0.0:
            self._dead_s = max(0.0, self._dead_s - dt_s)
        if self._guard_s > 0.0:
            self._guard_s = max(0.0, self._guard_s - dt_s)
        if self._dip_s > 0.0:
            self._dip_s = max(0.0, self._dip_s - dt_s)

    def _move_dough(self, dt_s: float, way_m: float) -> None:
        """Moves plunger and dough on by dt_s [s], over which the screw makes way_m [m]."""
        feed, barrel = self._feed, self._barrel
        held_pa = barrel.pressure_pa
        if self._springing:
            self._springing = feed.springing(held_pa)
            if self._springing:
                feed.spring_back(dt_s)
        if self._dead_s > 0.0:
            way_m *= max(0.0, 1.0 - self._dead_s / dt_s)
        # A step within a very short slice is no speed yet; a rotor has inertia.
        self._speed_m_s += (way_m - self._speed_m_s * dt_s) / (dt_s + _ROTOR_S)
        most_pa = self._stall_pa * pull_out(self._speed_m_s, self._spec.pull_out_m_s)
        ahead_m = way_m + self._lag_m
        if ahead_m > 0.0 and held_pa > most_pa:
            # It stands, and holds what it cannot push.
            self._fall_behind(ahead_m)
        elif ahead_m != 0.0:
            self._lag_m = 0.0
            feed.travel(ahead_m)
        ceiling_pa = most_pa if most_pa > held_pa else held_pa
        room_m3 = self._bore_m2 * (self._barrel_m - feed.position_m) + self._given_m3
        if self._leaks:
            self._leak_and_rise(dt_s)
        times = self._yield_times(way_m)
        if times != self._law.times:
            self._law.yield_by(times)
        friction_pa = self._friction_pa_m3 * (barrel.solids_m3 + barrel.gas_m3)
        air = self._air_share if self._rise == 1.0 else self._air_now()
        out_m3, solids_m3, made_m3 = barrel.step(
            room_m3, dt_s, self._law, friction_pa, ceiling_pa, air
        )
        if made_m3 != room_m3:
            behind_m = (made_m3 - room_m3) / self._bore_m2
            feed.position_m -= behind_m
            self._fall_behind(behind_m + self._lag_m)
        self._flow_m3_s = out_m3 / dt_s if dt_s > 0.0 else self._flow_m3_s
        if out_m3 > 0.0:
            self._out_kg += solids_m3 * self._solid_kg_m3
            self._strand.add(out_m3, solids_m3 * self._solid_kg_m3)
            out_m = out_m3 / self._nozzle_m2
            if self._stiff > _SOFT:
                self._stiff = 1.0 + (self._stiff - 1.0) * math.exp(-out_m / self._spec.stiff_m)
            else:
                self._stiff = 1.0
            self._early_m -= out_m
            if self._early_m <= 0.0:
                self._strike(dt_s)

    def _fall_behind(self, way_m: float) -> None:
        """The rotor is way_m [m] behind what it was asked for; whole rounds of its coils are lost
        for good, the rest is made up as soon as it can."""
        lost_m = whole_rounds_m(way_m, self._full_step_m)
        self.lost_m += lost_m
        self._lag_m = way_m - lost_m

    def _yield_times(self, way_m: float) -> float:
        """Multiple of its yield stress that the dough holds up now [-]; way_m: of the screw [m]."""
        spec = self._spec
        if way_m <= 0.0:
            return relaxed(self._rest_s, spec.relax_s, spec.yield_kept)
        if self._rest_s > _STEP_GAP_S:
            self._stiff = max(self._stiff, stiffened(self._rest_s, spec.stiffening))
        self._rest_s = 0.0
        return self._stiff

    def _leaking(self, pressure_pa: float) -> bool:
        return self._leak_m3_s_pa > 0.0 and pressure_pa > self._spec.leak_from_pa

    def _leak_and_rise(self, dt_s: float) -> None:
        """Dough that gets past the plunger is waste; gas that a leaven makes weighs nothing."""
        barrel = self._barrel
        if self._leaking(barrel.pressure_pa):
            over_pa = barrel.pressure_pa - self._spec.leak_from_pa
            solids_m3 = barrel.leak(self._leak_m3_s_pa * over_pa * dt_s, over_pa)
            self._strand.waste_kg += solids_m3 * self._solid_kg_m3
            self._out_kg += solids_m3 * self._solid_kg_m3
        if self._lasting["rising-dough"] > 0.0:
            grown = 1.0 + self._lasting["rising-dough"] * dt_s / 60.0
            barrel.gas_m3 *= grown
            self._rise *= grown

    def _strike(self, dt_s: float) -> None:
        """The faults that come early in a push, once its dough is on the way; they begin at the end
        of these dt_s [s]."""
        self._early_m = math.inf
        self._given_m3 += self._now.pop("frame-yield", 0.0) * 1.0e-6
        hot_s, open_s = self._now.pop("driver-heat", 0.0), self._now.pop("guard-open", 0.0)
        self._dead_s = hot_s + dt_s if hot_s > 0.0 else 0.0
        self._guard_s = open_s + dt_s if open_s > 0.0 else 0.0
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
            self._strand.tear()

    def _cut(self) -> None:
        self._cutter.to_cut_s = math.inf
        hang_up, stuck = self._now.pop("hang-up", 0.0), self._now.pop("stuck-blade", 0.0)
        stuck = max(stuck, self._now.pop("rolled", 0.0), self._sticks())
        spec = self._spec
        scatter = max(0.0, 1.0 + spec.thrown_noise * self._throw_rng.gauss(0.0, 1.0))
        share = dragged(spec.thrown * scatter, spec.nozzle_m * spec.swell)
        away_m = throw_m(self._cutter.cut_speed_m_s, spec.drop_m, share)
        self._strand.sever(self._t_s, self._under_way, hang_up, stuck, away_m)

    def _sticks(self) -> float:
        """Share of the piece that sticks to the blade by itself [-], 0 or 1."""
        sticky_m_s = self._spec.sticky_m_s * self._lasting["worn-coat"] / self._cutter.firm
        chance = sticking(self._cutter.return_m_s, sticky_m_s)
        return 1.0 if chance > 0.0 and self._stick_rng.random() < chance else 0.0

    def _air_now(self) -> float:
        """Share of air in the dough that leaves now [-]."""
        return self._air_share * self._rise / (1.0 + self._air_share * (self._rise - 1.0))
