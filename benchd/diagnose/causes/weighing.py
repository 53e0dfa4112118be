"""MC-28: it was weighed or typed wrong."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-28",
    name="it was weighed or typed wrong",
    how="Mixed up with its neighbour, two on the pan, residue, or read too early.",
    common=1.0,
    shows={
        "mass_kg-": 0.4,
        "mass_kg+": 0.4,
        "moved": 0.3,
        "lost": 0.3,
        "double": 0.15,
        "empty": 0.15,
        "next-double": 0.1,
        "mass_kg+ on": 0.05,
        "mass_kg- on": 0.05,
        "re-weighed": 0.8,
    },
    rules_out={},
    check="Weigh it again, and its neighbours, if they are still on the tray; then a check mass.",
    remedy="Numbered tray cells, zero every ten, wait for the reading to settle.",
)
