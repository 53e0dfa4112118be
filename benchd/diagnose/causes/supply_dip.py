"""MC-23: the supply dips when the valve switches."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-23",
    name="the supply dips when the valve switches",
    how="The coil's step-up takes its inrush from the board's supply, or kicks back.",
    common=1.0,
    shows={
        "supply_min_v-": 0.9,
        "supply-trip": 0.6,
        "reset": 0.3,
        "link": 0.1,
        "bad_lines+": 0.3,
    },
    rules_out={},
    check=(
        "With the air shut and vented, switch the valve ten times and watch 'benchd status' for "
        "the lowest supply."
    ),
    remedy=(
        "A supply of its own for the valve, a suppressor across the coil, one common ground point."
    ),
    caution=f"Mains parts by a qualified person. {AIR}",
)
