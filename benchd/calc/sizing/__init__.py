"""Sizing: what a bench can do before anything moves, one calculation a file, one table of rows.

Pure, and apart from the simulated plant: neither shares a formula with the other.
"""

from __future__ import annotations

from benchd.calc.sizing import (
    air_flow,
    air_use,
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
from benchd.calc.sizing.base import Row

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
