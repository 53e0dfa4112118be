"""MC-09: a fastener or the frame gave way."""

from benchd.diagnose.causes.base import AIR, DRIVE, LOADED, Cause

CAUSE = Cause(
    code="MC-09",
    name="a fastener or the frame gave way",
    how="Stored force pulled something loose, and the barrel grew.",
    common=0.3,
    shows={
        "frame-trip": 0.5,
        "thrust_peak_n-": 0.1,
        "thrust_cut_n-": 0.4,
        "mass_kg-": 0.6,
        "lost": 0.3,
        "contact-later": 0.3,
        "thrust_cut_n- on": 0.1,
    },
    rules_out={},
    check=(
        "Stop. Relieve, vent, then look at tie-rods, nuts and end plates before anything moves "
        "again."
    ),
    remedy="Tie-rods rated for the stall force; replace what has yielded, do not only tighten it.",
    caution=f"{LOADED} {AIR} {DRIVE}",
)
