"""What must hold between the values of a bench card, beyond the range of each."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from benchd.calc import eye
from benchd.config.bench_keys import BENCH_KEYS, PART_OF
from benchd.config.keys import Values, in_unit

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


def steps_per_m(values: Values) -> float:
    """Return the microsteps per metre of feed."""
    per_turn = values.whole("feed.steps_per_turn") * values.whole("feed.microsteps")
    return per_turn / values.number("feed.lead")


def longest_s(values: Values, usual: str) -> float:
    """Return the longest time of a stroke [s]: as the card says, else three times the usual."""
    if "cutter.longest" in values:
        return values.number("cutter.longest")
    return min(3 * values.number(usual), STROKE_S_MAX)


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


def _barrel(values: Values) -> Found:
    bore, nozzle = values.number("feed.bore"), values.number("nozzle.bore")
    if nozzle >= bore:
        yield (
            "nozzle.bore",
            f"a nozzle of {_mm(nozzle)} is not narrower than the barrel of {_mm(bore)}; "
            "measure both again.",
        )
    if values.number("feed.heel") >= values.number("feed.travel"):
        yield "feed.heel", "the heel is as long as the whole travel; the plunger could not move."
    stroke = values.number("cutter.stroke")
    if stroke < nozzle:
        yield (
            "cutter.stroke",
            f"a stroke of {_mm(stroke)} cannot cut a strand of {_mm(nozzle)}; "
            "the stroke must be longer than the nozzle is wide.",
        )


def _cutter(values: Values) -> Found:
    double = values.text("cutter.acting") == "double"
    if double and values.text("cutter.valve").startswith("3/2"):
        # Common practice: a valve with one outlet pushes one way only; a double-acting cylinder
        # needs two outlets.
        yield (
            "cutter.valve",
            "a 3/2 valve has one outlet and cannot reverse a double-acting cylinder; "
            "it takes a '5/2 spring return', or a single-acting cylinder.",
        )
    if values.number("cutter.rod") >= values.number("cutter.bore"):
        yield "cutter.rod", "the rod is as thick as the cylinder's bore; measure both again."
    for usual in ("cutter.cut_time", "cutter.return_time"):
        if longest_s(values, usual) < values.number(usual):
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


def _drive(values: Values) -> Found:
    starts = values.whole("feed.starts")
    lets_go = values.text("feed.after_stop") == "released"
    if lets_go and values.number("feed.keeps_position") and starts > 1:
        # Common practice: a steep thread does not lock itself.
        yield (
            "feed.keeps_position",
            f"a screw of {starts} starts runs back when the drive lets go; "
            "write 'keeps_position: no', or 'after_stop: held'.",
        )
    top = values.number("feed.top_speed")
    for path in ("feed.jog_speed", "feed.local_speed", "feed.draw_speed", "feed.prime_speed"):
        speed = values.number(path)
        if speed > top * (1 + 1e-9):
            yield (
                path,
                f"'{path}' {in_unit(speed, 'mm/s')} is faster than "
                f"'feed.top_speed' {in_unit(top, 'mm/s')}.",
            )
    reach = POSITION_STEPS_MAX / steps_per_m(values)
    if values.number("feed.travel") > reach:
        yield (
            "feed.travel",
            f"the board counts at most {_mm(reach)} at this screw and these microsteps; "
            "lower the microsteps.",
        )
    longest = MOVE_STEPS_MAX / steps_per_m(values)
    for path in ("feed.approach", "feed.relieve"):
        if values.number(path) > longest:
            yield path, f"one move is at most {_mm(longest)} at this screw and these microsteps."


def _sensors(values: Values) -> Found:
    low, high = "limits.air_min", "limits.air_max"
    if low in values and high in values and values.number(low) >= values.number(high):
        yield low, f"'{low}' must be below '{high}'."
    for limit, full, unit in (
        ("limits.thrust", "thrust.full", "N"),
        ("limits.air_max", "air.full", "bar"),
    ):
        if limit in values and full in values and values.number(limit) >= values.number(full):
            yield (
                limit,
                f"the sensor reads at most {in_unit(values.number(full), unit)}; "
                "a limit at or above that would never trip.",
            )
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


def _mqtt(values: Values) -> Found:
    if "mqtt.broker" not in values:
        for key in BENCH_KEYS:
            if key.path.startswith("mqtt.") and values.given(key.path):
                yield key.path, f"'{key.path}' has no use without 'mqtt.broker'; give both."
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


CHECKS: tuple[Callable[[Values], Found], ...] = (
    _parts,
    _barrel,
    _cutter,
    _drive,
    _sensors,
    _eye,
    _mqtt,
)
"""All of them; each reads the values and yields what it finds wrong."""


def _mm(metres: float) -> str:
    return in_unit(metres, "mm")
