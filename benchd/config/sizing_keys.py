"""Keys of the cards that only the sizing sheet reads; no portion and no proof rests on them.

What is left out stands at common practice, and the sheet says which results hang on it.
"""

from __future__ import annotations

from collections.abc import Iterable

from benchd.config.keys import OPTIONAL, Key

BENCH_SIZING_KEYS: tuple[Key, ...] = (
    Key("motor.torque", "quantity", "Nm", 0.005, 50, OPTIONAL,
        "holding torque of the motor at the current that is set, gears included"),
    Key("motor.rate_max", "number", "", 50, 50_000, "2000",
        "full steps a second at which the motor has no torque left"),
    Key("screw.thread", "choice", "", 0, 0, "trapezoidal",
        "kind of thread; an ordinary threaded rod is metric",
        ("trapezoidal", "metric", "square", "acme")),
    Key("screw.friction", "number", "", 0.01, 0.6, "0.15", "friction of the thread"),
    Key("screw.collar", "quantity", "mm", 0, 200, "0 mm",
        "mean diameter of a plain thrust collar; 0 for a rolling bearing"),
    Key("screw.collar_friction", "number", "", 0.01, 0.6, "0.15", "friction of the collar"),
    Key("barrel.seal", "quantity", "N", 0, 500, "20 N", "friction of the plunger's seal"),
    Key("barrel.rated", "quantity", "bar", 0.1, 200, OPTIONAL,
        "pressure that the weakest part of the barrel is rated for, by its maker"),
    Key("barrel.fasteners", "whole", "", 1, 64, "4", "fasteners that hold the barrel's end"),
    Key("barrel.fastener_rated", "quantity", "N", 1, 500_000, OPTIONAL,
        "force that one fastener with its thread is rated for"),
    Key("barrel.cap", "quantity", "g", 1, 20_000, "100 g", "mass of the cap that could leave"),
    Key("nozzle.land", "quantity", "mm", 0.5, 500, "20 mm", "length of the nozzle's bore"),
    Key("cutter.pressure", "quantity", "bar", 0.1, 12, "2 bar", "working pressure of the cutter"),
    Key("cutter.friction", "quantity", "N", 0, 200, "4 N", "friction of the moving cylinder"),
    Key("cutter.breakaway", "quantity", "N", 0, 300, "7 N", "force that starts the cylinder"),
    Key("cutter.spring", "quantity", "N", 0, 500, "8 N", "spring of a single-acting cylinder"),
    Key("cutter.blade", "quantity", "mm", 5, 300, OPTIONAL, "width of the blade"),
    Key("cutter.dead", "quantity", "cm3", 0.1, 500, "3 cm3", "dead volume at each end"),
    Key("cutter.drop", "quantity", "mm", 1, 2000, "100 mm", "height from nozzle to tray or belt"),
    Key("cutter.tray", "quantity", "mm", 10, 2000, OPTIONAL, "how far from the nozzle it catches"),
    Key("valve.conductance", "quantity", "l/s/bar", 0.005, 20, "0.5 l/s/bar",
        "sonic conductance C of the valve (ISO 6358)"),
    Key("valve.critical", "number", "", 0.05, 0.6, "0.3", "critical pressure ratio b (ISO 6358)"),
    Key("valve.shift", "quantity", "ms", 0, 500, "15 ms", "time of the valve itself"),
    Key("hose.conductance", "quantity", "l/s/bar", 0.005, 20, "0.3 l/s/bar",
        "sonic conductance of the hose: 0.3 for 1 m of 4 mm hose"),
    Key("hose.length", "quantity", "mm", 0, 20_000, "300 mm", "hose from valve to cylinder"),
    Key("hose.bore", "quantity", "mm", 0.5, 30, "2.5 mm", "inside diameter of the hose"),
    Key("needle.conductance", "quantity", "l/s/bar", 0.0005, 20, "0.03 l/s/bar",
        "sonic conductance of the needle as it is set: 0.005 to 0.2"),
    Key("compressor.delivery", "quantity", "l/min", 0.1, 5000, OPTIONAL,
        "free air that the compressor gives at the working pressure"),
    Key("compressor.tank", "quantity", "l", 0.1, 1000, OPTIONAL, "volume of the tank"),
    Key("compressor.pressure", "quantity", "bar", 0.1, 16, "8 bar",
        "pressure at which the compressor stops"),
    Key("coil.power", "quantity", "W", 0.1, 100, OPTIONAL, "power of the valve's coil"),
    Key("coil.voltage", "quantity", "V", 3, 250, "24 V", "voltage of the valve's coil"),
    Key("coil.supply", "quantity", "V", 3, 60, "5 V", "voltage that the step-up is fed with"),
    Key("coil.efficiency", "share", "", 0.3, 1, "85 %", "efficiency of the step-up"),
    Key("coil.port", "quantity", "A", 0.05, 20, "500 mA", "current that its supply gives"),
    Key("room.pressure", "quantity", "bar", 0.5, 1.2, "1.01325 bar", "pressure of the air around"),
    Key("room.celsius", "number", "", -20, 60, "21", "temperature of the room, in C"),
    Key("scale.repeatability", "quantity", "g", 0, 10, OPTIONAL,
        "spread of repeated weighings; half the readability if not given"),
)  # fmt: skip
"""Keys of the bench card."""

