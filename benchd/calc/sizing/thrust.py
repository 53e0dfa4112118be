"""Force of the plunger, pressure in the barrel at work and at stall, and what fasteners carry."""

from __future__ import annotations

from benchd.calc.sizing.base import Limit, Row, disc_area, not_negative, positive

FASTENER_SAFETY = 4.0
"""What a fastener holds over what it carries, at least (common practice: 4 or more)."""

CAUTION_PA = 1e5
"""Barrel pressure from which the caution comes before the number [Pa]."""

STORED = (
    "A filled barrel is a loaded spring: ease it to zero, wait, then open, and stand aside. Never "
    "chase a blockage with more force. Makers' ratings and a qualified person decide what the "
    "frame may carry."
)


def wall_friction(length_m: float, *, bore_m: float, stress_pa: float) -> float:
    """Return the pressure that the dough's friction on the barrel takes.

    4 tau L / D.

    Parameters:  length_m : scalar, float [m], >= 0; of the column. bore_m : scalar, float [m],
        > 0. stress_pa : scalar, float [Pa], >= 0; on the wall
    Returns:     pressure : scalar, float [Pa]
    Raises:      Impossible: names the argument
    Source:      balance of forces on a plug in a round tube
    Example:     1 kPa, 200 mm in 50 mm: 16 kPa, by hand.
    """
    not_negative(length_m=length_m, stress_pa=stress_pa)
    positive(bore_m=bore_m)
    return 4 * stress_pa * length_m / bore_m


def plunger_force(pressure_pa: float, *, bore_m: float, seal_n: float) -> float:
    """Return the force that the screw must give.

    p pi D^2 / 4 and the friction of the seal.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge. bore_m : scalar, float [m], > 0.
        seal_n : scalar, float [N], >= 0
    Returns:     force : scalar, float [N]
    Raises:      Impossible: names the argument
    Source:      definition of pressure
    Example:     30 psi on 50 mm without seal: 406.1 N, computed with pint.
    """
    not_negative(pressure_pa=pressure_pa, seal_n=seal_n)
    return pressure_pa * disc_area(bore_m) + seal_n


def barrel_pressure(force_n: float, *, bore_m: float) -> float:
    """Return the pressure in the barrel under a force on the plunger.

    F / (pi D^2 / 4): a seal that sticks could lower it, and is not counted on.

    Parameters:  force_n : scalar, float [N], >= 0. bore_m : scalar, float [m], > 0
    Returns:     pressure : scalar, float [Pa], gauge
    Raises:      Impossible: names the argument
    Source:      definition of pressure
    Example:     406.1 N on 50 mm: 30 psi, computed with pint.
    """
    not_negative(force_n=force_n)
    return force_n / disc_area(bore_m)


def fastener_load(pressure_pa: float, *, bore_m: float, fasteners: float) -> float:
    """Return what each of several fasteners carries of a barrel's end.

    p pi D^2 / (4 n), before any factor of safety.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0. bore_m : scalar, float [m], > 0; where
        the pressure ends. fasteners : scalar, float [-], >= 1
    Returns:     force : scalar, float [N]
    Raises:      Impossible: names the argument
    Validity:    evenly tightened and evenly loaded; a cap that tilts loads one of them far more.
    Source:      balance of forces
    Example:     30 psi on 50 mm over four: 101.5 N each (common practice; computed with pint).
    """
    not_negative(pressure_pa=pressure_pa)
    positive(fasteners=fasteners)
    return pressure_pa * disc_area(bore_m) / fasteners


ROWS = (
    Row("barrel.wall", "friction along a full barrel", "kPa", "wall friction: 4 tau L / D",
        ("feed.travel", "feed.bore", "wall_stress"),
        lambda way, bore, stress: wall_friction(way, bore_m=bore, stress_pa=stress),
        "It falls as the tube empties, and the pressure with it."),
    Row("nozzle.share", "nozzle over the barrel", "%", "nozzle bore / barrel bore",
        ("nozzle.bore", "feed.bore"), lambda nozzle, barrel: nozzle / barrel,
        "The nozzle narrows the way of the dough.",
        Limit("most", 1.0, "The nozzle is not narrower than the barrel; measure both again.")),
    Row("nozzle.entry", "pressure of the entry", "kPa", "the dough card's, or within the paste's",
        ("flow.entry", "flow.law"), lambda entry, law: 0.0 if law == "paste" else entry,
        "Dough that narrows into the nozzle resists stretching; the paste's form has it in it."),
    Row("barrel.work", "barrel pressure at work", "bar", "nozzle + entry + wall friction",
        ("nozzle.pressure", "nozzle.entry", "barrel.wall"),
        lambda nozzle, entry, wall: nozzle + entry + wall,
        "The dough is pushed at this, gauge, with a full tube.",
        Limit("most", "barrel.rated", "This is above what the weakest part of the barrel is rated "
              "for: do not run it.", 2.0), safety=STORED, caution_above=CAUTION_PA),
    Row("thrust.work", "force of the plunger at work", "N", "p pi D^2/4 + seal",
        ("barrel.work", "feed.bore", "barrel.seal"),
        lambda pressure, bore, seal: plunger_force(pressure, bore_m=bore, seal_n=seal),
        "Screw, nut and frame carry this in every portion.",
        Limit("most", "limits.thrust", "The limit of thrust would stop every portion (IL-11): "
              "widen the nozzle, warm the dough or push slower; raise no limit without the parts' "
              "ratings.", 1.25)),
)  # fmt: skip
"""Rows that come before the screw."""

STALL_ROWS = (
    Row("barrel.stall", "barrel pressure at stall", "bar", "F / (pi D^2 / 4)",
        ("thrust.stall", "feed.bore"), lambda force, bore: barrel_pressure(force, bore_m=bore),
        "A blocked nozzle and a motor at its end give this, gauge.",
        Limit("most", "barrel.rated", "The motor can push the barrel beyond its rating: lower the "
              "motor's current, use a weaker motor, or a stronger barrel.", 1.5),
        safety=STORED, caution_above=CAUTION_PA),
    Row("barrel.fastener", "force on each fastener at stall", "N", "p pi D^2 / (4 n)",
        ("barrel.stall", "feed.bore", "barrel.fasteners"),
        lambda pressure, bore, n: fastener_load(pressure, bore_m=bore, fasteners=n),
        "Each carries this if all pull alike; it should be rated for four times as much.",
        Limit("most", "barrel.fastener_allowed", "A fastener carries more than a quarter of its "
              "rating: use more or stronger ones, metal threads, no wood screws or glue."),
        safety="A fastener that lets go throws the cap: stand aside of the axis, wear eye "
               "protection, and follow the maker's ratings."),
)  # fmt: skip
"""Rows that come after the motor."""

RATING_ROWS = (
    Row("barrel.fastener_allowed", "what a fastener may carry", "N", "rating / 4",
        ("barrel.fastener_rated",), lambda rated: rated / FASTENER_SAFETY,
        "A quarter of what its maker rates it for (common practice: 4 or more)."),
)  # fmt: skip
"""Rows of what is allowed, before what is held against it."""
