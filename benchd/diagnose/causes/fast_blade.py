"""MC-14: too much air, or the needle stands open."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-14",
    name="too much air, or the needle stands open",
    how="The blade is faster than it was: it throws, squashes and bounces.",
    common=0.6,
    shows={
        "stroke_s-": 0.9,
        "stroke_s- on": 0.9,
        "return_s-": 0.6,
        "return_s- on": 0.6,
        "start_delay_s-": 0.1,
        "threw": 0.6,
        "bounce": 0.3,
        "air_cut_pa+": 0.3,
        "air_min_pa+": 0.3,
    },
    rules_out={
        "after-dump": "air had just been away",
    },
    check="Compare gauge and needle marks with those noted when it was set up.",
    remedy=(
        "Less pressure, needles that throttle the exhaust, a cushion; then ten dry strokes with "
        "hands clear."
    ),
    caution=AIR,
)
