"""MC-12: something hard met the blade."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-12",
    name="something hard met the blade",
    how="Husk, shell, ice, stone or a foreign body held the blade up.",
    common=0.7,
    shows={
        "stroke_s+": 0.9,
        "no-far": 0.3,
        "mass_kg-": 0.2,
        "moved": 0.3,
        "empty": 0.15,
        "next-double": 0.15,
        "hung": 0.25,
        "smeared": 0.25,
        "blade-dent": 0.6,
    },
    rules_out={
        "start_delay_s+": "the blade started late already",
    },
    check="Cut this piece and the next open by hand and look; then look at the blade's edge.",
    remedy=(
        "Treat it as a food-safety event: stop, inspect the blade, put both neighbours aside, "
        "sieve."
    ),
    caution=AIR,
)
