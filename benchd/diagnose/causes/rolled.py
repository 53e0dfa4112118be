"""MC-30: the piece rolled, or landed on its neighbour."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-30",
    name="the piece rolled, or landed on its neighbour",
    how="Two lie together and one is missing.",
    common=1.0,
    shows={
        "mass_kg-": 0.7,
        "moved": 0.8,
        "empty": 0.6,
        "next-double": 0.8,
        "drop-missing": 0.02,
        "threw": 0.2,
    },
    rules_out={
        "hung": "the eye saw dough at the nozzle: it was not cut off",
    },
    check="Look at the tray: two pieces that lie on one another, or an empty cell?",
    remedy="More way between pieces, a tray with cells, less throw.",
    caution=AIR,
)
