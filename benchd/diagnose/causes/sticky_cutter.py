"""MC-16: cylinder or valve is sticky."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-16",
    name="cylinder or valve is sticky",
    how="It took a jerk to break away after a rest: gum, water, or a dry seal.",
    common=1.0,
    shows={
        "start_delay_s+": 0.7,
        "after-pause": 0.1,
        "stroke_s+": 0.05,
        "return_delay_s+": 0.1,
        "no-home": 0.4,
        "mass_kg-": 0.2,
        "moved": 0.3,
        "empty": 0.1,
        "next-double": 0.15,
        "hung": 0.25,
        "smeared": 0.2,
        "no-far": 0.05,
        "start_delay_s+ on": 0.1,
    },
    rules_out={
        "air_min_pa-": "air was low",
        "air_cut_pa-": "air was low",
    },
    check="Let it rest as long again, then a dry stroke with hands clear: is it late again?",
    remedy="Drain the air, grease as food rules allow, a dry stroke after each rest.",
    caution=AIR,
)
