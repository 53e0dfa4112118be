"""MC-19: this dough is lighter or heavier."""

from benchd.diagnose.causes.base import LOADED, Cause

CAUSE = Cause(
    code="MC-19",
    name="this dough is lighter or heavier",
    how="Mixing differs from tube to tube, and leavening gas grows with time.",
    common=0.6,
    shows={
        "other-tube": 0.6,
        "mass_kg-": 0.3,
        "mass_kg+": 0.3,
        "mass_kg- on": 0.6,
        "mass_kg+ on": 0.3,
        "behind-plunger": 0.01,
    },
    rules_out={
        "moved": "its neighbour has what it lacks: dough was moved, it is not lighter",
    },
    check=(
        "Weigh a spoon of known volume, of pieces of this tube and of the last; then a check mass."
    ),
    remedy="A factor for each tube ('benchd advise'), and use dough before it rises.",
    caution=f"Take it from pieces or what was left at filling. {LOADED}",
)
