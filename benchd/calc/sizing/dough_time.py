"""How long dough may stay out of the cold, and whether a tube is used up by then."""

from __future__ import annotations

from benchd.calc.sizing.base import Limit, Row, not_negative

HOT_C = 32.0
"""Above this room temperature dough may stay out half as long [C]."""

OUT_S, OUT_HOT_S = 7200.0, 3600.0
"""Time out of the cold [s]: general public advice (2 h, 1 h above 32 C / 90 F)."""


def time_out(room_c: float) -> float:
    """Return how long dough may stay out of the cold by general public advice.

    2 h, and 1 h above 32 C. Longer times (the Food Code's 4 h or 6 h as a time control, section
    3-501.19) need a written procedure made beforehand, marked food, and local rules; this gives
    none of them.

    Parameters:  room_c : scalar, float [C]
    Returns:     time : scalar, float [s]
    Source:      public food safety advice, US FDA: two-hour rule
    Example:     21 C: 7200 s; 33 C: 3600 s.
    """
    return OUT_HOT_S if room_c > HOT_C else OUT_S


def tube_time(portions: float, *, period_s: float) -> float:
    """Return how long a tube lasts in a series.

    n T.

    Parameters:  portions : scalar, float [-], >= 0. period_s : scalar, float [s], >= 0
    Returns:     time : scalar, float [s]
    Raises:      Impossible: names the argument
    Source:      multiplication
    Example:     22 portions every 8 s: 176 s, by hand.
    """
    not_negative(portions=portions, period_s=period_s)
    return portions * period_s


ROWS = (
    Row("dough.time_out", "dough may stay out", "min", "2 h, above 32 C 1 h (public advice)",
        ("room.celsius",), time_out,
        "Counted from the cold, filling and breaks included. Longer only by a written procedure "
        "under local food rules, which stand above this sheet.",
        safety="Do not taste raw dough; keep it cold, bake it fully, wash hands and parts."),
    Row("tube.time", "time to use up a tube", "min", "portions x shortest period",
        ("tube.portions", "period.shortest"), lambda n, period: tube_time(n, period_s=period),
        "At the shortest period; what the tube was out before comes on top.",
        Limit("most", "dough.time_out", "A tube lasts longer than dough may stay out: fill less, "
              "or portion faster.", 2.0)),
)  # fmt: skip
"""Rows of the sheet."""
