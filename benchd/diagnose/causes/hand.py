"""MC-29: somebody touched the bench in a series."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-29",
    name="somebody touched the bench in a series",
    how="A switch was pressed, or a guard opened.",
    common=1.0,
    shows={
        "hand": 0.9,
        "guard": 0.4,
        "stop": 0.1,
        "mass_kg+": 0.1,
        "missing_steps+": 0.1,
        "thrust_peak_n+": 0.05,
        "mass_kg-": 0.05,
    },
    rules_out={},
    check="Ask who stood at the bench.",
    remedy="Lock the local switches while a series runs.",
)
