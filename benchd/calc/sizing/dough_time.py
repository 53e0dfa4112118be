"""How long dough may stay out of the cold, and whether a tube is used up by then."""

from __future__ import annotations

from benchd.calc.sizing.base import Impossible, Limit, Row, not_negative

HOT_C = 32.0
"""Above this room temperature dough may stay out half as long [C]."""

OUT_S, OUT_HOT_S = 7200.0, 3600.0
"""Time out of the cold [s]: general public advice (2 h, 1 h above 32 C / 90 F)."""

SHORT_H, LONG_H, LONG_BELOW_C = 4.0, 6.0, 21.0
"""Times out of the cold by written procedure [h], and the dough's temperature [C] below which the
longer one holds (Food Code, 3-501.19)."""


def time_out(room_c: float) -> float:
    """Return how long dough may stay out of the cold by general public advice.

    2 h, and 1 h above 32 C.

    Parameters:  room_c : scalar, float [C]
    Returns:     time : scalar, float [s]
    Source:      public food safety advice, US FDA: two-hour rule
    Example:     21 C: 7200 s; 33 C: 3600 s.
    """
    return OUT_HOT_S if room_c > HOT_C else OUT_S


def time_by_procedure(hours: float, *, room_c: float) -> float:
    """Return how long dough may stay out where a written procedure made beforehand says so.

    4 h, or 6 h where it never gets above 21 C; marked, watched, and thrown away after.

    Parameters:  hours : scalar, float [h], 4 or 6. room_c : scalar, float [C]; the dough gets as
        warm as the room
    Returns:     time : scalar, float [s]
    Raises:      Impossible: names the argument
    Validity:    local food rules stand above it, and many places allow neither.
    Source:      US FDA Food Code, 3-501.19, time as a public health control
    Example:     4 h: 14400 s; 6 h at 20 C: 21600 s.
    """
    if hours == LONG_H and room_c > LONG_BELOW_C:
        raise Impossible(
            f"'time_out' of 6 h holds only where dough never gets above 21 C (70 F); the room has "
            f"{room_c:g} C."
        )
    if hours not in (SHORT_H, LONG_H):
        raise Impossible(f"'hours' is {hours:g}; the rule has 4 and 6.")
    return hours * 3600.0


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


_RAW = "Do not taste raw dough; keep it cold, bake it fully, wash hands and parts."
_WRITTEN = (
    "Only as your written procedure says, made beforehand, with marked dough that is thrown away "
    "after; local food rules stand above this sheet and may allow less."
)

ROWS = (
    Row("dough.time_out", "dough may stay out", "min", "2 h, above 32 C 1 h (public advice)",
        ("room.celsius",), time_out,
        "Counted from the cold, filling and breaks included; 1 h once the room is above "
        "32 C. Longer only by a written procedure under local food rules, which stand above this "
        "sheet.",
        safety=_RAW, only=(("time_out", "advice"),)),
    *(
        Row("dough.time_out", "dough may stay out", "min", f"{hours:g} h (Food Code 3-501.19)",
            ("room.celsius",),
            lambda room, hours=hours: time_by_procedure(hours, room_c=room),
            _WRITTEN, safety=_RAW, only=(("time_out", f"{hours:g}h-by-written-procedure"),))
        for hours in (SHORT_H, LONG_H)
    ),
    Row("tube.time", "time to use up a tube", "min", "portions x shortest period",
        ("tube.portions", "period.shortest"), lambda n, period: tube_time(n, period_s=period),
        "At the shortest period; what the tube was out before comes on top.",
        Limit("most", "dough.time_out", "A tube lasts longer than dough may stay out: fill less, "
              "or portion faster.", 2.0), counts=True),
)  # fmt: skip
"""Rows of the sheet."""
