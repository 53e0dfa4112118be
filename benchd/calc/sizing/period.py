"""The shortest period of a series, phase by phase."""

from __future__ import annotations

import math

from benchd.calc.push import NO_PUSH, is_slip, push_way
from benchd.calc.sizing.base import Impossible, Row, not_negative, positive


def move_time(way_m: float, *, speed_m_s: float, accel_m_s2: float) -> float:
    """Return the time of a feed move that starts and ends at rest.

    s/v + v/a, or 2 sqrt(s/a) where the speed is not reached.

    Parameters:  way_m : scalar, float [m], >= 0. speed_m_s : scalar, float [m/s], > 0. accel_m_s2
        : scalar, float [m/s^2], > 0
    Returns:     time : scalar, float [s]
    Raises:      Impossible: names the argument
    Source:      motion at constant acceleration
    Example:     10 mm at 4 mm/s and 50 mm/s2: 2.58 s, by hand.
    """
    not_negative(way_m=way_m)
    positive(speed_m_s=speed_m_s, accel_m_s2=accel_m_s2)
    if speed_m_s**2 / accel_m_s2 >= way_m:
        return 2 * math.sqrt(way_m / accel_m_s2)
    return way_m / speed_m_s + speed_m_s / accel_m_s2


def shortest(phases_s: float) -> float:
    """Return the shortest period of a series: its phases, a twentieth and a tenth of a second.

    1.05 t + 0.1 s, to a tenth of a second.

    Parameters:  phases_s : scalar, float [s], >= 0
    Returns:     period : scalar, float [s]
    Raises:      Impossible: names the argument
    Source:      the rule of this project's daemon, kept apart on purpose
    Example:     3.3 s: 3.6 s, by hand.
    """
    not_negative(phases_s=phases_s)
    return round(phases_s * 1.05 + 0.1, 1)


def _phases(
    take_up: float, way: float, back: float, push: float, draw: float, accel: float, settle: float,
    still: float, cut: float, dwell: float, home: float,
) -> float:  # fmt: skip
    return (
        move_time(take_up, speed_m_s=push, accel_m_s2=accel)
        + move_time(way, speed_m_s=push, accel_m_s2=accel)
        + move_time(back, speed_m_s=draw, accel_m_s2=accel)
        + max(settle, still)
        + cut
        + dwell
        + home
    )


def _push(net: float, back: float, up: float) -> float:
    way = push_way(net, draw_back_m=back, take_up_m=up)
    if way <= 0:
        raise Impossible(NO_PUSH)
    return way


def _given(way: float, net: float, back: float, up: float, per_way: float) -> float:
    gives_kg = (way + up - back) * per_way
    if is_slip(way, _push(net, back, up)):
        gives_g = max(0.0, gives_kg) * 1e3
        raise Impossible(
            f"'stroke' gives {gives_g:.4g} g at this bore and density, far off the aim; the daemon "
            "would refuse this dough card. Tune the stroke again, or leave it out."
        )
    return gives_kg


_BY_AIM = ("portion.stroke", "draw_back", "take_up")

ROWS = (
    Row("portion.given", "the card's stroke gives", "g", "(stroke + take-up - draw-back) x g/mm",
        ("stroke", *_BY_AIM, "feed.mass_per_way"), _given,
        "By bore and density alone; dough packs under pressure, so a tuned one may give the aim.",
        only=(("stroke.given", "yes"),)),
    Row("portion.push", "way of the push", "mm", "the dough card's stroke", ("stroke",),
        lambda way: way, "As the dough card says.", only=(("stroke.given", "yes"),)),
    Row("portion.push", "way of the push", "mm", "stroke + draw-back - take-up",
        _BY_AIM, _push, "By aim and density, as no stroke is given for it.",
        only=(("stroke.given", "no"),)),
    Row("period.phases", "time of one portion", "s",
        "take-up + push + draw-back + settle + cut + dwell + return",
        ("take_up", "portion.push", "draw_back", "push_speed", "feed.draw_speed", "feed.accel",
         "settle",
         "feed.still", "cutter.cut_time", "dwell", "cutter.return_time"), _phases,
        "By the usual times on the cards."),
    Row("period.shortest", "shortest period of a series", "s", "1.05 x phases + 0.1 s",
        ("period.phases",), shortest, "A series cannot beat faster than this."),
)  # fmt: skip
"""Rows of the sheet."""
