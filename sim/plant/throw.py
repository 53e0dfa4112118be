"""What becomes of a severed piece: whether it sticks to the blade, and how far away it lands."""

from __future__ import annotations

import math

_STICKY_SPREAD_M_S = 0.012
_SELDOM = 1.0e-3
_USUAL_WIDTH_M = 0.0264

GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s2]. Source: NIST SP 811 (2008)."""


def throw_m(blade_m_s: float, height_m: float, share: float) -> float:
    """Way [m] that a piece goes sideways while it falls.

    Arguments: blade_m_s: speed of the blade through the dough [m/s]; height_m: fall [m]; share of
    the blade's speed that the piece takes along [-].
    Source: free fall of a body thrown level, x = v sqrt(2 h / g), as in textbooks of mechanics.
    """
    return share * blade_m_s * math.sqrt(2.0 * height_m / GRAVITY_M_S2)


def dragged(share: float, width_m: float) -> float:
    """Share of the blade's speed that a piece takes along [-], 1 at most.

    Arguments: share: of a strand 26 mm wide [-]; width_m [m] of this one.
    Source: common practice: 0.2 to 0.6, and a narrower portion is thrown less; in proportion to the
    width by which the blade holds it.
    """
    return min(1.0, share * width_m / _USUAL_WIDTH_M)


def sticking(return_m_s: float, sticky_m_s: float) -> float:
    """Chance that a piece stays on the blade [-]; 0 where it would be less than 1 in 1000.

    Arguments: return_m_s: speed of the blade on its way back [m/s]; sticky_m_s: that at which half
    of the pieces stick [m/s].
    Source: common practice, 1 / (1 + exp(-(adhesion - speed of the return) / spread)).
    """
    chance = 1.0 / (1.0 + math.exp(min(50.0, (return_m_s - sticky_m_s) / _STICKY_SPREAD_M_S)))
    return chance if chance >= _SELDOM else 0.0
