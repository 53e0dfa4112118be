"""Every key of a bench card (unit, range, default, meaning), and how each becomes a board limit."""

from __future__ import annotations

import math
from typing import NamedTuple

from benchd.config.keys import OPTIONAL, REQUIRED, Key
from benchd.config.sizing_keys import BENCH_SIZING_KEYS, guesses
from protocols.limits import FITTED_BITS
from protocols.pins import BOARD_PINS, SERIAL

PARTS = tuple(FITTED_BITS)
YES_NO = ("yes", "no")

DENSITY_KG_M3 = 1150.0
"""Of maize dough with its air (common practice), where a bench is judged without a dough card."""

SIGNALS: dict[str, str] = {
    "step": "", "direction": "", "drive": "", "valve": "", "guard": "guard", "stop": "stop",
    "home": "home", "far": "far", "ends": "ends", "forward": "local", "reverse": "local",
    "button": "button", "dump": "dump", "eye": "eye", "thrust": "thrust", "air": "air",
    "ready": "ready", "drop": "drop", "leaving": "",
}  # fmt: skip
"""What has a pin of the board, and the part that must be fitted for it (empty: every bench)."""

_PIN_NAMED = {row.name: row.label for row in BOARD_PINS}
_NAMED_OTHERWISE = {"ready": "button", "drop": "drop-eye"}
PIN_OF: dict[str, str] = {
    signal: _PIN_NAMED[_NAMED_OTHERWISE.get(signal, signal)] for signal in SIGNALS
}
"""Signal to the pin that the firmware has it on."""


def _grams_per_mm(bore_m: float) -> str:
    g_per_mm = math.pi * bore_m**2 / 4 * DENSITY_KG_M3
    shown = f"{g_per_mm:.2f}" if g_per_mm < 10 else f"{g_per_mm:.0f}"
    return f"Bore {bore_m * 1e3:g} mm gives {shown} g/mm."


