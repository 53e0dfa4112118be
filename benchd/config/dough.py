"""The dough card: read, checked against the bench, turned into what a portion needs."""

from __future__ import annotations

import math

from benchd.config.errors import Problems
from benchd.config.keys import OPTIONAL, REQUIRED, Key, Values, in_unit, read
from benchd.core.facts import BenchFacts, Dough, ramp_time_s

DOUGH_KEYS: tuple[Key, ...] = (
    Key("dough", "text", "", 1, 32, REQUIRED, "the name of this dough"),
    Key("aim", "quantity", "g", 1, 2000, REQUIRED, "mass of one portion"),
    Key("density", "quantity", "g/cm3", 0.3, 2, REQUIRED, "density of the dough with its air"),
    Key("stroke", "quantity", "mm", 0.1, 500, OPTIONAL,
        "way of the push; from aim and density if not given"),
    Key("take_up", "quantity", "mm", 0, 50, "0 mm",
        "way forward before the push that takes up the draw-back"),
    Key("push_speed", "quantity", "mm/s", 0.01, 200, REQUIRED, "speed of take-up and push"),
    Key("draw_back", "quantity", "mm", 0, 50, REQUIRED, "way back after the push, against drool"),
    Key("settle", "quantity", "ms", 0, 9999, REQUIRED, "rest of the feed before the cut"),
    Key("dwell", "quantity", "ms", 0, 999, "50 ms", "time the cutter stays at the far end"),
    Key("tolerance", "share", "", 0.001, 0.5, "5 %",
        "share of the aim within which a portion is right"),
)  # fmt: skip
"""The single table of a dough card."""

STROKE_DOUBT = 0.3
"""A stroke further than this share from what aim and density say is taken for a slip."""

PROGRAM_STEPS_MAX = {"take_up": 99_999, "stroke": 999_999, "draw_back": 99_999}
SPEED_MIN = 10
"""Longest ways, and slowest speed, of a program in steps and steps/s (SPEC.md, section 4)."""


def dough(text: str, name: str, facts: BenchFacts) -> Dough:
    """Return a dough card, checked against the bench it is to run on.

    Parameters: text: the card; name: its file name, for the sentences; facts: the bench.
    Raises: CardError with one sentence a mistake: file, line, what was read, what is possible.
    """
    problems = Problems(name)
    values = read(text, name, DOUGH_KEYS, problems)
    problems.raise_if_any()
    right_m = _stroke_m(values, facts)
    if "stroke" not in values:
        values.set("stroke", right_m)
    _check(values, facts, right_m, problems)
    problems.raise_if_any()
    return Dough(
        name=values.text("dough"),
        aim_kg=values.number("aim"),
        density_kg_m3=values.number("density"),
        stroke_m=values.number("stroke"),
        take_up_m=values.number("take_up"),
        push_speed_m_s=values.number("push_speed"),
        draw_back_m=values.number("draw_back"),
        settle_s=values.number("settle"),
        dwell_s=values.number("dwell"),
        tolerance=values.number("tolerance"),
        text=text,
    )


def _stroke_m(values: Values, facts: BenchFacts) -> float:
    """The stroke that aim and density ask for; what draw-back takes beyond take-up comes on top."""
    area_m2 = math.pi * facts.bore_m**2 / 4
    net_m = values.number("aim") / (values.number("density") * area_m2)
    return net_m + values.number("draw_back") - values.number("take_up")


def _check(values: Values, facts: BenchFacts, right_m: float, problems: Problems) -> None:
    stroke_m = values.number("stroke")
    line = values.line("stroke") or values.line("aim")
    if right_m <= 0:
        problems.add(
            values.line("take_up"), "'take_up' is longer than the whole portion; shorten it."
        )
        return
    if abs(stroke_m / right_m - 1) > STROKE_DOUBT:
        problems.add(
            line,
            f"a stroke of {_mm(stroke_m)} does not fit an aim of "
            f"{in_unit(values.number('aim'), 'g')}: at this density and bore it takes about "
            f"{_mm(right_m)}.",
        )
    useful_m = facts.travel_m - facts.heel_m
    if stroke_m > useful_m:
        problems.add(
            line, f"one portion needs {_mm(stroke_m)} of feed; this bench has {_mm(useful_m)}."
        )
    for path, most in PROGRAM_STEPS_MAX.items():
        if facts.steps(values.number(path)) > most:
            problems.add(
                values.line(path) or line,
                f"'{path}' is longer than the board takes, {_mm(facts.metres(most))}.",
            )
    _check_speed(values, facts, line, problems)


def _check_speed(values: Values, facts: BenchFacts, line: int, problems: Problems) -> None:
    speed_m_s = values.number("push_speed")
    speed, top = facts.steps(speed_m_s), facts.limits["speed_max"]
    if not SPEED_MIN <= speed <= top:
        problems.add(
            values.line("push_speed"),
            f"'push_speed' {_mm_s(speed_m_s)} is not possible; this bench feeds at "
            f"{_mm_s(facts.metres(SPEED_MIN))} to {_mm_s(facts.metres(top))}.",
        )
        return
    accel, longest_s = facts.limits["accel"], facts.limits["push_max_ms"] / 1000
    ways = [facts.steps(values.number(path)) for path in ("take_up", "stroke")]
    push_s = sum(ramp_time_s(way, speed=speed, accel=accel) for way in ways)
    if push_s > longest_s:
        problems.add(
            line,
            f"the push takes {push_s:.1f} s; the bench card allows {longest_s:.1f} s "
            "(limits.push).",
        )


def _mm(metres: float) -> str:
    return in_unit(metres, "mm")


def _mm_s(metres_per_s: float) -> str:
    return in_unit(metres_per_s, "mm/s")
