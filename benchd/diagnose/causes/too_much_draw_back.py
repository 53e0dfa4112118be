"""MC-07: too much draw-back."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-07",
    name="too much draw-back",
    how="The plunger leaves the dough, and air is drawn in at the nozzle.",
    common=0.5,
    shows={
        "gap_m+": 0.3,
        "gap_m+ on": 0.3,
        "thrust_start_n-": 0.3,
        "thrust_start_n- on": 0.6,
        "thrust_cut_n- on": 0.3,
        "thrust_cut_n-": 0.3,
        "mass_kg-": 0.2,
        "moved": 0.1,
        "card": 0.3,
    },
    rules_out={
        "thrust_cut_n+": "thrust stood at the cut: the plunger had not left the dough",
    },
    check="Look at the nose of pieces from the tray: hollow each time?",
    remedy="Less draw-back, and a take-up of the same length.",
)
