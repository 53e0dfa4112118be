"""What the simulated bench is made of, in SI units."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.plant.drive import screw_torque_n_m
from sim.plant.paste import PasteSpec


@dataclass(frozen=True)
class PlantSpec:
    """A bench with one tube of dough; the defaults make 30 g portions of maize dough.

    30 g are 13.3 mm of feed.
    "Trade value" is common practice or a plausible figure, not measured on a bench; "numeric model"
    is a one-dimensional calculation of such a bench: signs and ratios hold, absolute grams do not.

    Barrel and dough
        bore_m [m]: inside diameter of the barrel. Trade value.
        tube_m [m]: length of the dough column in a full tube. Trade value.
        heel_m [m]: dough that the plunger cannot push out (cone and film). Trade value.
        clearance_m [m]: way from the rear end switch to the dough of a full tube. Trade value.
        load_gap_m [m]: way from the plunger to the dough after loading a tube. Trade value.
        density_kg_m3 [kg/m3]: dough with its air at room pressure. Trade value (1100 to 1300,
            unfermented).
        air_fraction [-]: share of air by volume at room pressure. Trade value (0.05 to 0.15 after
            mixing).
        air_noise [-]: relative standard deviation of that share from portion to portion. Trade
            value.
        stretch_m3_pa [m3/Pa]: volume the frame gives per pressure. Trade value (1e-12 to 5e-12 for
            metal).
        sleeve_m [m]: wall of a sleeve that lines the barrel and narrows its bore. Trade value.
        leak_m3_s_pa [m3/(s Pa)]: dough past the plunger by pressure above leak_from_pa [Pa]. Trade
            value.
        yield_kept [-]: share of its yield stress that standing dough never loses, and relax_s [s]:
            time in which it loses three tenths of the rest. Trade values.
        stiffening [-]: growth of the stress at which it flows again by each tenfold of a rest, and
            stiff_m [m]: strand over which that is gone. Trade values (0.05 to 0.30).
        temperature_slope [1/K]: fall of flow resistance by temperature. Trade value (0.04 to 0.08).
        film_m [m]: last way of a bought tube over which its film crumples into the dough, and
            film_times [-]: how much harder that flows; 0 and 1 for dough that was filled in. Trade
            values.
        wall_stress_pa [Pa]: shear stress of the sliding column at the wall. Trade value (300 to
            3000).
    Nozzle
        nozzle_m [m]: inside diameter. Trade value.
        paste [-]: a stiff paste by the form of Benbow and Bridgwater, in place of the stress,
            consistency and exponent below; None for dough that flows as those say.
        nozzle_length_m [m]: length, the reducing cone counted as extra length. Trade value.
        yield_stress_pa [Pa]: stress below which dough stands. Trade value (yield pressure 10 to 60
            kPa).
        consistency_pa_sn [Pa s^n]: power-law consistency. Wheat dough 1387, J. Food Eng. 103:294
            (2011), abstract.
        flow_exponent [-]: power-law exponent. Wheat dough 0.38, same source.
        flow_noise [-]: relative standard deviation of the flow resistance from portion to portion.
            Trade value.
        swell [-]: strand's diameter as a multiple of the nozzle's. Trade value (1.05 to 1.3).
        drop_m [m]: fall of a severed piece. Trade value.
        thrown [-]: share of the blade's speed that a piece takes along, 26 mm wide. Trade value
            (0.2 to 0.6).
        thrown_noise [-]: relative standard deviation of that share among pieces. Trade value.
        sticky_m_s [m/s]: speed of the way back at which half of the pieces stick to a blade with a
            sound coat; warm dough sticks at higher speeds. Trade value (0 to 5 in 100 stick).
        strand_hold_kg [kg]: strand that the nozzle can carry before it tears off. Trade value.
    Feed
        lead_m [m]: way per turn of the screw. Trade value.
        steps_per_turn [1]: full steps per turn of the motor. Common practice.
        microsteps [1]: microsteps per full step. Common practice.
        motor_n_m [N m]: torque above which the motor loses steps at rest. Trade value.
        screw_diameter_m [m], screw_friction [-], screw_flank_rad [rad], detent [-]: pitch diameter,
            friction and half flank angle of the screw, and what the unpowered motor holds; they
            decide what the motor pushes and whether the screw runs back. Trade values.
        pull_out_m_s [m/s]: plunger speed at which the motor pulls nothing any more. Trade value.
        backlash_m [m]: lost motion at a reversal. Trade value (up to 0.4e-3).
        seal_n [N]: friction of the plunger seal. Trade value (10 to 40).
        springback_m [m]: way the plunger is pushed back when the drive is released under pressure;
            0 holds. Trade value.
        springback_s [s]: time that takes. Trade value.
        end_margin_m [m]: way from an end switch to the hard stop behind it. Trade value.
    Cutter (the times fit 44, 19, 13 ms from valve to leaving home at 1, 2, 4 bar gauge, and strokes
    of 311, 283 ms at 2, 4 bar; numeric model)
        stroke_m [m]: way of the blade. Trade value.
        home_zone_m, far_zone_m [m]: ways over which the end switches are on. Trade value.
        switch_lag_m [m]: way by which a switch changes later when the blade comes from its other
            side; bounce_s [s]: time for which its contact bounces. Trade values.
        cut_at_m [m]: way at which the strand is severed. Trade value.
        start_floor_s [s], start_air_s [s bar2]: delay before the blade moves, floor + air / p^2
            with p in bar gauge.
        stroke_floor_s [s], stroke_air_s [s bar]: time of the stroke, floor + air / p with p in bar
            gauge.
        return_ratio [-]: return time as a multiple of the stroke time. Trade value.
        air_pa [Pa]: air supply, gauge. Trade value.
        air_least_pa [Pa]: gauge pressure below which the blade does not move. Trade value.
    Eye
        eye_below_m [m]: way from the nozzle to where the eye looks. Trade value.
        eye_gap_m [m]: distance of the eye from the strand; eye_peak_m [m]: distance at which it
            sees most. Trade value (2 to 30 mm, peak 1 to 3 mm).
        eye_empty, eye_dough [counts of 1023]: levels without and with dough. Trade value.
        eye_noise [counts]: standard deviation at rest. Trade value.
        eye_ripple [counts]: further standard deviation while dough moves past. Trade value.
    Supply and other readings
        supply_v [V]: logic supply at rest. Common practice.
        supply_dip_v [V]: fall of it when the valve switches. Trade value.
        supply_dip_s [s]: time it takes to recover. Trade value.
        supply_noise_v [V], thrust_noise_n [N], air_reading_noise_pa [Pa]: most that a reading is
            off, evenly spread. Trade value.
    """

    bore_m: float = 0.050
    tube_m: float = 0.200
    heel_m: float = 0.012
    clearance_m: float = 0.010
    load_gap_m: float = 0.005
    density_kg_m3: float = 1150.0
    air_fraction: float = 0.08
    air_noise: float = 0.03
    stretch_m3_pa: float = 3.0e-12
    wall_stress_pa: float = 1000.0
    sleeve_m: float = 0.0
    film_m: float = 0.0
    film_times: float = 2.0
    leak_m3_s_pa: float = 0.0
    leak_from_pa: float = 2.0e4
    yield_kept: float = 0.5
    relax_s: float = 0.3
    stiffening: float = 0.15
    stiff_m: float = 0.030
    temperature_slope: float = 0.06

    nozzle_m: float = 0.024
    paste: PasteSpec | None = None
    nozzle_length_m: float = 0.100
    yield_stress_pa: float = 1200.0
    consistency_pa_sn: float = 1387.0
    flow_exponent: float = 0.38
    flow_noise: float = 0.08
    sticky_m_s: float = 0.040
    strand_hold_kg: float = 0.090
    swell: float = 1.1
    drop_m: float = 0.10
    thrown: float = 0.4
    thrown_noise: float = 0.2

    lead_m: float = 0.002
    steps_per_turn: int = 200
    microsteps: int = 8
    motor_n_m: float = 0.612
    seal_n: float = 20.0
    screw_diameter_m: float = 0.007
    screw_friction: float = 0.15
    screw_flank_rad: float = math.radians(15.0)
    detent: float = 0.05
    pull_out_m_s: float = 0.060
    backlash_m: float = 0.0
    springback_m: float = 0.0005
    springback_s: float = 0.2
    end_margin_m: float = 0.001

    stroke_m: float = 0.050
    home_zone_m: float = 0.001
    far_zone_m: float = 0.003
    switch_lag_m: float = 0.0005
    bounce_s: float = 0.001
    cut_at_m: float = 0.030
    start_floor_s: float = 0.0048
    start_air_s: float = 0.0319
    stroke_floor_s: float = 0.255
    stroke_air_s: float = 0.112
    return_ratio: float = 1.1
    air_pa: float = 2.0e5
    air_least_pa: float = 3.0e4

    eye_below_m: float = 0.004
    eye_gap_m: float = 0.003
    eye_peak_m: float = 0.002
    eye_empty: float = 120.0
    eye_dough: float = 640.0
    eye_noise: float = 6.0
    eye_ripple: float = 8.0

    supply_v: float = 5.0
    supply_dip_v: float = 0.15
    supply_dip_s: float = 0.030
    supply_noise_v: float = 0.010
    thrust_noise_n: float = 1.0
    air_reading_noise_pa: float = 1000.0

    def __post_init__(self) -> None:
        if not 0.0 < self.nozzle_m < self.inside_m:
            raise ValueError(
                f"Nozzle {self.nozzle_m} m and bore {self.bore_m} m do not fit; "
                "the nozzle must be the narrower one."
            )
        if not 0.0 <= self.heel_m < self.tube_m or not 0.0 <= self.air_fraction < 1.0:
            raise ValueError(
                f"Heel {self.heel_m} m, tube {self.tube_m} m, air fraction {self.air_fraction} "
                "are not usable; the heel must be shorter than the tube, "
                "and the fraction from 0 to below 1."
            )

    @property
    def inside_m(self) -> float:
        """Diameter of the barrel inside its sleeve [m]."""
        return self.bore_m - 2.0 * self.sleeve_m

    @property
    def bore_area_m2(self) -> float:
        """Area of the plunger [m2]."""
        return math.pi * self.inside_m**2 / 4.0

    @property
    def nozzle_area_m2(self) -> float:
        """Area of the nozzle [m2]."""
        return math.pi * self.nozzle_m**2 / 4.0

    @property
    def stall_thrust_n(self) -> float:
        """Thrust at which the motor loses steps at rest [N]; 700 with the defaults."""
        return self.motor_n_m / self.screw_torque_n_m(1.0)

    def screw_torque_n_m(self, thrust_n: float) -> float:
        """Torque that this screw takes for a thrust [N m]."""
        return screw_torque_n_m(
            thrust_n,
            self.lead_m,
            self.screw_diameter_m,
            self.screw_friction,
            self.screw_flank_rad,
        )

    @property
    def microstep_m(self) -> float:
        """Way of the plunger per microstep [m]."""
        return self.lead_m / (self.steps_per_turn * self.microsteps)

    @property
    def barrel_m(self) -> float:
        """Way from the rear end switch to the nozzle end of the barrel [m]."""
        return self.tube_m + self.clearance_m
