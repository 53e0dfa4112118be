"""MC-08: play in screw or coupling."""

from benchd.diagnose.causes.base import DRIVE, LOADED, Cause

CAUSE = Cause(
    code="MC-08",
    name="play in screw or coupling",
    how="At each reversal some way is lost before the plunger follows.",
    common=0.5,
    shows={
        "mass_kg-": 0.3,
        "mass_kg- on": 0.6,
        "thrust_cut_n+": 0.3,
        "thrust_cut_n+ on": 0.6,
        "thrust_start_n+ on": 0.3,
        "thrust_start_n+": 0.1,
        "encoder-short": 0.6,
    },
    rules_out={
        "thrust_peak_n+": "play takes no force",
        "thrust_peak_n+ on": "play takes no force",
    },
    check=(
        "With the tube out, go forward and back 1 mm with a gauge at the plunger, and read the gap."
    ),
    remedy="Tighten coupling and nut; then take-up longer than draw-back by the play.",
    caution=f"{LOADED} {DRIVE}",
)
