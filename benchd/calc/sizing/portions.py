"""Portions: stroke, length of strand, and how many a tube gives."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import Impossible, Limit, Row, disc_area, not_negative, positive


def stroke(mass_kg: float, *, bore_m: float, density_kg_m3: float) -> float:
    """Return the way of the plunger for a portion, draw-back not counted.

    m / (rho pi D^2 / 4).

    Parameters:  mass_kg : scalar, float [kg], > 0. bore_m : scalar, float [m], > 0. density_kg_m3
        : scalar, float [kg/m^3], > 0; with its air
    Returns:     way : scalar, float [m]
    Raises:      Impossible: names the argument that is not above zero
    Source:      mass is kept
    Example:     30 g, 50 mm, 1.15 g/cm3: 13.286 mm, by hand.
    """
    positive(mass_kg=mass_kg, density_kg_m3=density_kg_m3)
    return mass_kg / (density_kg_m3 * disc_area(bore_m))


def strand_length(mass_kg: float, *, strand_m: float, density_kg_m3: float) -> float:
    """Return how long a piece of strand is.

    m / (rho pi d^2 / 4).

    Parameters:  mass_kg : scalar, float [kg], > 0. strand_m : scalar, float [m], > 0; diameter
        after swelling. density_kg_m3 : scalar, float [kg/m^3], > 0
    Returns:     length : scalar, float [m]
    Raises:      Impossible: names the argument that is not above zero
    Source:      mass is kept
    Example:     20 g, 20 mm, 1.2 g/cm3: 53.05 mm (53 mm in common practice), by hand.
    """
    positive(mass_kg=mass_kg, density_kg_m3=density_kg_m3)
    return mass_kg / (density_kg_m3 * disc_area(strand_m))


def portions(useful_m: float, *, prime_m: float, stroke_m: float) -> float:
    """Return how many whole portions fit the way that is left after priming.

    floor((useful - prime) / stroke).

    Parameters:  useful_m : scalar, float [m], > 0; travel less heel. prime_m : scalar, float [m],
        >= 0. stroke_m : scalar, float [m], > 0
    Returns:     portions : scalar, whole float [-], >= 0
    Raises:      Impossible: names the argument
    Source:      division
    Example:     187 mm, 0, 8.5 mm: 22 (common practice for 470 g in 20 g portions), by hand.
    """
    positive(useful_m=useful_m, stroke_m=stroke_m)
    not_negative(prime_m=prime_m)
    return float(max(0, math.floor((useful_m - prime_m) / stroke_m + 1e-9)))


def _useful(travel: float, heel: float) -> float:
    if heel >= travel:
        raise Impossible("'feed.heel' is as long as the whole travel.")
    return travel - heel


def _before_film(useful: float, film: float) -> float:
    if film >= useful:
        raise Impossible("'film' is as long as the whole useful travel.")
    return useful - film


RATING_ROWS = (
    Row("portion.tolerance_kg", "what a portion may be off", "g", "aim x tolerance",
        ("aim", "tolerance"), lambda aim, share: aim * share,
        "Either way, by the dough card."),
)  # fmt: skip
"""Rows of what is allowed, before what is held against it."""

ROWS = (
    Row("portion.stroke", "stroke of a portion", "mm", "m / (density x pi D^2 / 4)",
        ("aim", "feed.bore", "density"),
        lambda aim, bore, rho: stroke(aim, bore_m=bore, density_kg_m3=rho),
        "Net way of the plunger; tune it at the bench, for dough packs under pressure."),
    Row("strand.diameter", "diameter of the strand", "mm", "nozzle bore x swell",
        ("nozzle.bore", "swell"), lambda bore, swell: bore * swell,
        "Dough swells as it leaves the nozzle."),
    Row("portion.length", "length of a portion", "mm", "m / (density x pi d^2 / 4)",
        ("aim", "strand.diameter", "density"),
        lambda aim, strand, rho: strand_length(aim, strand_m=strand, density_kg_m3=rho),
        "The piece is this long before it falls."),
    Row("feed.useful", "useful travel", "mm", "travel - heel", ("feed.travel", "feed.heel"),
        _useful, "The plunger pushes dough over this way."),
    Row("tube.portions", "portions of a tube", "", "floor((useful - film - prime) / stroke)",
        ("feed.useful", "film", "prime", "portion.stroke"),
        lambda useful, film, prime, way: portions(
            _before_film(useful, film), prime_m=prime, stroke_m=way),
        "A heel of film and dough stays behind, always; search the last portions for film.",
        Limit("least", 1.0, "A tube does not give a single portion."), counts=True),
)  # fmt: skip
"""Rows of the sheet."""
