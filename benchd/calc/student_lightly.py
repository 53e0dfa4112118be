"""Quantiles of Student's t without scipy, which takes longer to load than `benchd why` takes for
the rest of what it does about one portion."""

from __future__ import annotations

from math import exp, lgamma, log, pi, sqrt
from statistics import NormalDist

STEPS = 100
CLOSE = 1e-13


def share_above(t: float, freedom: float) -> float:
    """Return the share of a Student's t variable above t.

    Parameters:  t : scalar, float [-], > 0; freedom : scalar, float [-], > 0
    Returns:     share : scalar, float [-], 0 to 0.5
    Source:      Abramowitz and Stegun, 26.7.1 and 26.5.8 (incomplete beta function)
    Example:     share_above(2.228, 10) is 0.025 (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
    """
    a, b, x = freedom / 2, 0.5, freedom / (freedom + t * t)
    if x < (a + 1) / (a + b + 2):
        return _beta(a, b, x, t * t / (freedom + t * t)) / 2
    return (1 - _beta(b, a, t * t / (freedom + t * t), x)) / 2


def _beta(a: float, b: float, x: float, rest: float) -> float:
    """Return the incomplete beta function I_x(a, b), x below (a + 1) / (a + b + 2); rest: 1 - x."""
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(rest)) / a
    # The continued fraction 26.5.8, from the front (Lentz's way; from memory).
    c, d = 1.0, 1 / (1 - (a + b) * x / (a + 1))
    value = d
    for m in range(1, STEPS):
        for step in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d, c = 1 / (1 + step * d), 1 + step / c
            value *= c * d
        if abs(c * d - 1) < CLOSE:
            break
    return front * value


def student(share: float, freedom: float) -> float:
    """Return the quantile of Student's t for a share above one half.

    Parameters:  share : scalar, float [-], above 0.5 and below 1; freedom : scalar, float [-], > 0
    Returns:     t : scalar, float [-], > 0
    Raises:      ValueError: a share that is not above 0.5 and below 1
    Source:      Newton's method on the logarithms, where the share above is concave (Abramowitz
        and Stegun, 26.7.1 for the density)
    Example:     student(0.975, 10) is 2.228 (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
    """
    if not 0.5 < share < 1:
        raise ValueError("The share must lie above 0.5 and below 1.")
    scale = lgamma((freedom + 1) / 2) - lgamma(freedom / 2) - log(freedom * pi) / 2
    t = max(NormalDist().inv_cdf(share), 1e-3)
    for _ in range(STEPS):
        above = share_above(t, freedom)
        density = exp(scale - (freedom + 1) / 2 * log(1 + t * t / freedom))
        # In one step by no more than a factor, for below the bulk the curve is flat.
        way = min(max(log(above / (1 - share)) * above / (t * density), -2.0), 2.0)
        t *= exp(way)
        if abs(way) < CLOSE * sqrt(STEPS):
            break
    return t
