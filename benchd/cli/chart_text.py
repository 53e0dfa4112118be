"""Control charts in lines of text: limits, and the points that stand out."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from benchd.calc.stats.control import BASELINE_LEAST
from benchd.calc.stats.rules import RULE
from benchd.cli.judge_text import digits_for
from benchd.cli.rows import row, wrap
from tui import view

if TYPE_CHECKING:
    from benchd.analysis.charts import Baseline, Chart, Charts
    from benchd.analysis.levels import Held

LABELS = {
    "weight": "Weight",
    "mean of 4": "Mean of 4",
    "neighbour sum": "Sum of two",
    "cutter start delay": "Start delay",
    "cutter stroke": "Stroke",
    "thrust at the cut": "Thrust",
}
ABOUT = {
    "weight": " about the tube's mean",
    "mean of 4": " about the tube's mean",
    "neighbour sum": " about twice the tube's mean",
    "thrust at the cut": " about its line along the tube",
}
UNITS = {"kg": (1e3, "g"), "s": (1e3, "ms"), "N": (1.0, "N")}

LEVELS = {"weight": "Tube means", "thrust at the cut": "Tube thrust"}

BY_CHANCE = (
    "By chance alone a chart with exact limits shows some sign about once in 125 points, that of "
    "sums about once in 400; a chart with limits frozen of 20 points about once in 55."
)
"""Of independent points and exact limits, through `benchd.analysis.charts`, by simulation
(`tests/analysis/test_run_lengths.py`, which holds each sign to published run lengths)."""

ONE_TUBE = (
    "The limits were frozen of one tube, and tubes differ by 1 to 3 % by themselves: freeze those "
    "of several."
)


def chart_lines(all_charts: Sequence[Charts]) -> Iterator[str]:
    """Give the lines of all charts."""
    for charts in all_charts:
        drawn = [chart for chart in charts.charts if chart.drawn is not None]
        counted = max((chart.n for chart in charts.charts), default=0)
        if not drawn:
            yield from wrap(
                f"{charts.dough}, group {charts.group}, charts: withheld with {counted} of the "
                f"{BASELINE_LEAST} points that limits take"
            )
            continue
        whose = (
            "limits of these points themselves"
            if charts.version is None
            else f"limits frozen as version {charts.version}"
        )
        yield from wrap(f"{charts.dough}, group {charts.group}, charts: {whose}")
        for chart in charts.charts:
            if chart.n:
                yield from row(LABELS[chart.signal], chart_text(chart))
        for label, text in level_rows(charts.levels):
            yield from row(label, text)
        yield from wrap(BY_CHANCE, inset=2)


def chart_text(chart: Chart) -> str:
    """Return one chart: its limits, how many points, and what stands out."""
    if chart.drawn is None:
        if chart.n < BASELINE_LEAST:
            return f"withheld: {chart.n} points, limits take {BASELINE_LEAST}"
        return f"{chart.n} points without limits: they hardly differ, or too many are odd"
    factor, unit = UNITS[chart.unit]
    centre, half = chart.drawn.centre * factor, 3 * chart.drawn.sigma * factor
    digits = digits_for(half / 5)
    sign = "+" if chart.signal in ABOUT else ""
    span = f"{centre - half:{sign}.{digits}f} to {centre + half:{sign}.{digits}f} {unit}"
    about = ABOUT.get(chart.signal, "")
    return f"{span}{about}, {view.several(chart.n, 'point')}: {_signs(chart)}"


def level_rows(levels: Sequence[Held]) -> Iterator[tuple[str, str]]:
    """Give label and text of each signal whose tubes are held against frozen ones."""
    for signal, label in LEVELS.items():
        tubes = [one for one in levels if one.signal == signal]
        if tubes:
            yield label, _level_text(tubes)


def _level_text(tubes: Sequence[Held]) -> str:
    """Return one signal of the frozen tubes and of those held against them."""
    first = tubes[0]
    factor, unit = UNITS[first.unit]
    digits = max(digits_for((one.high - one.low) / 10 * factor) for one in tubes)

    def number(value: float) -> str:
        return f"{value * factor:.{digits}f}"

    def beside(one: Held) -> str:
        return f"{number(one.low)} to {number(one.high)} {unit}"

    place = "" if first.place is None else f" at portion {first.place:.0f}"
    of = "the one frozen tube" if first.tubes == 1 else f"the {first.tubes} frozen tubes"
    said = [f"{number(first.frozen)} {unit}{place} in {of}"]
    for span, alike in itertools.groupby(tubes, key=beside):
        values = [
            f"{one.tube or '(not named)'} {number(one.value)} {unit}{_way(one)}" for one in alike
        ]
        said.append(f"{', '.join(values)} (95 of 100 such tubes: {span})")
    text = "; ".join(said)
    return f"{text}. {ONE_TUBE}" if first.tubes == 1 else text


def _way(one: Held) -> str:
    if not one.beyond:
        return ""
    return " (ABOVE)" if one.value > one.high else " (BELOW)"


def _signs(chart: Chart) -> str:
    said = []
    if chart.beyond:
        numbers = ", ".join(map(str, chart.beyond))
        many = "s" if len(chart.beyond) > 1 else ""
        said.append(f"portion{many} {numbers} beyond the limits")
    said += [f"{RULE[name].meaning} at portion {number}" for name, number in chart.runs.items()]
    slow = [
        f"{number} ({name})"
        for name, number in (("CUSUM", chart.cusum), ("EWMA", chart.ewma))
        if number is not None
    ]
    if slow:
        said.append(f"a lasting shift shows at portion {' and '.join(slow)}")
    return "; ".join(said) or "none of them stands out"


def frozen_text(baseline: Baseline) -> str:
    """Return what was frozen."""
    points = baseline.charts["weight"].n
    level = baseline.levels.get("weight")
    return (
        f"Limits frozen as version {baseline.version}, from {points} weights of portions "
        f"{baseline.first_portion} to {baseline.last_portion}. Charts of bench {baseline.bench} "
        "with the same dough, aim, recipe and values set by hand are held against them from now on."
        + (f" {ONE_TUBE}" if level is not None and level.tubes == 1 else "")
    )
