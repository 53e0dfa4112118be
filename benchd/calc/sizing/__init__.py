"""Sizing: what a bench can do before anything moves, one calculation a file, one table of rows.

Pure, and apart from the simulated plant: neither shares a formula with the other.
"""

from __future__ import annotations

from benchd.calc.sizing import (
    air_flow,
    air_use,
    backwards,
    cutter_speed,
    cylinder,
    dough_time,
    feed_steps,
    motor,
    nozzle_flow,
    paste,
    period,
    portions,
    screw,
    start_delay,
    step_up,
    stored_energy,
    throw,
    thrust,
    weighing,
)
from benchd.calc.sizing.base import Row, rests_on

PARTS: tuple[tuple[str, tuple[Row, ...]], ...] = (
    ("what is allowed", (*portions.RATING_ROWS, *thrust.RATING_ROWS)),
    ("steps of the feed", feed_steps.ROWS),
    ("dough through the nozzle", (*nozzle_flow.ROWS, *paste.ROWS, *thrust.ROWS)),
    ("screw and motor", (*screw.ROWS, *motor.ROWS)),
    ("a blocked nozzle", thrust.STALL_ROWS),
    ("portions", portions.ROWS),
    ("cutter", (*cylinder.ROWS, *air_flow.ROWS, *cutter_speed.ROWS, *start_delay.ROWS)),
    ("throw", throw.ROWS),
    ("time", (*period.ROWS, *dough_time.ROWS)),
    ("air", air_use.ROWS),
    ("stored energy", stored_energy.ROWS),
    ("electrics", step_up.ROWS),
    ("scale", weighing.ROWS),
)
"""The single table of the sheet: its parts in order, each with its rows; a row may need those above
it."""

ROWS: tuple[Row, ...] = tuple(row for _, rows in PARTS for row in rows)
"""Every row of the sheet in order."""


def _named(rows: tuple[Row, ...], *names: str) -> tuple[Row, ...]:
    return tuple(row for row in rows if row.name in names)


SINGLE = (("cutter.acting", "single"),)

BACKWARDS: tuple[Row, ...] = (
    *backwards.STRAND_ROWS,
    *_named(portions.ROWS, "portion.stroke", "portion.length", "feed.useful", "tube.portions"),
    *_named(cylinder.ROWS, "cutter.needs", "cutter.against"),
    *backwards.CUTTER_ROWS,
    # A single-acting cylinder has no needle: it goes as fast as the pressure that was found drives.
    *(
        row._replace(only=SINGLE)
        for row in _named(air_flow.ROWS, "air.conductance", "air.critical")
    ),
    *(
        row._replace(needs=("for.pressure", *row.needs[1:]))
        for row in cutter_speed.ROWS
        if row.only == SINGLE
    ),
    *throw.ROWS,
)
"""Rows from a wanted portion (`aim` and `thickness`) back to the bench that makes it."""

READ: frozenset[str] = frozenset().union(*(rests_on(row) for row in (*ROWS, *BACKWARDS)))
"""Names of all inputs and rows that a line rests on or is held against."""

FOUND: dict[str, str] = {
    "for.nozzle": "nozzle.bore",
    "for.pressure": "cutter.pressure",
    "for.needle": "needle.conductance",
}
"""Row of BACKWARDS to the key of the card that it gives."""
