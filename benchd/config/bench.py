"""The bench card: read, checked, turned into facts for the core and limits for the board."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from benchd.calc import eye
from benchd.config.bench_checks import CHECKS, longest_s, steps_per_m, wire_value
from benchd.config.bench_keys import BENCH_KEYS, WIRES, group_of
from benchd.config.errors import Problems
from benchd.config.keys import Value, Values, hold_to, in_unit, read
from benchd.core.facts import BenchFacts, Watch
from protocols.limits import FITTED_BITS, GROUPS, LIMITS, group_digest


class BenchCard(NamedTuple):
    """A bench card: the facts for the core, where the board is, and what it says."""

    facts: BenchFacts
    port: str
    baud: int
    read: Values
    """Every value as the card gives it."""

    @property
    def values(self) -> dict[str, Value]:
        """Every value by key, SI."""
        return self.read.all()


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
    values = bench_values(text, problems)
    problems.raise_if_any()
    return BenchCard(
        _facts(text, values, _limits(values)), values.text("port"), values.whole("baud"), values
    )


def bench_values(text: str, problems: Problems) -> Values:
    """Return the values of a bench card; every mistake goes into `problems`.

    Raises: CardError when the text is no card at all.
    """
    values = read(text, BENCH_KEYS, problems)
    fill_in(values)
    hold_to(CHECKS, values, problems)
    # The same motor, however it is written, is the same bench.
    values.drop("feed.step_angle")
    return values


def fill_in(values: Values) -> None:
    """Put in what a card may leave out and what then follows from the rest."""
    if values.sound("feed.accel") and not values.given("feed.stop_decel"):
        decel = 4 * values.number("feed.accel")
        values.set("feed.stop_decel", decel, text=in_unit(decel, "mm/s2"))
    if values.sound("feed.top_speed") and not values.given("feed.draw_speed"):
        values.set(
            "feed.draw_speed",
            values.number("feed.top_speed"),
            text=values.written("feed.top_speed"),
        )
    if values.sound("feed.step_angle") and not values.given("feed.steps_per_turn"):
        steps = round(2 * math.pi / values.number("feed.step_angle"))
        guess = values.sound("guessed") and "feed.step_angle" in values.names("guessed")
        line = 0 if guess else values.line("feed.step_angle")
        values.set("feed.steps_per_turn", steps, line, str(steps))


def _limits(values: Values) -> dict[str, int]:
    """Every limit of the board, of a card without mistakes."""
    limits = {limit.name: limit.start for limit in LIMITS}
    # Without a sensor nothing bounds what it would have read.
    limits |= {"air_min": 0, "air_max": 65_534, "thrust_max": 65_534}
    limits |= {wire.limit: wire_value(values, wire) for wire in WIRES if wire.path in values}
    on, off = eye.UNTAUGHT
    if "eye.empty" in values:
        on, off = eye.thresholds(values.whole("eye.empty"), dough=values.whole("eye.dough"))
    useful_m = values.number("feed.travel") - values.number("feed.heel")
    return limits | {
        "fitted": sum(1 << FITTED_BITS[part] for part in values.names("fitted")),
        "travel_min": 0,
        # A millionth of a step of room for the arithmetic; otherwise never past the heel.
        "travel_max": math.floor(useful_m * steps_per_m(values) + 1e-6),
        "drive_hold": (values.text("feed.after_stop") == "held")
        + 2 * bool(values.number("feed.keeps_position")),
        "valve_home": int(values.text("cutter.rest") == "far"),
        "cut_max_ms": round(longest_s(values, "cutter.cut_time") * 1e3),
        "return_max_ms": round(longest_s(values, "cutter.return_time") * 1e3),
        "eye_on": on,
        "eye_off": off,
        "direction": int(values.text("feed.direction") == "reversed"),
    }


def digests(values: Values, limits: Mapping[str, int]) -> dict[str, int]:
    """Return the digest of each group of the card: what it says in SI, and the limits from it."""
    paths = values.all().keys()
    return {
        group: values.digest(
            (path for path in paths if group_of(path) == group), group_digest(limits, group)
        )
        for group in GROUPS
    }


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
            tube_open_min=values.number("watch.tube_open") / 60,
            proof_days=values.number("watch.proof") / 86_400,
            smear_portions=values.whole("watch.smear_portions"),
            clock_error_ms=values.number("watch.clock_error") * 1e3,
        ),
        digests=digests(values, limits),
        text=text,
    )
