"""What must hold between the values of a bench card, beyond the range of each."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Callable, Iterator

from benchd.calc import eye
from benchd.config.bench_keys import BENCH_KEYS, PART_OF, PIN_OF, SCALES, WIRES, Wire
from benchd.config.keys import Spoiled, Values, in_unit
from benchd.config.scale import pattern_problem
from benchd.io.ports import address_sentence
from protocols.limits import LIMIT_BY_NAME

POSITION_STEPS_MAX = 9_999_999
MOVE_STEPS_MAX = 999_999
"""Furthest position and longest move that the wire can say (SPEC.md, section 4)."""

STROKE_S_MAX = 10.0
"""Longest stroke of the cutter that the board can wait for."""

BROKER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*|[0-9A-Fa-f:.]*:[0-9A-Fa-f:.]*")
"""A host name, an IPv4 address, or an IPv6 address."""

TOPIC = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*(?:/[A-Za-z0-9_-]+)*")
"""The first levels of every topic; a SenML name begins with them."""

Found = Iterator[tuple[str, str]]
"""Mistakes: the key they stand at, and the sentence."""


STEPS_OFF = 0.01
"""How far from a whole number of steps a step angle may lead; angles are rounded on data sheets."""

FRICTION_LEAST = 0.10 / math.cos(math.radians(15))
"""Least friction of a greased screw, over its flanks of 15 degrees (common practice: 0.10)."""

LEAD_SAFE_M = 0.004
"""Up to this lead a single-start screw of common size does not run back (common practice)."""


def steps_per_m(values: Values) -> float:
    """Return the microsteps per metre of feed."""
    per_turn = values.whole("feed.steps_per_turn") * values.whole("feed.microsteps")
    return per_turn / values.number("feed.lead")


def longest_s(values: Values, usual: str) -> float:
    """Return the longest time of a stroke [s]: as the card says, else three times the usual."""
    if "cutter.longest" in values:
        return values.number("cutter.longest")
    return min(3 * values.number(usual), STROKE_S_MAX)


def runs_back(values: Values) -> str:
    """Return why the screw runs back when the drive lets go, or nothing when it does not.

    A screw holds itself while the slope of its thread is below its friction; friction is taken at
    its least. Source: mechanics of the inclined plane; mean diameter of trapezoidal threads by
    ISO 2904, outside diameter less half the pitch.
    """
    lead, starts = values.number("feed.lead"), values.whole("feed.starts")
    if "feed.screw" in values:
        mean = values.number("feed.screw") - lead / starts / 2
        slope = lead / (math.pi * mean) if mean > 0 else math.inf
        if slope <= FRICTION_LEAST:
            return ""
        return (
            f"a lead of {_mm(lead)} on a screw of {_mm(values.number('feed.screw'))} runs back "
            f"when the drive lets go (slope {math.degrees(math.atan(slope)):.0f} deg, friction "
            f"holds {math.degrees(math.atan(FRICTION_LEAST)):.0f} deg)"
        )
    if starts > 1:
        return f"a screw of {starts} starts runs back when the drive lets go"
    if lead > LEAD_SAFE_M:
        return f"a lead of {_mm(lead)} runs back when the drive lets go, on all but thick screws"
    return ""


def _addresses(values: Values) -> Found:
    for path in ("port", "scale.port"):
        if values.sound(path):
            wrong = address_sentence(values.text(path))
            if wrong:
                yield path, f"'{path}': {wrong}"


def _parts(values: Values) -> Found:
    fitted = values.names("fitted")
    for path, (part, needed) in PART_OF.items():
        if values.given(path) and part not in fitted:
            yield (
                path,
                f"'{path}' is given, but '{part}' is not in 'fitted'; "
                f"add it there or leave '{path}' out.",
            )
        elif needed and part in fitted and path not in values:
            yield "fitted", f"'{part}' is fitted, so '{path}' must be given."


def _nozzle(values: Values) -> Found:
    bore, nozzle = values.number("feed.bore"), values.number("nozzle.bore")
    if nozzle >= bore:
        yield (
            "nozzle.bore",
            f"a nozzle of {_mm(nozzle)} is not narrower than the barrel of {_mm(bore)}; "
            "measure both again.",
        )


def _heel(values: Values) -> Found:
    if values.number("feed.heel") >= values.number("feed.travel"):
        yield "feed.heel", "the heel is as long as the whole travel; the plunger could not move."


def _cut(values: Values) -> Found:
    stroke, nozzle = values.number("cutter.stroke"), values.number("nozzle.bore")
    if stroke < nozzle:
        yield (
            "cutter.stroke",
            f"a stroke of {_mm(stroke)} cannot cut a strand of {_mm(nozzle)}; "
            "the stroke must be longer than the nozzle is wide.",
        )


def _valve(values: Values) -> Found:
    double = values.text("cutter.acting") == "double"
    if double and values.text("cutter.valve").startswith("3/2"):
        # Common practice: a valve with one outlet pushes one way only; a double-acting cylinder
        # needs two outlets.
        yield (
            "cutter.valve",
            "a 3/2 valve has one outlet and cannot reverse a double-acting cylinder; "
            "it takes a '5/2 spring return', or a single-acting cylinder.",
        )


def _rod(values: Values) -> Found:
    if values.number("cutter.rod") >= values.number("cutter.bore"):
        yield "cutter.rod", "the rod is as thick as the cylinder's bore; measure both again."


def _strokes(values: Values) -> Found:
    for usual in ("cutter.cut_time", "cutter.return_time"):
        if values.sound(usual) and longest_s(values, usual) < values.number(usual):
            yield (
                "cutter.longest",
                f"'cutter.longest' is shorter than '{usual}'; every stroke would trip.",
            )
    longest = longest_s(values, "cutter.cut_time")
    if values.number("cutter.valve_longest") <= longest:
        yield (
            "cutter.valve_longest",
            "'cutter.valve_longest' must be longer than the longest cut, "
            f"{in_unit(longest, 'ms')}.",
        )


def _screw(values: Values) -> Found:
    # However the drive rests after a stop, it lets go when its leave to move has lapsed.
    if values.number("feed.keeps_position"):
        why = runs_back(values)
        if why:
            thick = "" if "feed.screw" in values else ", or say how thick it is with 'feed.screw'"
            yield (
                "feed.keeps_position" if values.given("feed.keeps_position") else "feed.lead",
                f"{why}; write 'keeps_position: no' and expect loss of pressure{thick}.",
            )


def step_angle(values: Values) -> Found:
    """Find a step angle that is no whole number of steps, or not that of the card's steps."""
    if "feed.step_angle" not in values:
        return
    steps = 2 * math.pi / values.number("feed.step_angle")
    if abs(steps - round(steps)) > STEPS_OFF:
        yield (
            "feed.step_angle",
            f"a step of {values.written('feed.step_angle')} gives {steps:.2f} steps per turn, "
            "which is no whole number; give 'feed.steps_per_turn' instead.",
        )
    elif values.given("feed.steps_per_turn") and values.whole("feed.steps_per_turn") != round(
        steps
    ):
        yield (
            "feed.step_angle",
            f"a step of {values.written('feed.step_angle')} gives {steps:.0f} steps per turn, and "
            f"'feed.steps_per_turn' says {values.written('feed.steps_per_turn')}; keep one.",
        )


