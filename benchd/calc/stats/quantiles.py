"""Quantiles of the usual distributions, from the light half of scipy."""

from __future__ import annotations


def normal(share: float) -> float:
    """Return the value that a standard normal variable stays below with this share [-].

    Source:      scipy.special.ndtri
    Example:     normal(0.975) is 1.95996.
    """
    from scipy.special import ndtri

    return float(ndtri(share))


def normal_share(value: float) -> float:
    """Return the share [-] of a standard normal variable below a value [-].

    Source:      scipy.special.ndtr
    Example:     normal_share(1.95996) is 0.975.
    """
    from scipy.special import ndtr

    return float(ndtr(value))


def student(share: float, freedom: float) -> float:
    """Return the quantile [-] of Student's t for a share [-] and degrees of freedom [-], > 0.

    Source:      scipy.special.stdtrit
    Example:     student(0.975, 10) is 2.228 (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
    """
    from scipy.special import stdtrit

    return float(stdtrit(freedom, share))


def chi_square(share: float, freedom: float) -> float:
    """Return the quantile [-] of chi-square for a share [-] and degrees of freedom [-], > 0.

    Source:      scipy.special.chdtri, which takes the share above
    Example:     chi_square(0.975, 9) is 19.023 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
    """
    from scipy.special import chdtri

    return float(chdtri(freedom, 1.0 - share))


def fisher(share: float, above: float, below: float) -> float:
    """Return the quantile [-] of F for a share [-]; degrees of freedom above and below [-], > 0.

    Source:      scipy.special.fdtri
    Example:     fisher(0.95, 10, 10) is 2.978 (NIST/SEMATECH e-Handbook, 1.3.6.7.3).
    """
    from scipy.special import fdtri

    return float(fdtri(above, below, share))


def beta(share: float, successes: float, failures: float) -> float:
    """Return the quantile [-] of the beta distribution for a share [-] and two shapes [-], > 0.

    Source:      scipy.special.betaincinv
    Example:     beta(0.5, 1, 1) is 0.5.
    """
    from scipy.special import betaincinv

    return float(betaincinv(successes, failures, share))
