"""Whether the scale is fine enough, and how many weighings tell the mean."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import Impossible, Limit, Row, not_negative, positive

QUANTILES: dict[str, float] = {
    "90 %": 1.6448536269514722,
    "95 %": 1.959963984540054,
    "99 %": 2.5758293035489004,
}
"""Certainty, two-sided, to the quantile of the normal distribution (NIST e-Handbook, 1.3.6.7.1)."""

WEIGHINGS_MAX = 100_000


def weighing_sd(step_kg: float, *, repeatability_kg: float) -> float:
    """Return the standard deviation of one weighing.

    sqrt(d^2 / 12 + s^2).

    Parameters:  step_kg : scalar, float [kg], > 0; smallest step shown. repeatability_kg : scalar,
        float [kg], >= 0
    Returns:     sd : scalar, float [kg]
    Raises:      Impossible: names the argument
    Source:      JCGM 100:2008 (GUM), 4.3.7: rounding is a rectangular distribution
    Example:     a step of 1 g on 20 g gives 1.4 % alone (common practice).
    """
    positive(step_kg=step_kg)
    not_negative(repeatability_kg=repeatability_kg)
    return math.sqrt(step_kg**2 / 12 + repeatability_kg**2)


def student(certainty: str, freedom: float) -> float:
    """Return the two-sided quantile of Student's t.

    z + g1/f + g2/f^2 + g3/f^3 + g4/f^4.

    Parameters:  certainty : a key of QUANTILES [-]. freedom : scalar, float [-], >= 3
    Returns:     t : scalar, float [-], right to 0.3 % from 5 degrees of freedom on
    Raises:      Impossible: names the argument
    Source:      Abramowitz and Stegun (1964), 26.7.5
    Example:     95 %, 10: 2.228 (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
    """
    if freedom < 3:
        raise Impossible(f"'freedom' is {freedom:g}; it must be 3 or more.")
    z = QUANTILES[certainty]
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92_160,
    )
    return z + sum(term / freedom ** (power + 1) for power, term in enumerate(terms))


def weighings(spread: float, *, within: float, certainty: str) -> float:
    """Return how many weighings put the mean within a share of itself.

    Least n with t(n-1) s / sqrt(n) <= E; at least 4.

    Parameters:  spread : scalar, float [-], > 0; standard deviation over mean, scale included.
        within : scalar, float [-], > 0; either way. certainty : a key of QUANTILES
    Returns:     n : scalar, whole float [-]
    Raises:      Impossible: names the argument; also where it takes more than 100000
    Source:      NIST/SEMATECH e-Handbook, 7.2.2.2, solved for n
    Example:     2 % within 0.9 % at 95 %: 22 (20 give +-0.9 % in common practice).
    """
    positive(spread=spread, within=within)
    z = QUANTILES[certainty]
    n = max(4, math.floor((z * spread / within) ** 2))
    while n <= WEIGHINGS_MAX:
        if student(certainty, n - 1) * spread / math.sqrt(n) <= within:
            return float(n)
        n += 1
    raise Impossible("'within' is too small for this spread: no number of weighings will do.")


ROWS = (
    Row("scale.sd", "spread of one weighing", "g", "sqrt(d^2/12 + repeatability^2)",
        ("scale.readability", "scale.repeatability"),
        lambda step, repeat: weighing_sd(step, repeatability_kg=repeat),
        "What the scale itself adds to what you see."),
    Row("scale.share", "scale's share of the tolerance", "%", "2 sd / tolerance",
        ("scale.sd", "portion.tolerance_kg"), lambda sd, allowed: 2 * sd / allowed,
        "Up to a third the scale hardly blurs what is right and what is not.",
        Limit("most", 1.0, "This scale cannot tell a right portion from a wrong one: weigh several "
              "together, or use a finer scale.", 3.3)),
    Row("scale.spread", "spread that will be seen", "%", "sqrt(spread^2 + (sd / aim)^2)",
        ("spread", "scale.sd", "aim"),
        lambda own, sd, aim: math.sqrt(own**2 + (sd / aim) ** 2),
        "The portions' own and the scale's together."),
    Row("scale.weighings", "weighings for the mean", "", "least n with t s / sqrt(n) <= E",
        ("scale.spread", "mean_within", "certainty"),
        lambda spread, within, sure: weighings(spread, within=within, certainty=sure),
        "So many put the mean within what the card asks, with the certainty it asks.", counts=True),
)  # fmt: skip
"""Rows of the sheet."""
