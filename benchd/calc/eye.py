"""When the eye counts as seeing dough, from its two taught levels."""

from __future__ import annotations

UNTAUGHT = (1023, 0)
"""Thresholds (on, off) of an eye that was never taught: dough is never seen, and so IL-09 stops."""

SPAN_MIN = 60
"""Least distance between the taught levels [counts]; closer ones overlap in a sensor's noise."""

HYSTERESIS = 0.2
"""Share of the span between going on and going off."""


def thresholds(empty: int, *, dough: int) -> tuple[int, int]:
    """Return at which levels dough counts as seen and as gone.

    Midway between the levels, with a hysteresis of 20 % of their span: on at 60 %, off at 40 %.

    Parameters:  empty : scalar, int [counts], 0 to 1023; level without dough
        dough : scalar, int [counts], 0 to 1023; level with dough, at least SPAN_MIN above `empty`
    Returns:     on, off : scalars, int [counts]; on > off
    Raises:      ValueError: levels outside the range, overlapping, or inverted; the text says which
    Source:      common practice for a switching threshold (midway, hysteresis a fifth of the span)
    Example:     thresholds(240, dough=830) is (594, 476), computed by hand.
    """
    for level in (empty, dough):
        if not 0 <= level <= 1023:
            raise ValueError(f"A level of {level} counts is not possible; the eye reads 0 to 1023.")
    span = dough - empty
    if span <= -SPAN_MIN:
        raise ValueError(
            f"The eye reads {dough} with dough and {empty} without: it is inverted. "
            "Swap its wiring or its output mode, so that dough reads higher."
        )
    if span < SPAN_MIN:
        raise ValueError(
            f"The levels {empty} (empty) and {dough} (dough) overlap; they must be at least "
            f"{SPAN_MIN} counts apart. Move the eye closer, shade it or turn it, then teach again."
        )
    middle = (empty + dough) / 2
    half = HYSTERESIS * span / 2
    return round(middle + half), round(middle - half)
