"""MC-13: low or falling air."""

from benchd.diagnose.causes.base import AIR, Cause

CAUSE = Cause(
    code="MC-13",
    name="low or falling air",
    how="Compressor, leak or a small hose: the cylinder has too little to work with.",
    common=1.0,
    shows={
        "start_delay_s+": 0.5,
        "start_delay_s+ on": 0.3,
        "stroke_s+": 0.3,
        "stroke_s+ on": 0.3,
        "return_s+": 0.3,
        "return_s+ on": 0.1,
        "air_min_pa-": 0.9,
        "air_cut_pa-": 0.9,
        "air-trip": 0.6,
        "no-far": 0.05,
        "return_delay_s+": 0.3,
    },
    rules_out={
        "air_min_pa+": "air was higher than usual",
        "air_cut_pa+": "air was higher than usual at the cut",
    },
    check=(
        "Read the gauge during the next stroke, from outside the guard: does it fall by more "
        "than 0.2 bar?"
    ),
    remedy="A reservoir near the valve, a larger hose, the regulator set again; look for leaks.",
    caution=AIR,
)
