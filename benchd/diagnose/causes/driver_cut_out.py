"""MC-24: the driver cut out: heat, or a loose wire."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-24",
    name="the driver cut out: heat, or a loose wire",
    how="It stops for a while and comes back when cool.",
    common=0.5,
    shows={
        "mass_kg-": 0.9,
        "lost": 0.7,
        "empty": 0.2,
        "mass_kg- on": 0.1,
        "thrust_peak_n-": 0.3,
        "thrust_cut_n-": 0.3,
        "eye_mean-": 0.3,
        "encoder-short": 0.9,
        "current+": 0.02,
        "gap_m+": 0.05,
    },
    rules_out={
        "moved": "the next one has what it lacks: what the motor did not push, nobody gives back",
    },
    check=(
        "After some minutes of work, note the driver's temperature without touching it; listen "
        "to the motor."
    ),
    remedy="Cooling, current as the motor is rated, connectors that lock.",
    caution="Never plug motor leads live; drive power off first. Driver and motor can be hot.",
)
