"""MC-11: the piece stuck to the blade."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-11",
    name="the piece stuck to the blade",
    how="It was cut, rode on the blade and fell with the next.",
    common=1.0,
    shows={
        "mass_kg-": 0.7,
        "moved": 0.6,
        "lost": 0.3,
        "empty": 0.7,
        "next-double": 0.6,
        "drop-missing": 0.9,
    },
    rules_out={
        "hung": "the eye saw dough at the nozzle: it hung, it did not ride on the blade",
    },
    check="Look at the blade after the next cuts, from outside the guard: is it smeared?",
    remedy="Release coat on the blade, faster return, a plough or a puff of air.",
    caution=AIR,
)
