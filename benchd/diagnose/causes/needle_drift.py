"""MC-17: a needle turned, or a hose is half kinked."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-17",
    name="a needle turned, or a hose is half kinked",
    how="A stroke has changed for good: one way by a needle, both by a hose.",
    common=0.6,
    shows={
        "stroke_s+": 0.7,
        "stroke_s+ on": 0.9,
        "return_s+": 0.3,
        "return_s+ on": 0.3,
        "start_delay_s+": 0.15,
        "return_delay_s+": 0.2,
        "return_delay_s+ on": 0.1,
        "moved": 0.05,
        "hung": 0.05,
        "smeared": 0.05,
    },
    rules_out={
        "air_min_pa-": "air was low",
        "air_cut_pa-": "air was low",
    },
    check="Compare the marks on both needles, and follow both hoses with the eye.",
    remedy="Lock nuts, a mark of paint across them, hoses tied away from what moves.",
    caution=AIR,
)
