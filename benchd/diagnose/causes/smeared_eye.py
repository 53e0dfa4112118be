"""MC-22: a smear or a bridge of dough on the eye."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-22",
    name="a smear or a bridge of dough on the eye",
    how="The window reads dough when there is none, so it may run empty unseen.",
    common=1.0,
    shows={
        "eye_min+": 0.9,
        "eye_min+ on": 0.8,
        "eye_mean+": 0.6,
        "eye_mean+ on": 0.6,
        "smeared": 0.6,
        "ripple-": 0.6,
    },
    rules_out={
        "eye_cut+": "the level with dough rose too: more light, not a smear",
    },
    check="Wipe the window and see whether the level falls to the taught empty one.",
    remedy="Wipe at each change of tube, a larger distance, an air shield; teach again.",
    caution=AIR,
)
