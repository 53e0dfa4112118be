"""MC-06: drool: pressure left at the cut."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-06",
    name="drool: pressure left at the cut",
    how=(
        "The barrel still pushes when the blade comes: no draw-back, too little, or too short a "
        "rest."
    ),
    common=0.7,
    shows={
        "mass_kg+": 0.3,
        "mass_kg-": 0.05,
        "moved": 0.1,
        "lost": 0.1,
        "thrust_cut_n+": 0.9,
        "thrust_cut_n+ on": 0.3,
        "smeared": 0.3,
        "hung": 0.3,
        "tail": 0.3,
        "eye_mean+": 0.2,
    },
    rules_out={
        "thrust_peak_n+": "thrust was high in the push already",
        "thrust_peak_n+ on": "thrust stayed high in the push",
    },
    check=(
        "Stop after the draw-back and make it safe, then put a pan under the nozzle, and weigh "
        "what drips in 10 s."
    ),
    remedy="More draw-back, an earlier stop of the feed, a longer settle; each changed alone.",
    caution=AIR,
)
