"""MC-20: the eye is dirty, or was moved."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-20",
    name="the eye is dirty, or was moved",
    how="Flour, grease or a shifted fibre: both levels have changed.",
    common=1.0,
    shows={
        "eye_mean-": 0.7,
        "eye_mean- on": 0.7,
        "eye_cut-": 0.8,
        "eye_cut- on": 0.8,
        "eye_min+": 0.3,
        "eye_min+ on": 0.3,
        "no-dough": 0.1,
        "gap_m+": 0.1,
        "eye_min-": 0.1,
        "eye_mean+": 0.05,
    },
    rules_out={},
    check="'benchd eye' shows the level: compare it with the taught one, wipe, compare again.",
    remedy="Wipe it, fix and shade it, and teach both levels again.",
    caution=AIR,
)