_KEYS: tuple[Key, ...] = (
    Key("bench", "text", "", 1, 32, REQUIRED, "the name of this bench"),
    Key("port", "text", "", 1, 200, REQUIRED,
        "device path, stable by-id path, or address such as socket://host:port"),
    Key("baud", "whole", "", 9600, 2_000_000, "250000", "speed of the port"),
    Key("simulated", "choice", "", 0, 0, "no", "whether the bench is a simulated one", YES_NO),
    Key("fitted", "parts", "", 0, 0, REQUIRED,
        "sensors and outputs that are fitted, a list that may be []", PARTS),
    # feed
    Key("feed.bore", "quantity", "mm", 10, 120, REQUIRED,
        "inside diameter of the barrel, or of a sleeve that lines it, measured",
        gives=_grams_per_mm),
    Key("feed.lead", "quantity", "mm", 0.25, 50, REQUIRED,
        "way of the plunger per turn of the screw (pitch times starts)"),
    Key("feed.starts", "whole", "", 1, 12, "1", "starts of the screw's thread"),
    Key("feed.screw", "quantity", "mm", 2, 80, OPTIONAL,
        "outside diameter of the screw; tells whether it runs back"),
    Key("feed.steps_per_turn", "whole", "", 20, 4000, "200",
        "full steps of the motor per turn, gears included"),
    Key("feed.step_angle", "quantity", "deg", 0.09, 18, OPTIONAL,
        "angle of a full step, instead of steps_per_turn: 1.8 deg is 200"),
    Key("feed.microsteps", "whole", "", 1, 256, REQUIRED,
        "microsteps per full step, as set on the driver"),
    Key("feed.direction", "choice", "", 0, 0, "normal",
        "which level of the direction line feeds forward", ("normal", "reversed")),
    Key("feed.travel", "quantity", "mm", 10, 2000, REQUIRED,
        "way from the rear end of travel to the front end of the barrel"),
    Key("feed.heel", "quantity", "mm", 0, 200, REQUIRED,
        "length at the front that the plunger does not enter (cone, film)"),
    Key("feed.top_speed", "quantity", "mm/s", 0.01, 200, REQUIRED,
        "fastest feed proven without lost steps"),
    Key("feed.accel", "quantity", "mm/s2", 0.1, 10_000, REQUIRED, "acceleration of the feed"),
    Key("feed.stop_decel", "quantity", "mm/s2", 0.1, 40_000, OPTIONAL,
        "deceleration after stop; 4 times accel if not given"),
    Key("feed.jog_speed", "quantity", "mm/s", 0.01, 200, REQUIRED, "usual speed of a jog"),
    Key("feed.local_speed", "quantity", "mm/s", 0.01, 20, "1 mm/s", "speed on the local switches"),
    Key("feed.draw_speed", "quantity", "mm/s", 0.01, 200, OPTIONAL,
        "speed of draw-back and ease; top_speed if not given"),
    Key("feed.prime_speed", "quantity", "mm/s", 0.01, 20, "2 mm/s", "speed while a tube is primed"),
    Key("feed.approach", "quantity", "mm", 1, 500, "30 mm",
        "longest way forward to contact with the dough"),
    Key("feed.relieve", "quantity", "mm", 0.5, 100, "10 mm", "way back that lets the pressure off"),
    Key("feed.after_stop", "choice", "", 0, 0, "held",
        "drive at rest after a stop", ("held", "released")),
    Key("feed.keeps_position", "choice", "", 0, 0, "yes",
        "whether the plunger stays where it is when the drive lets go", YES_NO),
    Key("feed.release_after", "quantity", "s", 0, 60, "2 s",
        "rest before a drive that is not held is released"),
    Key("feed.still", "quantity", "ms", 0, 5000, "100 ms", "rest of the feed before a cut"),
    # nozzle and strand
    Key("nozzle.bore", "quantity", "mm", 2, 100, REQUIRED,
        "inside diameter of the nozzle, measured"),
    Key("nozzle.gap", "quantity", "mm", 1, 100, "15 mm",
        "strand without dough that counts as dough gone"),
    Key("nozzle.first_flow", "quantity", "mm", 1, 200, "25 mm",
        "feed without any dough before it is given up"),
    Key("nozzle.primed", "quantity", "mm", 1, 500, "30 mm",
        "strand without a gap that counts as primed"),
    # cutter
    Key("cutter.valve", "choice", "", 0, 0, REQUIRED,
        "kind of valve", ("5/2 spring return", "3/2 spring return")),
    Key("cutter.rest", "choice", "", 0, 0, REQUIRED,
        "where the cutter goes when the valve has no power; far: out when power fails or the guard "
        "opens, and home by 'benchd cut' after each start", ("home", "far")),
    Key("cutter.acting", "choice", "", 0, 0, REQUIRED, "kind of cylinder", ("double", "single")),
    Key("cutter.bore", "quantity", "mm", 4, 100, REQUIRED, "bore of the cylinder"),
    Key("cutter.rod", "quantity", "mm", 1, 50, REQUIRED, "diameter of the cylinder's rod"),
    Key("cutter.stroke", "quantity", "mm", 5, 500, REQUIRED, "stroke of the cylinder"),
    Key("cutter.cut_time", "quantity", "ms", 20, 5000, REQUIRED, "usual time of the cut stroke"),
    Key("cutter.return_time", "quantity", "ms", 20, 5000, REQUIRED,
        "usual time of the return stroke"),
    Key("cutter.longest", "quantity", "ms", 20, 10_000, OPTIONAL,
        "longest stroke either way; 3 times the usual if not given"),
    Key("cutter.valve_longest", "quantity", "ms", 20, 20_000, "2 s",
        "longest time the valve is driven"),
    # limits
    Key("limits.thrust", "quantity", "N", 10, 6500, OPTIONAL, "highest thrust (IL-11)"),
    Key("limits.ease", "quantity", "mm", 0, 20, "1.5 mm", "feed back after too much thrust"),
    Key("limits.contact", "quantity", "N", 1, 1000, "20 N", "rise of thrust that means contact"),
    Key("limits.push", "quantity", "s", 0.1, 120, "30 s", "longest push in one go (IL-24)"),
    Key("limits.air_min", "quantity", "bar", 0, 10, OPTIONAL, "least air for a cut (IL-16)"),
    Key("limits.air_max", "quantity", "bar", 0.1, 12, OPTIONAL, "most air for a cut (IL-16)"),
    Key("limits.supply_min", "quantity", "V", 3, 6, "4.5 V",
        "least logic supply for the valve (IL-29)"),
    # sensors
    Key("eye.empty", "whole", "", 0, 1023, OPTIONAL,
        "taught level of the eye without dough, in counts"),
    Key("eye.dough", "whole", "", 0, 1023, OPTIONAL,
        "taught level of the eye with dough, in counts"),
    Key("thrust.zero", "whole", "", 0, 1022, "102", "reading without force, in counts"),
    Key("thrust.full", "quantity", "N", 1, 6553, OPTIONAL, "thrust at 1023 counts"),
    Key("air.zero", "whole", "", 0, 1022, "102", "reading without pressure, in counts"),
    Key("air.full", "quantity", "bar", 0.1, 65, OPTIONAL, "gauge pressure at 1023 counts"),
    Key("sample.rest", "quantity", "ms", 500, 10_000, "500 ms", "time between samples at rest"),
    Key("sample.motion", "quantity", "ms", 5, 10_000, "50 ms", "time between samples in motion"),
    # the rest
    Key("lease.program", "quantity", "ms", 100, 5000, "500 ms",
        "how long a program goes on without word from the host"),
    Key("lease.held", "quantity", "ms", 50, 5000, "200 ms",
        "how long a held key goes on without word from the host"),
    Key("scale.readability", "quantity", "g", 0.001, 10, "0.1 g", "smallest step of the scale"),
    Key("scale.port", "text", "", 1, 200, OPTIONAL,
        "port of a scale with a serial output; without it weights are typed"),
    Key("scale.baud", "whole", "", 300, 230_400, "9600", "speed of the scale's port"),
    Key("scale.frame", "choice", "", 0, 0, "8N1", "data bits, parity and stop bits of its port",
        ("8N1", "7E1", "7O1", "8E1", "8O1", "8N2", "7N2")),
    Key("scale.pattern", "text", "", 1, 200, OPTIONAL,
        "regular expression for its lines, with groups named mass, and unit and settled if told"),
    Key("scale.unit", "choice", "", 0, 0, "g", "unit of lines that name none", ("g", "kg", "oz")),
    Key("scale.sends", "choice", "", 0, 0, "always",
        "whether lines come all the time, or once for each weight", ("always", "once")),
    Key("scale.least", "quantity", "g", 0.01, 1000, "2 g", "below this the pan counts as empty"),
    Key("watch.odd_count", "whole", "", 1, 20, "2", "so many odd weights trip IL-25"),
    Key("watch.odd_window", "whole", "", 1, 50, "5", "of so many last weights"),
    Key("watch.odd_share", "share", "", 0.005, 0.5, "8 %",
        "share off the aim from which a weight is odd"),
    Key("watch.slow_share", "share", "", 0.1, 2, "50 %",
        "share over the usual time from which a cut is slow"),
    Key("watch.attendance", "quantity", "min", 1, 120, "10 min",
        "time without a key after which a series pauses (IL-26)"),
    Key("watch.tube_open", "quantity", "min", 10, 360, "120 min",
        "time that a tube is open after which no series begins (IL-27): public advice is 120 min, "
        "and 60 min above 32 C; longer only by a written procedure under your local food rules"),
    Key("watch.proof", "quantity", "days", 1, 366, "30 days",
        "how long a proof of the bench holds (IL-15)"),
    Key("watch.smear_portions", "whole", "", 1, 50, "3",
        "portions in a row without a change of the eye (IL-10)"),
    Key("watch.clock_error", "quantity", "ms", 1, 1000, "20 ms",
        "error of board times from which they are doubtful (IL-30)"),
    # a note of where each signal is wired, held to the pins of the firmware, which nobody chooses
    *(
        Key(f"pins.{signal}", "choice", "", 0, 0, OPTIONAL, f"a note that '{signal}' is on {pin}",
            tuple(row.label for row in BOARD_PINS if row.kind != SERIAL))
        for signal, pin in PIN_OF.items()
    ),
    # news to an MQTT broker; passwords stay in a file or in the environment
    Key("mqtt.broker", "text", "", 1, 253, OPTIONAL,
        "host name or address of the broker; without it nothing goes out"),
    Key("mqtt.port", "whole", "", 1, 65_535, OPTIONAL,
        "port of the broker; 1883, or 8883 with TLS, if not given"),
    Key("mqtt.topic", "text", "", 1, 100, "benchd", "the topic that all others begin with"),
    Key("mqtt.user", "text", "", 1, 100, OPTIONAL, "user at the broker"),
    Key("mqtt.password_file", "text", "", 1, 4000, OPTIONAL,
        "file whose first line is the password"),
    Key("mqtt.password_env", "text", "", 1, 100, OPTIONAL,
        "environment variable that holds the password"),
    Key("mqtt.tls", "choice", "", 0, 0, "no", "whether the connection is encrypted", YES_NO),
    Key("mqtt.ca_file", "text", "", 1, 4000, OPTIONAL,
        "certificates that vouch for the broker, PEM; the system's if not given"),
    Key("mqtt.every", "quantity", "s", 0.2, 3600, "1 s", "time between two state messages"),
    Key("mqtt.keep", "whole", "", 1, 100_000, "1000",
        "most records that wait for a broker that is away; then the oldest are dropped"),
    *BENCH_SIZING_KEYS,
)  # fmt: skip

