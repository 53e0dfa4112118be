"""MC-05: the screw ran back before the push."""

from benchd.diagnose.causes.base import DRIVE, Cause

CAUSE = Cause(
    code="MC-05",
    name="the screw ran back before the push",
    how="Screw or frame gave way while the drive was at rest, and the push first had to catch up.",
    common=0.7,
    shows={
        "mass_kg-": 0.6,
        "lost": 0.3,
        "after-pause": 0.6,
        "thrust_start_n-": 0.6,
        "encoder-short": 0.1,
        "mass_kg- on": 0.03,
    },
    rules_out={
        "thrust_start_n+": "thrust was high before the push: the screw had not run back",
    },
    check="Mark the screw, wait as long as before that portion, and see whether the mark moved.",
    remedy=(
        "Keep the drive powered between portions or fit a self-locking screw; take up before "
        "each push."
    ),
    caution=f"{DRIVE} A barrel under load turns the screw back as the power goes.",
)
