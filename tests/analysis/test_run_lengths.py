"""How seldom a chart calls a false alarm, through the functions that draw it, beside what is
published of its rules; of sums of neighbours, that share a weight, beside the rule itself."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from math import log, sqrt
from typing import NamedTuple

import numpy as np
import pytest

from benchd.analysis import charts
from benchd.analysis.charts import Chart, Drawn, Points, _chart, _groups, _single_limits, _sums
from benchd.cli.chart_text import BY_CHANCE, LABELS

PUBLISHED = {"beyond": 370.4, "eight": 255.0, "both": 152.7, "cusum": 465.0, "ewma": 500.0}
"""Points to the first false alarm. One point beyond three spreads, and both run rules together:
Champ and Woodall, Technometrics 29 (1987) 393; eight on a side: 2^8 - 1, Feller, volume 1, XIII.7;
CUSUM: Montgomery, table 9.3; EWMA: Lucas and Saccucci, Technometrics 32 (1990) 1."""

RUNS, POINTS = 500, 1500

ANY, ANY_OF_SUMS, ANY_OF_20 = map(int, re.findall(r"once in (\d+)", BY_CHANCE))


class Feed(NamedTuple):
    """Points of a sound bench for one chart, and the standard deviation these have."""

    points: Points
    sigma: float


def fed(signal: str, seed: int) -> Feed:
    """Independent normal points, or what the chart makes of independent normal weights."""
    count = POINTS * charts.GROUP if signal == "mean of 4" else POINTS
    values = np.random.default_rng(13_000 + seed).normal(size=count).tolist()
    tube = [(at, at, value) for at, value in enumerate(values)]
    if signal == "mean of 4":
        return Feed(_groups([tube]), 1 / sqrt(charts.GROUP))
    if signal == charts.SUMS:
        return Feed(_sums([tube]), sqrt(2))
    return Feed([(at, value) for at, _, value in tube], 1.0)


def firsts(chart: Chart) -> dict[str, int | None]:
    """How many points each sign took, on a chart whose points are numbered in order."""
    at = {number: place for place, (number, _) in enumerate(chart.points, 1)}

    def first(numbers: Iterable[int | None]) -> int | None:
        return min((at[one] for one in numbers if one is not None), default=None)

    eight = chart.runs.get("eight-on-a-side")
    return {
        "beyond": first(chart.beyond),
        "eight": first([eight]),
        "both": first([*chart.beyond, eight]),
        "cusum": first([chart.cusum]),
        "ewma": first([chart.ewma]),
        "any": first([*chart.beyond, *chart.runs.values(), chart.cusum, chart.ewma]),
    }


def lengths(signal: str) -> dict[str, float]:
    """Mean points to the first alarm of each sign; a series without one counts as all its points,
    in the way of waiting times without memory."""
    alarms: Counter[str] = Counter()
    points: Counter[str] = Counter()
    for seed in range(RUNS):
        feed = fed(signal, seed)
        exact = {signal: Drawn(0.0, feed.sigma, "given", 1)}
        chart = _chart(signal, "kg", feed.points, exact, lambda _: None)
        for sign, at in firsts(chart).items():
            alarms[sign] += at is not None
            points[sign] += at or chart.n
    return {sign: points[sign] / alarms[sign] for sign in points if alarms[sign]}


@pytest.mark.slow
@pytest.mark.parametrize("signal", [one for one in LABELS if one != charts.SUMS])
def test_a_chart_calls_false_alarms_as_seldom_as_published(signal: str) -> None:
    told = lengths(signal)
    for sign, points in PUBLISHED.items():
        assert told[sign] == pytest.approx(points, rel=0.12), sign
    assert told["any"] == pytest.approx(ANY, rel=0.12)


@pytest.mark.slow
def test_sums_of_neighbours_show_single_points_alone_as_seldom_as_the_rule_does() -> None:
    told = lengths(charts.SUMS)
    assert set(told) == {"beyond", "both", "any"}
    rng = np.random.default_rng(14_000)
    weights = rng.normal(size=(4000, POINTS + 1))
    beyond = np.abs(weights[:, 1:] + weights[:, :-1]) > 3 * sqrt(2)
    alarmed = beyond.any(axis=1)
    waited = np.where(alarmed, beyond.argmax(axis=1) + 1, POINTS)
    rule = waited.sum() / alarmed.sum()
    assert told["any"] == pytest.approx(rule, rel=0.12)
    assert rule == pytest.approx(ANY_OF_SUMS, rel=0.05)


@pytest.mark.slow
def test_limits_frozen_of_20_points_call_more_false_alarms() -> None:
    rng = np.random.default_rng(17_000)
    series, count, alarmed = 4000, charts.control.BASELINE_LEAST, 0
    for _ in range(series):
        values = list(enumerate(rng.normal(size=2 * count).tolist()))
        frozen = _single_limits(values[:count])
        if frozen is None:  # One was odd, so that there are too few.
            series -= 1
            continue
        chart = _chart(
            "cutter stroke", "s", values[count:], {"cutter stroke": frozen}, lambda _: None
        )
        alarmed += firsts(chart)["any"] is not None
    points = count / -log(1 - alarmed / series)
    assert points == pytest.approx(ANY_OF_20, rel=0.1)
