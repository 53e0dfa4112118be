"""MC-25: the link was lost, or late."""

from benchd.diagnose.causes.base import Cause

CAUSE = Cause(
    code="MC-25",
    name="the link was lost, or late",
    how="Cable, hub or a sleeping port: commands came late, or not.",
    common=1.0,
    shows={
        "link": 0.9,
        "bad_lines+": 0.3,
        "late_s+": 0.3,
    },
    rules_out={
        "reset": "the board itself restarted",
    },
    check=(
        "'benchd journal check' lists gaps; move the cable, from outside the guard, while 'benchd "
        "status --follow' runs."
    ),
    remedy="A short cable, no hub, no power saving on the port.",
)
