"""The columns of every export: name, type, and what it is; the guide's page holds the same tables.

Units stand last in a name. Quantities are SI; a value that is not fitted or not known is empty.
"""

from __future__ import annotations

from typing import NamedTuple


class Column(NamedTuple):
    """One column. type: "whole", "number", "text", "yes-no", "moment" or "json" (JSON as text)."""

    name: str
    type: str
    meaning: str


MOMENT = (
    Column("n", "whole", "number of the entry in the journal"),
    Column("t_ns", "whole", "host clock that counts through suspend, at arrival"),
    Column("time_utc", "moment", "the same moment as time of day"),
)
"""What every export begins with."""

BOARD = Column("board_ns", "whole", "board clock since its start, steps of 1000 ns")
PORTION = Column("portion", "whole", "number of the portion")

READINGS = (
    Column("position_m", "number", "where the feed stands"),
    Column("eye_counts", "whole", "eye level"),
    Column("thrust_n", "number", "force on the plunger"),
    Column("air_pa", "number", "gauge air pressure"),
    Column("supply_v", "number", "logic supply"),
)
"""What the fitted sensors say, in the order of the wire."""

EVENTS = (
    *MOMENT,
    BOARD,
    Column("kind", "text", "kind of entry: the name of its view in the journal"),
    PORTION,
    *READINGS,
    Column("text", "text", "what it says, in words"),
    Column("data", "json", "everything it holds: a record as kept, a line in the wire's units"),
)

SAMPLES = (
    *MOMENT,
    BOARD,
    Column("sample", "whole", "number of the sample modulo 65536; a gap is dropped samples"),
    PORTION,
    Column("phase", "text", "phase of the portion under way, as heard; empty at rest"),
    *READINGS,
)

WEIGHTS = (
    *MOMENT,
    PORTION,
    Column(
        "mass_kg",
        "number",
        "what it weighed; a later row of the same portion corrects it, one without takes it back",
    ),
    Column("typed", "text", "what the person typed"),
    Column("look", "text", "how the piece looked"),
    Column("threw_m", "number", "how far it was thrown"),
    Column("confirmed", "yes-no", "an unlikely weight that the person confirmed"),
    Column("readability_kg", "number", "last digit of the scale"),
)

PORTIONS = (
    *MOMENT,
    PORTION,
    Column("class", "text", "first, normal, after-pause, flagged or tail"),
    Column("outcome", "text", "complete, stopped, tripped, lapsed or unseen"),
    Column("reason", "text", "why it was not seen to end"),
    Column("mass_kg", "number", "its last weight"),
    Column("aim_kg", "number", "what it should weigh"),
    Column("look", "text", "how it looked when weighed"),
    Column("tube", "text", "tube it came from"),
    Column("index", "whole", "how manieth of that tube"),
    Column("dough", "text", "name of the dough card"),
    Column("group", "whole", "comparison group; a new one begins when something is set by hand"),
    Column("began_ns", "whole", "host clock when its first phase began"),
    Column("began_utc", "moment", "the same moment as time of day"),
    Column("began_board_us", "whole", "board clock at that moment, wraps after 71.6 minutes"),
    Column("clock_error_s", "number", "stated error between the two clocks"),
    Column("asked_take_up_m", "number", "feed asked for: take-up"),
    Column("asked_push_m", "number", "feed asked for: push, the stroke"),
    Column("asked_draw_back_m", "number", "feed asked for: draw-back"),
    Column("asked_steps", "whole", "take-up and push asked for"),
    Column("made_steps", "whole", "take-up and push that went out"),
    Column("position_m", "number", "where the feed stood at its end"),
    Column("take_up_s", "number", "time of the take-up"),
    Column("push_s", "number", "time of the push"),
    Column("draw_back_s", "number", "time of the draw-back"),
    Column("settle_s", "number", "time at rest before the cut"),
    Column("cut_s", "number", "time of the cut"),
    Column("return_s", "number", "time of the cutter's return"),
    Column("cutter_start_delay_s", "number", "valve to leaving home"),
    Column("cutter_stroke_s", "number", "leaving home to the far end"),
    Column("cutter_return_delay_s", "number", "valve back to leaving the far end"),
    Column("cutter_return_s", "number", "leaving the far end to home"),
    Column("start_thrust_n", "number", "thrust at its start"),
    Column("peak_thrust_n", "number", "highest thrust"),
    Column("cut_thrust_n", "number", "thrust at the cut"),
    Column("least_eye_counts", "number", "lowest eye level"),
    Column("mean_eye_counts", "number", "mean eye level"),
    Column("cut_eye_counts", "number", "eye level at the cut"),
    Column("gap_m", "number", "longest feed without dough, once seen"),
    Column("least_air_pa", "number", "lowest air pressure"),
    Column("cut_air_pa", "number", "air pressure at the cut"),
    Column("least_supply_v", "number", "lowest logic supply"),
    Column("temperature_c", "number", "temperature typed for the tube, degrees Celsius"),
    Column("bad_lines", "whole", "lines dropped as damaged while it was made"),
    Column("firmware_build", "text", "hash of the firmware's sources"),
    Column("by_hand", "json", "values set by hand"),
    Column("digests", "json", "digests of the bench card's groups, and of the dough card's values"),
)

EXPORTS: dict[str, tuple[Column, ...]] = {
    "events": EVENTS,
    "portions": PORTIONS,
    "weights": WEIGHTS,
    "samples": SAMPLES,
}
"""What can be exported, each with its columns in order."""