DOUGH_SIZING_KEYS: tuple[Key, ...] = (
    Key("air", "share", "", 0.001, 0.6, "8 %", "share of gas in the dough, at ambient pressure"),
    Key("swell", "number", "", 1, 3, "1.1", "diameter of the strand over the nozzle's bore"),
    Key("prime", "quantity", "mm", 0, 200, "10 mm", "feed that a new tube takes to flow"),
    Key("film", "quantity", "mm", 0, 300, "0 mm",
        "last way of a bought tube over which its film crumples into the dough"),
    Key("time_out", "choice", "", 0, 0, "advice",
        "how long it may stay out of the cold: by public advice, 2 h and 1 h above 32 C, or longer "
        "where a written procedure under your local food rules says so",
        ("advice", "4h-by-written-procedure", "6h-by-written-procedure")),
    Key("wall_stress", "quantity", "kPa", 0, 50, "1 kPa", "friction on the barrel's wall"),
    Key("flow.law", "choice", "", 0, 0, "herschel-bulkley", "law of the dough's flow",
        ("newton", "bingham", "herschel-bulkley", "paste")),
    Key("flow.yield", "quantity", "Pa", 0, 100_000, "500 Pa", "yield stress"),
    Key("flow.consistency", "number", "", 0.001, 100_000, "1387",
        "consistency in Pa s^n; the viscosity in Pa s by the laws of newton and bingham"),
    Key("flow.index", "number", "", 0.1, 2, "0.38", "index n of the power law"),
    Key("flow.entry", "quantity", "kPa", 0, 2000, "30 kPa",
        "pressure that the narrowing into the nozzle takes"),
    Key("paste.entry", "quantity", "kPa", 0, 10_000, OPTIONAL, "bulk yield of the paste's entry"),
    Key("paste.entry_rise", "number", "", 0, 1e9, "0", "its rise with speed, in Pa (s/m)^m"),
    Key("paste.entry_index", "number", "", 0.05, 2, "0.5", "index m of that rise"),
    Key("paste.wall", "quantity", "kPa", 0, 10_000, OPTIONAL, "yield of the paste at the wall"),
    Key("paste.wall_rise", "number", "", 0, 1e9, "0", "its rise with speed, in Pa (s/m)^n"),
    Key("paste.wall_index", "number", "", 0.05, 2, "0.4", "index n of that rise"),
    Key("cut_per_width", "quantity", "N/mm", 0.01, 50, "0.5 N/mm",
        "force of the cut for each mm of width under the blade"),
    Key("clean_speed", "quantity", "m/s", 0.01, 5, "0.15 m/s", "slowest blade that cuts clean"),
    Key("throw", "share", "", 0.05, 1, "40 %", "share of the blade's speed that a piece takes"),
    Key("spread", "share", "", 0.001, 0.5, "2 %", "spread of the portions that is expected"),
    Key("mean_within", "share", "", 0.0005, 0.2, "1 %",
        "how near the mean of the portions is to be known"),
    Key("certainty", "choice", "", 0, 0, "95 %", "how surely it is to be known",
        ("90 %", "95 %", "99 %")),
)  # fmt: skip
"""Keys of the dough card."""


def guesses(keys: Iterable[Key]) -> Key:
    """Return the key that lists which values of a card nobody measured."""
    numbers = ("quantity", "number", "whole", "share")
    return Key("guessed", "parts", "", 0, 0, "none",
               "keys whose values are guessed, not measured; a list",
               tuple(key.path for key in keys if key.kind in numbers))  # fmt: skip
