"""MC-10: the cut was not complete, a piece hung."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-10",
    name="the cut was not complete, a piece hung",
    how="The blade went too little far, or is dull, and the piece hung on and went with the next.",
    common=1.0,
    shows={
        "mass_kg-": 0.6,
        "moved": 0.7,
        "stroke_s+": 0.6,
        "smeared": 0.6,
        "hung": 0.8,
        "no-far": 0.1,
        "tail": 0.3,
        "empty": 0.1,
        "next-double": 0.1,
    },
    rules_out={},
    check="Look at both pieces: a tail on this one, a flap or a step on the next?",
    remedy="Blade stroke at least 1.5 times the strand, sharp blade, slicing angle, a firm anvil.",
    caution=AIR,
)
