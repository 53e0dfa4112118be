"""MC-03: a leak past the plunger."""

from benchd.diagnose.causes.base import DRIVE, LOADED, Cause

CAUSE = Cause(
    code="MC-03",
    name="a leak past the plunger",
    how="The seal is worn, and dough or casing goes by it.",
    common=0.6,
    shows={
        "mass_kg-": 0.3,
        "mass_kg- on": 0.9,
        "lost": 0.1,
        "thrust_cut_n-": 0.1,
        "thrust_cut_n- on": 0.3,
        "thrust_peak_n- on": 0.3,
        "behind-plunger": 0.9,
    },
    rules_out={
        "gap_m+": "a gap in the strand: a leak makes none",
    },
    check="At the next change of tube, look whether dough lies behind the plunger.",
    remedy="New seal, lower pressure, slower push.",
    caution=f"{LOADED} {DRIVE}",
)