BENCH_KEYS: tuple[Key, ...] = (*_KEYS, guesses(_KEYS))
"""The single table of a bench card."""


class Wire(NamedTuple):
    """How a key becomes a limit: the limit, the key, and the scale from SI to the wire's unit."""

    limit: str
    path: str
    scale: str


SCALES: dict[str, float] = {"ms": 1e3, "0.1 N": 10.0, "hPa": 0.01, "mV": 1e3, "counts": 1.0}
"""Wire units a SI unit; "steps" and "strand" (strand turned into feed) depend on the card."""

WIRES: tuple[Wire, ...] = (
    Wire("accel", "feed.accel", "steps"),
    Wire("stop_decel", "feed.stop_decel", "steps"),
    Wire("speed_max", "feed.top_speed", "steps"),
    Wire("local_speed", "feed.local_speed", "steps"),
    Wire("draw_speed", "feed.draw_speed", "steps"),
    Wire("release_ms", "feed.release_after", "ms"),
    Wire("cut_ms", "cutter.cut_time", "ms"),
    Wire("return_ms", "cutter.return_time", "ms"),
    Wire("valve_max_ms", "cutter.valve_longest", "ms"),
    Wire("still_ms", "feed.still", "ms"),
    Wire("gap", "nozzle.gap", "strand"),
    Wire("first_flow", "nozzle.first_flow", "steps"),
    Wire("prime_flow", "nozzle.primed", "strand"),
    Wire("thrust_max", "limits.thrust", "0.1 N"),
    Wire("ease", "limits.ease", "steps"),
    Wire("thrust_zero", "thrust.zero", "counts"),
    Wire("thrust_full", "thrust.full", "0.1 N"),
    Wire("air_zero", "air.zero", "counts"),
    Wire("air_full", "air.full", "hPa"),
    Wire("air_min", "limits.air_min", "hPa"),
    Wire("air_max", "limits.air_max", "hPa"),
    Wire("supply_min", "limits.supply_min", "mV"),
    Wire("sample_ms", "sample.rest", "ms"),
    Wire("sample_busy_ms", "sample.motion", "ms"),
    Wire("lease_ms", "lease.program", "ms"),
    Wire("held_ms", "lease.held", "ms"),
    Wire("push_max_ms", "limits.push", "ms"),
    Wire("contact", "limits.contact", "0.1 N"),
)
"""Limits that are one key of the card, scaled; the others are computed in `bench`."""

