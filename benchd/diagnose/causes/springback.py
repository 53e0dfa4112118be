"""MC-05: the screw ran back before the push."""

from benchd.diagnose.causes.base import Cause

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
    rules_out={},
    check="Mark the screw, wait as long as before that portion, and see whether the mark moved.",
    remedy=(
        "Keep the drive powered between portions or fit a self-locking screw; take up before "
        "each push."
    ),
    caution="Drive power off before reaching to plunger or screw.",
)
