"""MC-21: light from outside, or a shining blade."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-21",
    name="light from outside, or a shining blade",
    how="A lamp, the sun or the blade reaches the eye.",
    common=0.6,
    shows={
        "eye_min+": 0.7,
        "eye_min+ on": 0.5,
        "eye_mean+": 0.7,
        "eye_mean+ on": 0.5,
        "eye_cut+": 0.9,
        "eye_cut+ on": 0.6,
    },
    rules_out={
        "eye_cut-": "the level with dough fell: there was less light, not more",
    },
    check="Shade the eye with a card and watch 'benchd eye'; then switch the lamps on and off.",
    remedy="A hood, an eye with modulated light, or do not look while the blade is in view.",
    caution=AIR,
)
