"""Weights as people type them: which portion a weight belongs to, and whether to ask before taking
it."""

from __future__ import annotations

from collections.abc import Sequence

OUNCE_KG = 0.02834952
"""Source: NIST Special Publication 811 (2008), avoirdupois ounce."""

PLAUSIBLE = 0.30
"""Share of the expected mass within which a weight is taken without a question (common
practice)."""

NEAR = 0.12
"""How near a guess must come to be named."""


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
    if not 0 < mass_kg < 100:
        raise ValueError("A weight must be above 0 g and below 100 kg.")
    ratio = mass_kg / expected_kg
    if abs(ratio - 1) <= PLAUSIBLE:
        return None
    typed, expected = f"{mass_kg * 1000:.1f} g", f"{expected_kg * 1000:.1f} g"
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


def pick_portion(unweighed: Sequence[int], asked: int | None) -> int | None:
    """Return the portion a weight belongs to: the one asked for, else the oldest unweighed, else
    None."""
    if asked is not None:
        return asked
    return unweighed[0] if unweighed else None
