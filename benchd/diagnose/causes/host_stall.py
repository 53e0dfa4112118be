"""MC-26: the computer stood still."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-26",
    name="the computer stood still",
    how="Disk, processor or a shut lid: the board's clock is smooth, the host's is not.",
    common=0.5,
    shows={
        "late_s+": 0.9,
        "host": 0.9,
    },
    rules_out={
        "link": "the link was lost",
    },
    check="Look at the load of the computer at that time.",
    remedy="Nothing else on it, no sleep; what must be timed is timed on the board already.",
)
