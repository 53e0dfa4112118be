"""MC-04: a fold of casing, or a lump, in cone or nozzle."""

from benchd.diagnose.causes.base import AIR, LOADED, Cause

CAUSE = Cause(
    code="MC-04",
    name="a fold of casing, or a lump, in cone or nozzle",
    how="Something half blocks the way: dough is held back, then comes.",
    common=1.0,
    shows={
        "mass_kg-": 0.6,
        "moved": 0.6,
        "lost": 0.3,
        "thrust_peak_n+": 0.9,
        "thrust_peak_n+ on": 0.15,
        "thrust_cut_n+": 0.6,
        "thrust_cut_n+ on": 0.15,
        "thrust-trip": 0.3,
        "eye_mean-": 0.3,
        "eye_mean+": 0.1,
        "flow-": 0.3,
    },
    rules_out={},
    check=(
        "Look at the thrust of the next portions: back to usual, it has passed; else open the cone."
    ),
    remedy="Cut the casing square, take folds out, look into the cone at each change of tube.",
    caution=f"{LOADED} {AIR} Never chase a blockage with more force.",
)
