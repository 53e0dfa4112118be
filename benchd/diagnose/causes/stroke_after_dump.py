"""MC-15: the first stroke after the air was away."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-15",
    name="the first stroke after the air was away",
    how="The exhaust side held no cushion, so the needles did nothing.",
    common=0.6,
    shows={
        "after-dump": 0.9,
        "stroke_s-": 0.8,
        "threw": 0.6,
        "bounce": 0.3,
        "start_delay_s-": 0.3,
        "return_s-": 0.1,
    },
    rules_out={
        "stroke_s- on": "the strokes after it are fast too",
    },
    check="See whether the strokes after it are as usual: then it was this one only.",
    remedy="A soft-start valve; after each venting one dry stroke with hands clear.",
    caution=AIR,
)
