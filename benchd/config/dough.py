"""The dough card: read, checked against the bench, turned into what a portion needs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial

from benchd.calc.push import NO_PUSH, is_slip, push_way
from benchd.config.bench_keys import YES_NO
from benchd.config.errors import Problems
from benchd.config.keys import OPTIONAL, REQUIRED, Key, Spoiled, Values, hold_to, in_unit, read
from benchd.config.sizing_keys import DOUGH_SIZING_KEYS, guesses
from benchd.core.facts import PROGRAM_STEPS_MAX, SPEED_MIN, BenchFacts, Dough, push_time_s

_KEYS: tuple[Key, ...] = (
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
    Key("auto_stroke", "choice", "", 0, 0, "no",
        "yes: a series changes its stroke by itself, from the mean of each eight weights that you "
        "give while it runs; at most 2 % at once and 10 % in all, each change in the journal",
        YES_NO),
    *DOUGH_SIZING_KEYS,
)  # fmt: skip

DOUGH_KEYS: tuple[Key, ...] = (*_KEYS, guesses(_KEYS))
"""The single table of a dough card."""

UNDIGESTED = {"dough", "guessed", *(key.path for key in DOUGH_SIZING_KEYS)}
"""Keys that no portion is made by."""

Found = Iterator[tuple[str, str]]
"""Mistakes: the key they stand at, and the sentence."""


def dough(text: str, name: str, facts: BenchFacts) -> Dough:
    """Return a dough card, checked against the bench it is to run on.

    Parameters: text: the card; name: its file name, for the sentences; facts: the bench.
    Raises: CardError with one sentence a mistake: file, line, what was read, what is possible.
    """
    problems = Problems(name)
    values = dough_values(text, problems, facts)
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
        auto_stroke=bool(values.number("auto_stroke")),
        text=text,
        digest=values.digest(values.all().keys() - UNDIGESTED),
    )


def dough_values(text: str, problems: Problems, facts: BenchFacts | None = None) -> Values:
    """Return the values of a dough card; every mistake goes into `problems`.

    Without a bench only the card itself is looked at, and a stroke that it leaves out stays out.

    Raises: CardError when the text is no card at all.
    """
    values = read(text, DOUGH_KEYS, problems)
    if facts is None:
        return values
    if "stroke" not in values:
        try:
            stroke_m = stroke_for(values, facts)
            values.set("stroke", stroke_m, text=_mm(stroke_m))
        except Spoiled:
            values.spoil("stroke")
    hold_to([partial(check, facts) for check in CHECKS], values, problems)
    return values


def stroke_for(values: Values, facts: BenchFacts) -> float:
    """Return the stroke that aim and density ask for [m]."""
    area_m2 = math.pi * facts.bore_m**2 / 4
    net_m = values.number("aim") / (values.number("density") * area_m2)
    return push_way(
        net_m, draw_back_m=values.number("draw_back"), take_up_m=values.number("take_up")
    )


def _at(values: Values) -> str:
    """The key that a mistake of the stroke stands at."""
    return "stroke" if values.given("stroke") else "aim"


def _fits_aim(facts: BenchFacts, values: Values) -> Found:
    right_m = stroke_for(values, facts)
    if right_m <= 0:
        yield "take_up", NO_PUSH
    elif is_slip(values.number("stroke"), right_m):
        yield (
            "stroke",
            f"a stroke of {_mm(values.number('stroke'))} does not fit an aim of "
            f"{in_unit(values.number('aim'), 'g')}: at this density and bore it takes about "
            f"{_mm(right_m)}.",
        )


def _fits_travel(facts: BenchFacts, values: Values) -> Found:
    stroke_m = values.number("stroke")
    useful_m = facts.travel_m - facts.heel_m
    if stroke_m > useful_m:
        yield (
            _at(values),
            f"one portion needs {_mm(stroke_m)} of feed; this bench has {_mm(useful_m)}.",
        )


def _fits_program(facts: BenchFacts, values: Values) -> Found:
    for path, most in PROGRAM_STEPS_MAX.items():
        if values.sound(path) and facts.steps(values.number(path)) > most:
            yield (
                path if values.given(path) else _at(values),
                f"'{path}' is longer than the board takes, {_mm(facts.metres(most))}.",
            )


def _fits_speed(facts: BenchFacts, values: Values) -> Found:
    speed_m_s = values.number("push_speed")
    speed, top = facts.steps(speed_m_s), facts.limits["speed_max"]
    if not SPEED_MIN <= speed <= top:
        yield (
            "push_speed",
            f"'push_speed' {_mm_s(speed_m_s)} is not possible; this bench feeds at "
            f"{_mm_s(facts.metres(SPEED_MIN))} to {_mm_s(facts.metres(top))}.",
        )
        return
    longest_s = facts.limits["push_max_ms"] / 1000
    push_s = push_time_s(facts, values.number("take_up"), values.number("stroke"), speed_m_s)
    if push_s > longest_s:
        yield (
            _at(values),
            f"the push takes {push_s:.1f} s; the bench card allows {longest_s:.1f} s "
            "(limits.push).",
        )


CHECKS: tuple[Callable[[BenchFacts, Values], Found], ...] = (
    _fits_aim,
    _fits_travel,
    _fits_program,
    _fits_speed,
)
"""What must hold between a dough card and its bench."""


def _mm(metres: float) -> str:
    return in_unit(metres, "mm")


def _mm_s(metres_per_s: float) -> str:
    return in_unit(metres_per_s, "mm/s")
