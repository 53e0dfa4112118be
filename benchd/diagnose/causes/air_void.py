"""MC-02: an air pocket in the tube."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-02",
    name="an air pocket in the tube",
    how="A pocket leaves instead of dough.",
    common=1.0,
    shows={
        "mass_kg-": 0.6,
        "lost": 0.6,
        "gap_m+": 0.9,
        "eye_mean-": 0.3,
        "thrust_cut_n-": 0.1,
        "thrust_peak_n-": 0.1,
    },
    rules_out={
        "moved": "the next one has what it lacks: a pocket gives nothing back",
    },
    check=(
        "Look at the piece from the tray: hollow, or a hole in it? Then listen for a pop in the "
        "next pushes."
    ),
    remedy=(
        "Pack and knock the tube before it goes in, prime longer, and put pieces after a gap aside."
    ),
)
