"""The bench card: read, checked, turned into facts for the core and limits for the board."""

from __future__ import annotations

import math
from typing import NamedTuple

from benchd.calc import eye
from benchd.config.bench_checks import CHECKS, longest_s, steps_per_m
from benchd.config.bench_keys import BENCH_KEYS, SCALES, WIRES
from benchd.config.errors import Problems
from benchd.config.keys import Value, Values, read
from benchd.core.facts import BenchFacts, Watch
from protocols.limits import FITTED_BITS, GROUPS, LIMIT_BY_NAME, LIMITS, group_digest


class BenchCard(NamedTuple):
    """A bench card: the facts for the core, where the board is, and every value by key, SI."""

    facts: BenchFacts
    port: str
    baud: int
    values: dict[str, Value]


class Port(NamedTuple):
    """Where the board is: device path or address, and speed."""

    port: str
    baud: int


def bench_facts(text: str, name: str) -> BenchFacts:
    """Return the facts of a bench card; see `bench_card`."""
    return bench_card(text, name).facts


def port_of(text: str, name: str) -> Port:
    """Return where the board of a bench card is; see `bench_card`."""
    card = bench_card(text, name)
    return Port(card.port, card.baud)


def bench_card(text: str, name: str) -> BenchCard:
    """Return a bench card, checked.

    Parameters: text: the card; name: its file name, for the sentences.
    Raises: CardError with one sentence a mistake: file, line, what was read, what is possible.
    """
    problems = Problems(name)
    values = read(text, name, BENCH_KEYS, problems)
    problems.raise_if_any()
    _fill_in(values)
    for check in CHECKS:
        for path, sentence in check(values):
            problems.add(values.line(path), sentence)
    problems.raise_if_any()
    limits = _limits(values, problems)
    problems.raise_if_any()
    facts = _facts(text, values, limits)
    return BenchCard(facts, values.text("port"), values.whole("baud"), values.all())


def _fill_in(values: Values) -> None:
    """Put in what a card may leave out and what then follows from the rest."""
    if "feed.stop_decel" not in values:
        values.set("feed.stop_decel", 4 * values.number("feed.accel"))
    if "feed.draw_speed" not in values:
        values.set("feed.draw_speed", values.number("feed.top_speed"))


def _limits(values: Values, problems: Problems) -> dict[str, int]:
    """Every limit of the board; those out of the board's range become problems."""
    steps = steps_per_m(values)
    strand = steps * (values.number("nozzle.bore") / values.number("feed.bore")) ** 2
    scales = SCALES | {"steps": steps, "strand": strand}
    limits = {limit.name: limit.start for limit in LIMITS}
    # Without a sensor nothing bounds what it would have read.
    limits |= {"air_min": 0, "air_max": 65_534, "thrust_max": 65_534}
    for wire in WIRES:
        if wire.path in values:
            value = round(values.number(wire.path) * scales[wire.scale])
            limits[wire.limit] = value
            _check_limit(wire.limit, value, wire.path, values, problems)
    on, off = eye.UNTAUGHT
    if "eye.empty" in values:
        on, off = eye.thresholds(values.whole("eye.empty"), dough=values.whole("eye.dough"))
    useful_m = values.number("feed.travel") - values.number("feed.heel")
    return limits | {
        "fitted": sum(1 << FITTED_BITS[part] for part in values.names("fitted")),
        "travel_min": 0,
        # A millionth of a step of room for the arithmetic; otherwise never past the heel.
        "travel_max": math.floor(useful_m * steps + 1e-6),
        "drive_hold": (values.text("feed.after_stop") == "held")
        + 2 * bool(values.number("feed.keeps_position")),
        "valve_home": int(values.text("cutter.rest") == "far"),
        "cut_max_ms": round(longest_s(values, "cutter.cut_time") * 1e3),
        "return_max_ms": round(longest_s(values, "cutter.return_time") * 1e3),
        "eye_on": on,
        "eye_off": off,
        "direction": int(values.text("feed.direction") == "reversed"),
    }


def _check_limit(limit: str, value: int, path: str, values: Values, problems: Problems) -> None:
    row = LIMIT_BY_NAME[limit]
    if row.low <= value <= row.high:
        return
    cause = "; steps follow from screw, motor and microsteps" if "steps" in row.unit else ""
    problems.add(
        values.line(path),
        f"'{path}' becomes {value} {row.unit} on the board, "
        f"which takes {row.low} to {row.high}{cause}.",
    )


def _facts(text: str, values: Values, limits: dict[str, int]) -> BenchFacts:
    return BenchFacts(
        name=values.text("bench"),
        limits=limits,
        steps_per_m=steps_per_m(values),
        bore_m=values.number("feed.bore"),
        nozzle_bore_m=values.number("nozzle.bore"),
        fitted=tuple(sorted(values.names("fitted"))),
        travel_m=values.number("feed.travel"),
        heel_m=values.number("feed.heel"),
        jog_speed_m_s=values.number("feed.jog_speed"),
        prime_speed_m_s=values.number("feed.prime_speed"),
        approach_m=values.number("feed.approach"),
        relieve_m=values.number("feed.relieve"),
        scale_readability_kg=values.number("scale.readability"),
        simulated=bool(values.number("simulated")),
        watch=Watch(
            odd_count=values.whole("watch.odd_count"),
            odd_window=values.whole("watch.odd_window"),
            odd_share=values.number("watch.odd_share"),
            slow_share=values.number("watch.slow_share"),
            attendance_min=values.number("watch.attendance") / 60,
            proof_days=values.number("watch.proof") / 86_400,
            smear_portions=values.whole("watch.smear_portions"),
            clock_error_ms=values.number("watch.clock_error") * 1e3,
        ),
        digests={group: group_digest(limits, group) for group in GROUPS},
        text=text,
    )