PART_OF: dict[str, tuple[str, bool]] = {
    "limits.thrust": ("thrust", True),
    "limits.contact": ("thrust", False),
    "thrust.zero": ("thrust", False),
    "thrust.full": ("thrust", True),
    "limits.air_min": ("air", True),
    "limits.air_max": ("air", True),
    "air.zero": ("air", False),
    "air.full": ("air", True),
    "limits.supply_min": ("supply", False),
    "eye.empty": ("eye", False),
    "eye.dough": ("eye", False),
    "nozzle.gap": ("eye", False),
    "watch.smear_portions": ("eye", False),
    **{f"pins.{signal}": (part, False) for signal, part in SIGNALS.items() if part},
}
"""Keys that mean something only with a fitted part, and whether that part needs them."""

GROUP_OF: dict[str, str] = {
    "fitted": "wiring",
    "simulated": "wiring",
    "feed.direction": "wiring",
    "feed": "motion",
    "nozzle": "eye",
    "cutter": "air",
    "cutter.longest": "",  # Its limits say it, whether the card gives it or not.
    "limits.thrust": "motion",
    "limits.ease": "motion",
    "limits.contact": "motion",
    "limits.push": "motion",
    "limits.air_min": "air",
    "limits.air_max": "air",
    "limits.supply_min": "wiring",
    "eye": "eye",
    "thrust": "wiring",
    "air": "wiring",
    "sample": "wiring",
    "lease": "motion",
    **{key.path: "" for key in BENCH_SIZING_KEYS},
}
"""Key, or section, to the group of the card that a proof of the bench may rest on."""


def group_of(path: str) -> str:
    """Return the group of a key; empty where no proof rests on it (names, port, news, scale)."""
    return GROUP_OF.get(path, GROUP_OF.get(path.partition(".")[0], ""))
