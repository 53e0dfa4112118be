"""The air cutter as a two-chamber cylinder: valve, hoses, needles, friction, stops and what it
cuts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.plant.air import AMBIENT_PA, CONDUCTANCE, REFERENCE_PA, flow_pa_m3_s, in_series
from sim.plant.end_switch import BOUNCE_STEP_S, EndSwitch
from sim.plant.spec import PlantSpec

_STEP_S = 0.00025
_EVENLY_S = 0.001
_SETTLING_S = 0.002
# Speed changes by less than this share a step: the air is its own brake, and longer steps do.
_EVENLY = 0.01
_NEAR_EDGE_S = 0.002
_BETWEEN_S = 0.010
_SOONER = 0.8
_EVEN_PA = 500.0
_INSTANT_S = 1.0e-12
_LUMP_M = 0.004
_HANG_UP_S = 0.080


@dataclass(frozen=True)
class AirSpec:
    """What the cylinder is made of; defaults are trade values for bore 16 mm and stroke 50 mm.

    push_m2, pull_m2 [m2]: piston area without and with the rod. stroke_m [m]. mass_kg [kg]: all
    that moves. dead_m3 [m3]: volume left at each end, with its hose. supply, out, back: sonic
    conductance [m3/(s Pa)] of valve and hose toward a chamber, and of the needles that the air
    leaves by on the way out and back. critical [-]: ratio of choking. exponent [-]: of the gas law,
    1 isothermal to 1.4. stick_n, slide_n [N]: friction at rest and moving, seal_s_m [m/s]: speed
    at which the first has gone over to the second; viscous_n_s_m [N s/m]. sticking [-]: growth of
    stick_n by long rest, in minutes_s [s]. bounce [-]: share of speed after a stop. shift_s [s]:
    time from the coil to the open valve. receiver_m3 [m3], refill [m3/(s Pa)]: air close to the
    valve, and the conductance that fills it. cut_n_m [N/m]: force per width of the chord cut.
    """

    push_m2: float = math.pi * 0.016**2 / 4.0
    pull_m2: float = math.pi * (0.016**2 - 0.006**2) / 4.0
    stroke_m: float = 0.050
    mass_kg: float = 0.25
    dead_m3: float = 1.5e-6
    supply: float = in_series((0.35 * CONDUCTANCE, 0.30 * CONDUCTANCE))
    out: float = 0.030 * CONDUCTANCE
    back: float = 0.032 * CONDUCTANCE
    critical: float = 0.35
    exponent: float = 1.2
    stick_n: float = 6.0
    slide_n: float = 3.5
    seal_s_m: float = 0.05
    viscous_n_s_m: float = 10.0
    sticking: float = 0.3
    sticking_s: float = 300.0
    bounce: float = 0.2
    shift_s: float = 0.008
    receiver_m3: float = 2.0e-4
    refill: float = 0.3 * CONDUCTANCE
    cut_n_m: float = 200.0


def air_spec(spec: PlantSpec) -> AirSpec:
    """The cylinder [-] whose needles are set to the stroke times of a bench.

    Source: a choked needle lets C P0 of chamber volume through per second (ISO 6358), so the speed
    is C P0 / A whatever the supply.
    """
    usual = AirSpec()
    time_s = spec.stroke_floor_s + spec.stroke_air_s * 1.0e5 / spec.air_pa
    per_s = spec.stroke_m / time_s / REFERENCE_PA
    return AirSpec(
        stroke_m=spec.stroke_m,
        out=usual.pull_m2 * per_s,
        back=usual.push_m2 * per_s / spec.return_ratio,
    )


@dataclass
class _Block:
    """Something that stops the blade at a position [m] for so long [s], on its way out or back."""

    at_m: float
    hold_s: float
    outward: bool


class AirCutter:
    """Where the blade is and how fast, and the air on both sides of the piston.

    Answers the same as `Cutter`, with speeds that follow from pressures.
    """

    def __init__(self, spec: PlantSpec, air: AirSpec | None = None) -> None:
        self._spec = spec
        self._air = air if air is not None else air_spec(spec)
        self._wide_m = spec.nozzle_m * spec.swell
        self._enter_m = max(0.0, spec.cut_at_m - self._wide_m)
        self.position_m = 0.0
        self.speed_m_s = 0.0
        self.cut_speed_m_s = 0.0
        """Mean speed of the blade through the strand that it last severed, halts left out [m/s]."""
        self.to_cut_s = math.inf
        """0 when the blade has just severed the strand, else infinite: air tells nothing ahead."""
        self.to_edge_s = math.inf
        """Time until a bouncing contact turns [s], infinite where none bounces."""
        stroke_m = self._air.stroke_m
        home_m, far_m, lag_m = spec.home_zone_m, spec.far_zone_m, spec.switch_lag_m
        # Where the blade leaves home shows the air; what lags is its coming back.
        self._home = EndSwitch(max(0.0, home_m - lag_m), home_m, spec.bounce_s, 0.0)
        self._far = EndSwitch(far_m, far_m + lag_m, spec.bounce_s, stroke_m)
        self._edges_out_m = (home_m, stroke_m - far_m)
        self._edges_back_m = (stroke_m - far_m - lag_m, max(0.0, home_m - lag_m))
        self._evenly = False
        self._rise_m_s2 = 0.0
        self.push_pa = AMBIENT_PA
        self.pull_pa = AMBIENT_PA + spec.air_pa
        self.supply_pa = AMBIENT_PA + spec.air_pa
        self._regulator_pa = self.supply_pa
        self._valve_on = self._open = False
        self._shift_s = 0.0
        self._rest_s = 0.0
        self._armed = self._dumped = False
        self._through_m = self._through_s = 0.0
        self._blocks: list[_Block] = []
        self._lump_n = 0.0
        self.firm = 1.0
        """Force to cut as a multiple of the usual [-]."""
        self.needle_out = self.needle_back = 1.0
        """Opening of the needle of each way as a multiple of the usual [-]."""
        self.at_rest = True

    @property
    def home(self) -> bool:
        """True while the blade holds its home end switch."""
        return self._home.shut

    @property
    def far(self) -> bool:
        """True while the blade holds its far end switch."""
        return self._far.shut

    @property
    def gauge_pa(self) -> float:
        """Pressure before the valve, gauge [Pa]: it sags while a chamber fills."""
        return self.supply_pa - AMBIENT_PA

    @property
    def return_m_s(self) -> float:
        """Speed of the blade on its way back [m/s], as far as its needle lets it."""
        return self._air.back * self.needle_back * REFERENCE_PA / self._air.push_m2

    def vent(self) -> None:
        """Lets all air out of both chambers, as an air dump does; the supply is back as the valve
        opens, before it could fill a cushion."""
        self.push_pa = self.pull_pa = AMBIENT_PA

    def switch(self, valve_on: bool, air_pa: float, faults: dict[str, float]) -> bool:
        """Tells the valve; answers True when it switched just now. air_pa: supply, gauge [Pa].
        Takes the one-time faults it uses out of faults."""
        if self._regulator_pa != AMBIENT_PA + air_pa:
            # A regulator relieves: a lower setting lets the air behind it out.
            self._regulator_pa = AMBIENT_PA + air_pa
            self.at_rest = False
            self.supply_pa = self._regulator_pa
            self.pull_pa = min(self.pull_pa, self.supply_pa)
        if valve_on == self._valve_on:
            return False
        self._valve_on = valve_on
        self._shift_s = self._air.shift_s
        self.to_cut_s, self.to_edge_s = math.inf, _NEAR_EDGE_S
        self.at_rest = False
        if valve_on:
            self._meet(faults)
        else:
            # What is in its way outward is there until it is home: it goes on until air turns it.
            if "home-stuck" in faults:
                stop_m = (1.0 - faults.pop("home-stuck")) * self.position_m
                self._blocks.append(_Block(stop_m, math.inf, False))
        return True

    def _meet(self, faults: dict[str, float]) -> None:
        """What the stroke that begins will meet."""
        self._armed = self.position_m < self._spec.cut_at_m
        self._through_m = self._through_s = 0.0
        self._blocks = []
        self._shift_s += faults.pop("sticky-valve", 0.0)
        self._dumped = faults.pop("air-dump", 0.0) > 0.0
        self._lump_n = faults.pop("hard-lump", 0.0)
        stroke_m = self._air.stroke_m
        if "cut-stall" in faults:
            self._blocks.append(_Block(faults.pop("cut-stall") * stroke_m, math.inf, True))
        if "inclusion" in faults:
            held_m = 0.5 * self._spec.cut_at_m
            self._blocks.append(_Block(held_m, faults.pop("inclusion"), True))
        if "hang-up" in faults:
            held_m = stroke_m - 1.5 * self._spec.far_zone_m
            self._blocks.append(_Block(held_m, _HANG_UP_S, True))

    @property
    def near_cut(self) -> bool:
        """True while the blade is on its way to the cut, whose time nothing tells ahead."""
        return self._armed

    def advance(self, dt_s: float) -> None:
        """Moves the blade and its air on by dt_s [s]."""
        self.to_cut_s = math.inf
        if self.at_rest:
            self._rest_s += dt_s
            return
        home, far, stroke_m = self._home, self._far, self._air.stroke_m
        while dt_s > _INSTANT_S:
            if self._open != self._valve_on and self._shift_s <= _INSTANT_S:
                self._open = self._valve_on
                if self._dumped:
                    self._dumped = False
                    self.vent()
            step_s = min(dt_s, self._step_s())
            if self._open != self._valve_on:
                step_s = min(step_s, self._shift_s)
                self._shift_s -= step_s
            # Force, speed, place, then air; the last uses the new place, which keeps it stable, and
            # the way really made, so that no air is made or lost where the piston meets a stop.
            before_m = self.position_m
            self._move(step_s)
            self._breathe(step_s, (self.position_m - before_m) / step_s)
            home.move(self.position_m, step_s)
            far.move(stroke_m - self.position_m, step_s)
            dt_s -= step_s
        held = self.speed_m_s == 0.0 and self._held()
        self.to_edge_s = self._look_again_s(held)
        if held and self._open == self._valve_on and self._even():
            self.at_rest = True
            self._armed = False
            self._blocks = []

    def _step_s(self) -> float:
        """Longest step [s] that what goes on now allows."""
        if self._home.bouncing or self._far.bouncing:
            return _STEP_S
        if self._evenly:
            return _EVENLY_S
        return _SETTLING_S if self.speed_m_s == 0.0 and self._held() else _STEP_S

    def _look_again_s(self, held: bool) -> float:
        """Time [s] for which no end switch changes, judged by speed and its rise and cut short, so
        that the last looks before a change come closer and closer; infinite where the blade is held
        at an end."""
        if self._home.bouncing or self._far.bouncing:
            return BOUNCE_STEP_S
        if held and self._open == self._valve_on:
            return math.inf
        outward, speed, rise = self.speed_m_s > 0.0, abs(self.speed_m_s), self._rise_m_s2
        longest_s = _BETWEEN_S if self._evenly else _NEAR_EDGE_S
        for edge_m in self._edges_out_m if outward else self._edges_back_m:
            left_m = edge_m - self.position_m if outward else self.position_m - edge_m
            if speed > 0.0 and left_m > 0.0:
                left_s = 2.0 * left_m / (speed + math.sqrt(speed * speed + 2.0 * rise * left_m))
                return min(max(_SOONER * left_s, BOUNCE_STEP_S), longest_s)
        return longest_s

    def _held(self) -> bool:
        """True where the piston lies on the stop that its air pushes it to."""
        end_m = self._air.stroke_m if self._open else 0.0
        return self.position_m == end_m

    def _even(self) -> bool:
        """True when both chambers are nearly at the pressure they will end at."""
        full, empty = self.push_pa, self.pull_pa
        if not self._open:
            full, empty = empty, full
        return self.supply_pa - full < _EVEN_PA and empty - AMBIENT_PA < _EVEN_PA

    def _move(self, dt_s: float) -> None:
        air, speed = self._air, self.speed_m_s
        force_n = (self.push_pa - AMBIENT_PA) * air.push_m2
        force_n -= (self.pull_pa - AMBIENT_PA) * air.pull_m2
        outward = speed > 0.0 or (speed == 0.0 and force_n > 0.0)
        against_n = self._resistance_n() if outward and self._armed else 0.0
        if speed == 0.0:
            self._evenly = False
            grown = self._rest_s / (self._rest_s + air.sticking_s)
            hold_n = air.stick_n * (1.0 + air.sticking * grown) + against_n
            on_stop = self.position_m == (air.stroke_m if force_n > 0.0 else 0.0)
            if on_stop or abs(force_n) <= hold_n:
                self._rest_s += dt_s
                return
            self._rest_s = 0.0
        way = 1.0 if outward else -1.0
        lag = speed / air.seal_s_m
        rub_n = air.slide_n + (air.stick_n - air.slide_n) * math.exp(-lag * lag)
        rub_n += against_n + air.viscous_n_s_m * way * speed
        more = (force_n - way * rub_n) / air.mass_kg * dt_s
        new = speed + more
        # Friction stops the blade but never drives it.
        self.speed_m_s = new if new * way >= 0.0 else 0.0
        self._evenly = abs(more) < _EVENLY * abs(new) and not self._blocks
        self._rise_m_s2 = max(0.0, way * more / dt_s)
        self._go(dt_s)

    def _go(self, dt_s: float) -> None:
        before_m = self.position_m
        place_m = before_m + self.speed_m_s * dt_s
        if 0.0 < place_m < self._air.stroke_m and not (self._armed or self._blocks):
            self.position_m = place_m
            return
        for block in self._blocks:
            low, high = sorted((before_m, place_m))
            if low <= block.at_m <= high and block.outward == (self.speed_m_s > 0.0):
                place_m, self.speed_m_s = block.at_m, 0.0
                block.hold_s -= dt_s
                if block.hold_s <= 0.0:
                    self._blocks.remove(block)
                break
        if not 0.0 < place_m < self._air.stroke_m:
            stop_m = min(max(place_m, 0.0), self._air.stroke_m)
            if place_m != stop_m or self.speed_m_s != 0.0:
                back = -self._air.bounce * self.speed_m_s
                self.speed_m_s = back if abs(back) > self._air.seal_s_m else 0.0
            place_m, self._evenly = stop_m, False
        self.position_m = place_m
        if self._armed and place_m > max(before_m, self._enter_m):
            self._pass_dough(place_m - before_m, dt_s)

    def _pass_dough(self, way_m: float, dt_s: float) -> None:
        """A step of the way through the strand, which may be the last."""
        self._through_m += way_m
        self._through_s += dt_s
        if self.position_m >= self._spec.cut_at_m:
            self._armed = False
            self.to_cut_s = 0.0
            self.cut_speed_m_s = self._through_m / self._through_s

    def _resistance_n(self) -> float:
        """Force [N] of the dough, and of a lump in it, against the blade on its way out."""
        if not self._armed or self.position_m < self._enter_m:
            return 0.0
        deep_m, wide_m = self.position_m - self._enter_m, self._wide_m
        chord_m = 2.0 * math.sqrt(max(0.0, deep_m * (wide_m - deep_m)))
        lump_n = self._lump_n if abs(deep_m - 0.5 * wide_m) < 0.5 * _LUMP_M else 0.0
        return self._air.cut_n_m * self.firm * chord_m + lump_n

    def _breathe(self, dt_s: float, v: float) -> None:
        """Air in and out of both chambers and the receiver over dt_s [s], in which the piston went
        at v [m/s]."""
        air, b = self._air, self._air.critical
        push_pa, pull_pa, supply_pa = self.push_pa, self.pull_pa, self.supply_pa
        if self._open:
            fill = flow_pa_m3_s(air.supply, b, supply_pa, push_pa)
            push = fill
            pull = -flow_pa_m3_s(air.out * self.needle_out, b, pull_pa, AMBIENT_PA)
        else:
            fill = flow_pa_m3_s(air.supply, b, supply_pa, pull_pa)
            pull = fill
            push = -flow_pa_m3_s(air.back * self.needle_back, b, push_pa, AMBIENT_PA)
        k_dt = air.exponent * dt_s
        push_m3 = air.dead_m3 + air.push_m2 * self.position_m
        pull_m3 = air.dead_m3 + air.pull_m2 * (air.stroke_m - self.position_m)
        now_push_pa = push_pa + k_dt * (push - push_pa * air.push_m2 * v) / push_m3
        now_pull_pa = pull_pa + k_dt * (pull + pull_pa * air.pull_m2 * v) / pull_m3
        if v == 0.0:
            # Flow toward evenness has an infinite slope there; a step must not swing past it.
            if self._open:
                now_push_pa = min(now_push_pa, max(supply_pa, push_pa))
                now_pull_pa = max(now_pull_pa, min(AMBIENT_PA, pull_pa))
            else:
                now_pull_pa = min(now_pull_pa, max(supply_pa, pull_pa))
                now_push_pa = max(now_push_pa, min(AMBIENT_PA, push_pa))
        self.push_pa, self.pull_pa = now_push_pa, now_pull_pa
        feed = flow_pa_m3_s(air.refill, b, self._regulator_pa, supply_pa)
        rise_pa = (feed - fill) / air.receiver_m3 * dt_s
        self.supply_pa = min(self._regulator_pa, supply_pa + rise_pa)
