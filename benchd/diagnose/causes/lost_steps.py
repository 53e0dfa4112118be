"""MC-01: steps lost, or the motor stalled."""

from benchd.diagnose.causes.base import DRIVE, LOADED, Cause

CAUSE = Cause(
    code="MC-01",
    name="steps lost, or the motor stalled",
    how="The motor asked for more torque than it has: stiff or cold dough, or an end stop.",
    common=1.0,
    shows={
        "mass_kg-": 0.9,
        "lost": 0.7,
        "empty": 0.05,
        "mass_kg- on": 0.1,
        "thrust_peak_n+": 0.1,
        "thrust-trip": 0.1,
        "eye_mean-": 0.3,
        "encoder-short": 0.9,
        "current+": 0.3,
    },
    rules_out={
        "gap_m+": "a gap in the strand: air left, not less dough",
    },
    check="Mark the screw, make one stroke without a tube, and see whether the mark comes back.",
    remedy="Slower push, motor current as rated, warmer dough, a larger nozzle or a smaller bore.",
    caution=f"{LOADED} {DRIVE}",
)
