"""The way of a portion's push, and when the one that a card says is taken for a slip."""

from __future__ import annotations

STROKE_DOUBT = 0.3
"""Share by which a stroke may be off what aim and density ask for."""

NO_PUSH = "'take_up' is longer than the whole portion; shorten it."
"""What is said of a push with no way left."""


def push_way(net_m: float, *, draw_back_m: float, take_up_m: float) -> float:
    """Return how far the plunger pushes for a portion.

    Parameters:  net_m : scalar, float [m]; feed that the dough of a portion takes up. draw_back_m,
        take_up_m : scalars, float [m]; what the draw-back takes beyond the take-up comes on top
    Returns:     way : scalar, float [m]; 0 or less where the take-up leaves none
    Source:      sum of the ways of one portion, which begins and ends drawn back
    Example:     13.3 mm, 2 mm back, 1.5 mm up: 13.8 mm, by hand.
    """
    return net_m + draw_back_m - take_up_m


def is_slip(stroke_m: float, right_m: float) -> bool:
    """Return whether a stroke is so far from the right one that it is taken for a slip.

    Parameters:  stroke_m : scalar, float [m]. right_m : scalar, float [m], > 0
    Returns:     slip : scalar, bool
    Source:      none needed: a rule of this project
    Example:     is_slip(0.0131, 0.010) is True, is_slip(0.0129, 0.010) is False.
    """
    return abs(stroke_m / right_m - 1) > STROKE_DOUBT
