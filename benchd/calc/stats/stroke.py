"""A proposal for the stroke, from the mean of the newest weights: never from single ones.

Feedback from portion to portion adds spread where neighbours give to each other; means of four to
ten do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum, sqrt
from typing import NamedTuple

from benchd.calc.spread import mean_sd
from benchd.calc.stats.odd import odd_ones
from benchd.calc.stats.order import alternates

LEAST, MOST = 4, 10
"""Weights that a mean is made of."""

ALTERNATING_LEAST = 8
"""Where neighbours alternate, weights below which nothing is proposed."""

DEAD_ERRORS, DEAD_SHARE = 1.5, 0.005
"""Nothing is proposed within so many standard errors of the mean, or this share of the aim."""

ONCE_MOST, TOTAL_MOST = 0.02, 0.10
"""Largest change of the stroke at once, and from the card's first stroke in all."""


class Proposal(NamedTuple):
    """A stroke, or why there is none."""

    stroke_m: float | None
    """None when the stroke should stay."""
    why: str
    """'off' where a stroke is proposed; else 'few', 'within', 'alternating' or 'limit'."""
    n: int
    """Weights that the mean is made of."""
    mean_kg: float | None
    dead_band_kg: float | None
    held: tuple[int, ...]
    """Places of odd weights that were not used."""
    capped: bool = False
    """Whether a limit made the change smaller than the mean asks for."""


def propose(
    values_kg: Sequence[float],
    positions: Sequence[int],
    *,
    aim_kg: float,
    stroke_m: float,
    first_stroke_m: float,
    scale_sd_kg: float,
    odd: Sequence[int] | None = None,
) -> Proposal:
    """Return the stroke that would bring the mean to the aim, or why it should stay.

    stroke (1 + k (aim - mean) / mean) with k = 1 - (error / (aim - mean))^2, at most 2 % at once
    and 10 % from the first stroke.

    Parameters:  values_kg : (n,), float [kg]; normal portions made with this stroke, in order.
        positions : (n,), int [portions], rising. aim_kg [kg], stroke_m, first_stroke_m [m] :
        scalars, > 0. scale_sd_kg : scalar [kg]; of one weighing. odd : places of odd weights, where
        the caller looked for them; None looks for them here
    Returns:     a stroke [m] or None, why, and what it rests on
    Source:      mass in proportion to stroke (conservation); k as in James and Stein's shrinkage;
        dead band, limits and the size of groups are common practice
    Example:     ten weights of about 30.6 g for an aim of 30 g: 2 % less stroke.
    """
    odd = odd_ones(values_kg, least=scale_sd_kg) if odd is None else odd
    usual = [at for at in range(len(values_kg)) if at not in odd]
    newest = usual[-MOST:]
    n = len(newest)
    held = tuple(odd)
    if n < LEAST:
        return Proposal(None, "few", n, None, None, held)
    alternating = n >= ALTERNATING_LEAST // 2 and _alternates(values_kg, positions, usual)
    if alternating:
        if n < ALTERNATING_LEAST:
            return Proposal(None, "alternating", n, None, None, held)
        # An even number, so that the last one's debt is small beside the sum.
        newest = newest[n % 2 :]
    values = [values_kg[at] for at in newest]
    n = len(values)
    mean = fsum(values) / n
    error = max(mean_sd(values)[1], scale_sd_kg) / sqrt(n)
    dead_band = max(DEAD_ERRORS * error, DEAD_SHARE * aim_kg)
    if abs(mean - aim_kg) <= dead_band:
        return Proposal(None, "within", n, mean, dead_band, held)
    # The less sure the mean, the smaller the step: chance alone must not be chased.
    asked = (aim_kg - mean) / mean * (1 - (error / (mean - aim_kg)) ** 2)
    change = min(ONCE_MOST, max(-ONCE_MOST, asked))
    # A stroke that a person put beyond the limit comes back by small steps too.
    low = min(stroke_m, first_stroke_m * (1 - TOTAL_MOST))
    high = max(stroke_m, first_stroke_m * (1 + TOTAL_MOST))
    proposed = min(high, max(low, stroke_m * (1 + change)))
    capped = abs(proposed / stroke_m - 1) < abs(asked) - 1e-9
    if abs(proposed / stroke_m - 1) < 1e-6 or (proposed - stroke_m) * asked < 0:
        return Proposal(None, "limit", n, mean, dead_band, held, True)
    return Proposal(proposed, "off", n, mean, dead_band, held, capped)


def _alternates(values_kg: Sequence[float], positions: Sequence[int], usual: Sequence[int]) -> bool:
    values = [values_kg[at] for at in usual]
    return len(values) > 3 and alternates(values, [positions[at] for at in usual])
