"""MC-27: another card, or a value set otherwise."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-27",
    name="another card, or a value set otherwise",
    how="From a change on, all portions differ.",
    common=1.0,
    shows={
        "card": 0.9,
        "mass_kg+": 0.3,
        "mass_kg-": 0.3,
        "mass_kg+ on": 0.6,
        "mass_kg- on": 0.3,
        "push_s+": 0.3,
        "push_s+ on": 0.3,
        "push_s-": 0.3,
        "push_s- on": 0.3,
    },
    rules_out={},
    check="'benchd journal show' lists what was changed just before it: is that what was meant?",
    remedy="Put the former card back, or make the new values known to all.",
)
