"""Weights as people type them: which portion a weight belongs to, and whether to ask before taking
it."""

from __future__ import annotations

from collections.abc import Sequence

OUNCE_KG = 0.02834952
"""Source: NIST Special Publication 811 (2008), avoirdupois ounce."""

MASS_MAX_KG = 100.0
"""Below this, and above zero, is a weight (house rule)."""

PLAUSIBLE = 0.30
"""Share of the expected mass within which a weight is taken without a question (common
practice)."""

NEAR = 0.12
"""How near a guess must come to be named."""


IMPOSSIBLE = "A weight must be above 0 g and below 100 kg."


def impossible(mass_kg: float) -> bool:
    """Return whether no portion weighs that [kg]; the sentence is IMPOSSIBLE.

    Source: none needed: a rule of this project.
    """
    return not 0 < mass_kg < MASS_MAX_KG


def question(mass_kg: float, expected_kg: float) -> str | None:
    """Return what to ask before taking a weight, or None when it is plausible.

    Parameters: mass_kg : scalar [kg]; the weight as typed. expected_kg : scalar [kg], > 0; the aim,
    or the mean so far.
    Returns: a sentence that names the likely slip, or None.
    Raises: ValueError when the mass is not above zero or not finite.
    Source: slips of weighing as listed by common practice: lost decimal point, two on the pan,
    ounces, empty pan.
    Example: question(0.198, 0.0198) asks about 198 for 19.8.
    """
    if impossible(mass_kg):
        raise ValueError(IMPOSSIBLE)
    ratio = mass_kg / expected_kg
    if abs(ratio - 1) <= PLAUSIBLE:
        return None
    typed, expected = f"{round(mass_kg * 1000, 3):.9g} g", f"{expected_kg * 1000:.1f} g"
    guesses: Sequence[tuple[float, str]] = (
        (10.0, f"Did the decimal point slip: {mass_kg * 100:.1f} g?"),
        (0.1, f"Did the decimal point slip: {mass_kg * 10000:.1f} g?"),
        (2.0, "Two on the pan?"),
        (1 / 28.34952, f"Was that in ounces: {mass_kg / 0.001 * OUNCE_KG * 1000:.1f} g?"),
        (28.34952, "Was that in grams, not ounces?"),
    )
    for factor, text in guesses:
        if abs(ratio / factor - 1) <= NEAR:
            return f"{typed} where about {expected} is expected. {text}"
    return f"{typed} where about {expected} is expected. Is that right?"


DENSITY_KG_M3 = 1200.0
"""Density of dough with its air, where no dough card was used yet (common practice)."""

TUBE_SHARE_MIN = 0.1
"""Share of what the barrel holds below which a tube's net mass is asked about (house rule)."""


def tube_question(net_kg: float, full_kg: float) -> str | None:
    """Return what to ask before taking a tube's net mass, or None when it is plausible.

    Parameters: net_kg : scalar [kg], > 0; the mass as typed. full_kg : scalar [kg], > 0; what the
    barrel holds over its whole travel.
    Source: none needed: a rule of this project, with a slip of the decimal point as in `question`.
    Example: tube_question(4.0, 0.5) asks about 400 g.
    """

    most_kg = full_kg * (1 + PLAUSIBLE)
    if full_kg * TUBE_SHARE_MIN <= net_kg <= most_kg:
        return None
    slips = [other for other in (net_kg / 10, net_kg * 10) if full_kg / 2 <= other <= most_kg]
    guess = f"Did the decimal point slip: {slips[0] * 1000:.6g} g?" if slips else "Is that right?"
    return (
        f"{net_kg * 1000:.6g} g in a tube, where the barrel holds about {full_kg * 1000:.0f} g. "
        f"{guess}"
    )


def pick_portion(unweighed: Sequence[int], asked: int | None) -> int | None:
    """Return the portion [-] a weight belongs to: the one asked for, else the oldest unweighed,
    else None.

    Source: none needed: a rule of this project.
    """
    if asked is not None:
        return asked
    return unweighed[0] if unweighed else None
