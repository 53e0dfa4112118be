"""The air cylinder of the cutter: force both ways, and whether it is enough for the cut."""

from __future__ import annotations

from benchd.calc.sizing.base import Limit, Row, disc_area, not_negative, positive, ring_area

BLADE = (
    "Even 40 N on an edge cuts: a fixed or interlocked guard, no hands near it with air on, and "
    "the lowest pressure that cuts clean. Makers' instructions and a qualified person stand above "
    "this sheet."
)


def push_force(pressure_pa: float, *, bore_m: float) -> float:
    """Return the force of a cylinder as its rod goes out.

    p pi D^2 / 4, without friction and against open air.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge. bore_m : scalar, float [m], > 0
    Returns:     force : scalar, float [N]
    Raises:      Impossible: names the argument
    Source:      definition of pressure; tables of makers of cylinders after ISO 6432 agree
    Example:     bore 16 mm at 2 bar: 40.2 N.
    """
    not_negative(pressure_pa=pressure_pa)
    return pressure_pa * disc_area(bore_m)


def pull_force(pressure_pa: float, *, bore_m: float, rod_m: float) -> float:
    """Return the force of a cylinder as its rod comes in.

    p pi (D^2 - d^2) / 4, without friction and against open air.

    Parameters:  pressure_pa : scalar, float [Pa], >= 0; gauge. bore_m : scalar, float [m], > 0.
        rod_m : scalar, float [m], >= 0, below the bore
    Returns:     force : scalar, float [N]
    Raises:      Impossible: names the argument
    Source:      definition of pressure; tables of makers of cylinders after ISO 6432 agree
    Example:     bore 16 mm, rod 6 mm at 2 bar: 34.6 N.
    """
    not_negative(pressure_pa=pressure_pa)
    return pressure_pa * ring_area(bore_m, rod_m=rod_m)


def cut_force(strand_m: float, *, per_width_n_m: float) -> float:
    """Return the highest force of a straight blade through a round strand.

    The chord at its widest, the diameter, times the force per width.

    Parameters:  strand_m : scalar, float [m], > 0. per_width_n_m : scalar, float [N/m], > 0
    Returns:     force : scalar, float [N]
    Raises:      Impossible: names the argument that is not above zero
    Validity:    soft dough: 2 to 15 N for 20 mm (common practice); cold dough 2 to 5 times that.
    Source:      common practice: cutting force goes with the width under the blade
    Example:     20 mm at 0.5 N/mm: 10 N, by hand.
    """
    positive(strand_m=strand_m, per_width_n_m=per_width_n_m)
    return strand_m * per_width_n_m


def stall_pressure(force_n: float, *, area_m2: float) -> float:
    """Return the gauge pressure that balances a force on an area.

    F / A.

    Parameters:  force_n : scalar, float [N], >= 0. area_m2 : scalar, float [m^2], > 0
    Returns:     pressure : scalar, float [Pa]
    Raises:      Impossible: names the argument
    Source:      definition of pressure
    Example:     40.2 N on 201 mm2: 2 bar.
    """
    not_negative(force_n=force_n)
    positive(area_m2=area_m2)
    return force_n / area_m2


_WEAK_HOME = Limit(
    "least", "cutter.needs", "The way home is weaker than a cut: a blade that stuck may not come "
    "back.", 1.5, soft=True,
)  # fmt: skip


def _left(force: float, against: float) -> float:
    return max(0.0, force - against)


ROWS = (
    Row("cutter.needs", "force of the cut", "N", "width of the strand x force per width",
        ("strand.diameter", "cut_per_width"),
        lambda strand, per: cut_force(strand, per_width_n_m=per),
        "A narrower portion needs less, and cold dough two to five times as much."),
    Row("cutter.against", "spring against the way out", "N", "none in a double-acting cylinder",
        ("cutter.acting",), lambda _: 0.0, "Air brings this cylinder home.",
        only=(("cutter.acting", "double"),)),
    Row("cutter.against", "spring against the way out", "N", "as the card says",
        ("cutter.spring",), lambda spring: spring, "It brings the blade home.",
        Limit("least", "cutter.breakaway", "The spring is weaker than what starts the cylinder: "
              "the blade would stay out.", soft=True),
        only=(("cutter.acting", "single"),)),
    Row("cutter.set", "pressure of the cutter", "bar", "as the card says", ("cutter.pressure",),
        lambda p: p, "The card lets the cutter cut at it.",
        Limit("least", "limits.air_min", "The card lets nothing be cut at so little air (IL-16): "
              "raise cutter.pressure, or lower limits.air_min."),
        only=(("air.least", "given"),)),
    Row("cutter.allowed", "most that the card lets cut", "bar", "as the card says",
        ("limits.air_max",), lambda most: most, "Above this the card lets nothing be cut.",
        Limit("least", "cutter.pressure", "The card lets nothing be cut at so much air (IL-16): "
              "lower cutter.pressure; raise limits.air_max only within the makers' ratings."),
        only=(("air.least", "given"),)),
    Row("cutter.push", "cylinder force, out", "N", "p pi D^2/4 - friction - spring",
        ("cutter.pressure", "cutter.bore", "cutter.friction", "cutter.against"),
        lambda p, bore, drag, spring: _left(push_force(p, bore_m=bore), drag + spring),
        "With the friction of its seals and any spring taken off.",
        Limit("least", "cutter.needs", "The cylinder cannot push the blade through this strand: a "
              "narrower nozzle, warmer dough or a larger bore.", 2.0),
        safety=BLADE, caution_above=20.0),
    Row("cutter.pull", "cylinder force, back", "N", "p pi (D^2 - d^2)/4 - friction",
        ("cutter.pressure", "cutter.bore", "cutter.rod", "cutter.friction"),
        lambda p, bore, rod, drag: _left(pull_force(p, bore_m=bore, rod_m=rod), drag),
        "The way home must overcome friction and dough that sticks.",
        _WEAK_HOME,
        safety=BLADE, caution_above=20.0, only=(("cutter.acting", "double"),)),
    Row("cutter.pull", "spring force, back", "N", "spring - friction",
        ("cutter.spring", "cutter.friction"), _left,
        "The spring alone must overcome friction and dough that sticks.",
        _WEAK_HOME,
        safety=BLADE, caution_above=20.0, only=(("cutter.acting", "single"),)),
    Row("cutter.reach", "strand over the cutter's stroke", "%", "diameter / stroke",
        ("strand.diameter", "cutter.stroke"), lambda strand, way: strand / way,
        "Up to 60 % the blade has way to gather speed (common practice).",
        Limit("most", 1.0, "The stroke is shorter than the strand is wide: it cannot be cut "
              "through.", 1 / 0.6)),
    Row("cutter.width", "strand over the blade's width", "%", "diameter / blade width",
        ("strand.diameter", "cutter.blade"), lambda strand, blade: strand / blade,
        "The blade is wider than the strand.",
        Limit("most", 1.0, "The strand is wider than the blade: a bridge of dough stays uncut.",
              1.2)),
    Row("cutter.least_pressure", "least pressure that cuts", "bar",
        "(cut + breakaway + spring) / area",
        ("cutter.needs", "cutter.breakaway", "cutter.against", "cutter.bore"),
        lambda cut, drag, spring, bore: stall_pressure(
            cut + drag + spring, area_m2=disc_area(bore)),
        "Below this the blade stays in the dough.",
        Limit("most", "limits.air_min", "The card allows cuts at a pressure that does not get "
              "through this strand: raise limits.air_min.", 1.2, soft=True)),
)  # fmt: skip
"""Rows of the sheet."""