def _speeds(values: Values) -> Found:
    top = values.number("feed.top_speed")
    for path in ("feed.jog_speed", "feed.local_speed", "feed.draw_speed", "feed.prime_speed"):
        if values.sound(path) and values.number(path) > top * (1 + 1e-9):
            yield (
                path,
                f"'{path}' {in_unit(values.number(path), 'mm/s')} is faster than "
                f"'feed.top_speed' {in_unit(top, 'mm/s')}.",
            )


def _reach(values: Values) -> Found:
    steps = steps_per_m(values)
    reach = POSITION_STEPS_MAX / steps
    if values.sound("feed.travel") and values.number("feed.travel") > reach:
        yield (
            "feed.travel",
            f"the board counts at most {_mm(reach)} at this screw and these microsteps; "
            "lower the microsteps.",
        )
    longest = MOVE_STEPS_MAX / steps
    for path in ("feed.approach", "feed.relieve"):
        if values.sound(path) and values.number(path) > longest:
            yield path, f"one move is at most {_mm(longest)} at this screw and these microsteps."


def _air(values: Values) -> Found:
    low, high = "limits.air_min", "limits.air_max"
    if low in values and high in values and values.number(low) >= values.number(high):
        yield low, f"'{low}' must be below '{high}'."


def _sensors(values: Values) -> Found:
    for limit, full, unit in (
        ("limits.thrust", "thrust.full", "N"),
        ("limits.air_max", "air.full", "bar"),
    ):
        if values.sound(limit, full) and values.number(limit) >= values.number(full):
            yield (
                limit,
                f"the sensor reads at most {in_unit(values.number(full), unit)}; "
                "a limit at or above that would never trip.",
            )


def _odd(values: Values) -> Found:
    if values.number("watch.odd_count") > values.number("watch.odd_window"):
        yield "watch.odd_count", "'watch.odd_count' cannot be more than 'watch.odd_window'."


def _eye(values: Values) -> Found:
    taught = [path for path in ("eye.empty", "eye.dough") if path in values]
    if len(taught) == 1:
        yield (
            taught[0],
            "'eye.empty' and 'eye.dough' belong together; "
            "give both, or neither and teach them at the bench.",
        )
    elif taught:
        try:
            eye.thresholds(values.whole("eye.empty"), dough=values.whole("eye.dough"))
        except ValueError as error:
            yield "eye.dough", str(error)


