"""MC-18: the dough's temperature changed."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-18",
    name="the dough's temperature changed",
    how="Warm dough flows and sticks, cold dough is stiff.",
    common=1.0,
    shows={
        "thrust_peak_n-": 0.5,
        "thrust_peak_n- on": 0.6,
        "thrust_peak_n+": 0.5,
        "thrust_peak_n+ on": 0.5,
        "thrust_cut_n- on": 0.3,
        "thrust_cut_n-": 0.1,
        "thrust_start_n- on": 0.1,
        "thrust_cut_n+": 0.4,
        "thrust_cut_n+ on": 0.4,
        "eye_mean+": 0.15,
        "eye_mean-": 0.1,
        "mass_kg+": 0.05,
        "mass_kg-": 0.15,
        "lost": 0.15,
        "thrust_start_n+ on": 0.1,
        "dough-warmer": 0.9,
        "thrust-trip": 0.1,
    },
    rules_out={},
    check="Put a thermometer into the next piece on the scale, and compare with the tube's note.",
    remedy="Chill it, shorter runs, smaller tubes; note temperatures with each tube.",
)
