"""What standing still does to dough: the stress that it holds up relaxes, and it stiffens."""

from __future__ import annotations

import math


def relaxed(rest_s: float, half_s: float, kept: float) -> float:
    """Share of its yield stress that dough still holds up after a rest [-], 1 to kept.

    Arguments: rest_s: time since the last push [s]; half_s: time in which it loses three tenths
    of what it can lose [s]; kept: share that it never loses [-].
    Source: common practice writes 0.4, 0.35 and 0.25 of it with times of 0.3, 3 and 30 s; this is
    the power law that they follow, (1 + t/half)^(-1/2), within 0.06 of them.
    """
    return kept + (1.0 - kept) / math.sqrt(1.0 + rest_s / half_s)


def stiffened(rest_s: float, per_decade: float) -> float:
    """Multiple of its yield stress at which dough begins to flow again after a rest [-], 1 or more.

    Arguments: rest_s [s]; per_decade: growth by each tenfold of the rest beyond 1 s [-].
    Source: common practice, 0.05 to 0.30 a decade of seconds.
    """
    return 1.0 + per_decade * math.log10(1.0 + rest_s)