def _pins(values: Values) -> Found:
    taken: dict[str, str] = {}
    for signal, pin in PIN_OF.items():
        path = f"pins.{signal}"
        if not values.sound(path):
            continue
        named = values.text(path)
        both = f"'{taken[named]}' and '{signal}' are both on {named}; " if named in taken else ""
        if named != pin:
            yield (
                path,
                f"{both}'{signal}' is on {pin} of this board's firmware; "
                "its pins cannot be chosen.",
            )
        elif both:
            yield path, f"{both}keep one."
        taken.setdefault(named, signal)


def _one_contact(values: Values) -> Found:
    # SPEC.md, section 9: the contact that says "ready" has the button's pin.
    if {"button", "ready"} <= values.names("fitted"):
        yield "fitted", f"'button' and 'ready' are both on {PIN_OF['ready']}; keep one."


def _board_range(values: Values) -> Found:
    for wire in WIRES:
        if wire.path not in values:
            continue
        with contextlib.suppress(Spoiled):
            value = wire_value(values, wire)
            row = LIMIT_BY_NAME[wire.limit]
            if not row.low <= value <= row.high:
                cause = "; steps follow from screw, motor and microsteps" * ("step" in row.unit)
                yield (
                    wire.path,
                    f"'{wire.path}' becomes {value} {row.unit} on the board, "
                    f"which takes {row.low} to {row.high}{cause}.",
                )


def wire_value(values: Values, wire: Wire) -> int:
    """Return the limit that a key becomes, in the wire's unit."""
    if wire.scale == "steps":
        scale = steps_per_m(values)
    elif wire.scale == "strand":
        narrowing = values.number("nozzle.bore") / values.number("feed.bore")
        scale = steps_per_m(values) * narrowing**2
    else:
        scale = SCALES[wire.scale]
    return round(values.number(wire.path) * scale)


def _without(values: Values, needed: str, alone: str = "") -> Found:
    """Find what a card gives of a part whose first key it lacks; `alone` has a use by itself."""
    part, _, _ = needed.partition(".")
    for key in BENCH_KEYS:
        if key.path.startswith(f"{part}.") and key.path != alone and values.given(key.path):
            yield key.path, f"'{key.path}' has no use without '{needed}'; give both."


def _mqtt(values: Values) -> Found:
    if "mqtt.broker" not in values:
        yield from _without(values, "mqtt.broker")
        return
    # The card is copied into every journal, so an address must have no room for a password.
    if not BROKER.fullmatch(values.text("mqtt.broker")):
        yield (
            "mqtt.broker",
            "'mqtt.broker' is a host name or an address alone, such as broker.local; "
            "port, user and password have keys of their own.",
        )
    if not TOPIC.fullmatch(values.text("mqtt.topic")):
        yield (
            "mqtt.topic",
            "'mqtt.topic' is made of letters, digits, '-' and '_', with '/' between levels.",
        )
    secrets = [path for path in ("mqtt.password_file", "mqtt.password_env") if path in values]
    if len(secrets) == 2:
        yield secrets[1], f"'{secrets[0]}' and '{secrets[1]}' are two passwords; keep one of them."
    if secrets and "mqtt.user" not in values:
        yield secrets[0], f"'{secrets[0]}' has no use without 'mqtt.user'; give both."
    if "mqtt.ca_file" in values and not values.number("mqtt.tls"):
        yield "mqtt.ca_file", "'mqtt.ca_file' has no use without TLS; write 'tls: yes' too."


def _scale(values: Values) -> Found:
    if "scale.port" not in values:
        yield from _without(values, "scale.port", alone="scale.readability")
        return
    if values.text("scale.port") == values.text("port"):
        yield "scale.port", "'scale.port' is the board's own port; the scale has another."
    if "scale.pattern" not in values:
        yield "scale.port", "'scale.port' has no use without 'scale.pattern'; give both."
        return
    problem = pattern_problem(values.text("scale.pattern"))
    if problem:
        yield "scale.pattern", f"'scale.pattern' {problem}"


CHECKS: tuple[Callable[[Values], Found], ...] = (
    *(
        _addresses,
        _parts,
        _nozzle,
        _heel,
        _cut,
        _valve,
        _rod,
        _strokes,
        _screw,
        step_angle,
        _speeds,
        _reach,
    ),
    *(_air, _sensors, _odd, _eye, _pins, _one_contact, _scale, _mqtt, _board_range),
)
"""All of them; each reads the values and yields what it finds wrong."""


def _mm(metres: float) -> str:
    return in_unit(metres, "mm")
