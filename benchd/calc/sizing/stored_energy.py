"""Energy stored in trapped gas and in compressed air, and how fast a cap could leave."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import Row, disc_area, not_negative, positive

PCC2_AMBIENT_PA = 101_000.0
"""Atmosphere of ASME PCC-2, Appendix 501-II [Pa]."""

PCC2_TNT_J_KG = 4_266_920.0
"""TNT of the same appendix [J/kg]; NIST's convention is 4.184e6."""

CAUTION_J = 1.0
"""Energy from which the caution comes before the number [J]."""


def trapped_gas(pressure_pa: float, *, volume_m3: float, ambient_pa: float) -> float:
    """Return the energy that gas mixed into dough gives back as the pressure is let off.

    P0 V0 (ln((P0+p)/P0) - p/(P0+p)): at one temperature, against the atmosphere.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge. volume_m3 : scalar, float [m^3],
        >= 0; of the gas at ambient pressure. ambient_pa : scalar, float [Pa], > 0
    Returns:     energy : scalar, float [J]
    Raises:      Impossible: names the argument
    Source:      availability of an ideal gas at one temperature
    Example:     30 cm3 at 100, 300, 500 kPa: 0.6, 1.9, 2.9 J (common practice).
    """
    not_negative(pressure_pa=pressure_pa, volume_m3=volume_m3)
    positive(ambient_pa=ambient_pa)
    full_pa = ambient_pa + pressure_pa
    return ambient_pa * volume_m3 * (math.log(full_pa / ambient_pa) - pressure_pa / full_pa)


def air_energy(pressure_pa: float, *, volume_m3: float) -> float:
    """Return the energy of compressed air by the formula for pressure tests.

    2.5 Pat V (1 - (Pa/Pat)^0.286), Pa 101 kPa, Pat absolute.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge. volume_m3 : scalar, float [m^3],
        >= 0
    Returns:     energy : scalar, float [J]
    Raises:      Impossible: names the argument
    Validity:    made for tests of vessels and pipes: a yardstick here. Other formulas give more
        (Brode: (p - pa) V / 0.4, 2.5 times as much at 2 bar).
    Source:      ASME PCC-2, Appendix 501-II (isentropic, k 1.4)
    Example:     1 l at 2 bar: 201.85 J; at 6 bar: 745.53 J.
    """
    not_negative(pressure_pa=pressure_pa, volume_m3=volume_m3)
    full_pa = PCC2_AMBIENT_PA + pressure_pa
    return float(2.5 * full_pa * volume_m3 * (1 - (PCC2_AMBIENT_PA / full_pa) ** 0.286))


def tnt_mass(energy_j: float) -> float:
    """Return the mass of TNT that stands for an energy.

    E / 4.26692 MJ/kg.

    Parameters:  energy_j : scalar, float [J], >= 0
    Returns:     mass : scalar, float [kg]
    Raises:      Impossible: names the argument
    Validity:    a convention, no measurement: the same appendix has 1 488 617 ft lb/lb in US units,
        which is 4.3 % more to the kilogram, and NIST SP 811 has 4.184 MJ/kg, 2 % less.
    Source:      ASME PCC-2, Appendix 501-II
    Example:     744051.1 J: 0.174377 kg.
    """
    not_negative(energy_j=energy_j)
    return energy_j / PCC2_TNT_J_KG


def leaving_speed(energy_j: float, *, mass_kg: float) -> float:
    """Return the speed of a body that takes up all of an energy.

    sqrt(2 E / m): a bound, for some of it always goes elsewhere.

    Parameters:  energy_j : scalar, float [J], >= 0. mass_kg : scalar, float [kg], > 0
    Returns:     speed : scalar, float [m/s]
    Raises:      Impossible: names the argument
    Source:      kinetic energy
    Example:     3 J on 100 g: 7.7 m/s (common practice).
    """
    not_negative(energy_j=energy_j)
    positive(mass_kg=mass_kg)
    return math.sqrt(2 * energy_j / mass_kg)


CAP = (
    "Let the pressure off, wait, then open, and stand aside of the axis; eye protection. What is "
    "not measured counts as loaded."
)
TANK = (
    "Close, vent, gauge at zero before anything is opened. Rated hose and vessel, drained, with "
    "the maker's relief; a qualified person and local rules stand above this sheet."
)

_GAS = "P0 V0 (ln((P0+p)/P0) - p/(P0+p)), gas in the dough"
_PCC2 = "ASME PCC-2 501-II: 2.5 P V (1 - (Pa/P)^0.286)"

ROWS = (
    Row("gas.volume", "gas in a full barrel", "cm3", "air share x area x travel",
        ("air", "feed.bore", "feed.travel"),
        lambda share, bore, way: share * disc_area(bore) * way,
        "At ambient pressure, heel included; it is the spring that pushes on after a stop."),
    Row("gas.work", "energy in the barrel at work", "J", _GAS,
        ("barrel.work", "gas.volume", "room.pressure"),
        lambda p, volume, pa: trapped_gas(p, volume_m3=volume, ambient_pa=pa),
        "The frame's own stretch comes on top.", safety=CAP, caution_above=CAUTION_J),
    Row("gas.stall", "energy in the barrel at stall", "J", _GAS,
        ("barrel.stall", "gas.volume", "room.pressure"),
        lambda p, volume, pa: trapped_gas(p, volume_m3=volume, ambient_pa=pa),
        "The frame's own stretch comes on top.", safety=CAP, caution_above=CAUTION_J),
    Row("cap.speed", "a cap could leave at", "m/s", "sqrt(2 E / m), at stall",
        ("gas.stall", "barrel.cap"), lambda energy, cap: leaving_speed(energy, mass_kg=cap),
        "If all that energy went into the cap; it is a bound, not a forecast.",
        safety=CAP, caution_above=3.0),
    Row("air.energy", "energy in cylinder and hose", "J", _PCC2,
        ("cutter.pressure", "air.volume"), lambda p, volume: air_energy(p, volume_m3=volume),
        "It moves the blade even with the power off.", safety=TANK, caution_above=CAUTION_J),
    Row("tank.energy", "energy in the compressor's tank", "J", _PCC2,
        ("compressor.pressure", "compressor.tank"),
        lambda p, volume: air_energy(p, volume_m3=volume),
        "Closed and drained by its maker's instructions.", safety=TANK, caution_above=CAUTION_J),
    Row("tank.tnt", "the tank in TNT", "g TNT", "E / 4.26692 MJ/kg (ASME PCC-2)",
        ("tank.energy",), tnt_mass,
        "A comparison only, by the TNT of the same appendix (NIST's 4.184 MJ/kg gives 2 % more).",
        safety=TANK, caution_above=1e-6),
)  # fmt: skip
"""Rows of the sheet."""
