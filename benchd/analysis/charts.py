"""Control charts of portions that may be compared: weights, their groups and neighbours, the
cutter's times and the thrust, each with limits of its own or of a frozen baseline.

Weights stand about their tube's mean, and thrust about its line along the tube, since both differ
between and along tubes by nature; the tubes themselves are held against frozen ones (`levels`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from math import sqrt

import msgspec

from benchd.analysis.levels import TUBE_LEAST, Held, Level, held, levels_of, usual_mean
from benchd.analysis.weighed import Compared, Made, by, compared
from benchd.calc.stats import control, rules, slow
from benchd.calc.stats.odd import without_odd
from benchd.calc.stats.order import line, split

GROUP = 4
"""Weights in a group whose mean is charted."""

SUMS = "neighbour sum"
"""Each weight stands in two sums, so that neighbouring sums go together; only single points count,
as the other rules are for independent ones."""

Points = list[tuple[int, float]]
"""Number of a portion and a value that belongs to it, in order."""


class Drawn(msgspec.Struct, frozen=True):
    """Centre and standard deviation that limits are drawn from. n: points they were made from."""

    centre: float
    sigma: float
    sigma_from: str
    n: int


class Chart(msgspec.Struct, frozen=True):
    """One chart. Values in the unit of the signal; portions by their number."""

    signal: str
    unit: str
    n: int
    drawn: Drawn | None = None
    """None while there are too few points for limits, or all are equal."""
    beyond: tuple[int, ...] = ()
    """Portions beyond three standard deviations."""
    runs: dict[str, int] = {}
    """Other run rules that hold somewhere, each with the portion where first; not of sums."""
    cusum: int | None = None
    ewma: int | None = None
    """Portion at which a small lasting shift shows first; not of sums."""
    points: tuple[tuple[int, float], ...] = ()
    """Number of each portion and its value."""


class Baseline(msgspec.Struct, frozen=True):
    """Limits that were frozen: for what, from which portions, the charts' centres, and where the
    tubes were."""

    version: int
    bench: str
    dough: str
    aim_kg: float
    recipe: tuple[float | None, float | None, float | None]
    by_hand: dict[str, float | str]
    first_portion: int
    last_portion: int
    charts: dict[str, Drawn]
    levels: dict[str, Level]


class Charts(msgspec.Struct, frozen=True):
    """All charts of portions that may be compared. version: of the baseline; None for limits of
    these points themselves."""

    bench: str
    dough: str
    group: int
    version: int | None
    charts: tuple[Chart, ...]
    levels: tuple[Held, ...] = ()
    """Each tube beside the frozen ones; none without a baseline."""


def fits(baseline: Baseline, portions: Sequence[Made]) -> bool:
    """Return whether a baseline was made under the same circumstances as these portions."""
    last = portions[-1]
    frozen = (baseline.bench, baseline.dough, baseline.aim_kg, baseline.recipe, baseline.by_hand)
    return frozen == (last.bench, last.dough, last.aim_kg, last.recipe, last.by_hand)


def all_charts(portions: Sequence[Made], baselines: Sequence[Baseline] = ()) -> tuple[Charts, ...]:
    """Return the charts of every kind of portions; the newest fitting baseline gives the limits."""
    told = []
    for key, group in by((one for one in portions if one.judged), compared).items():
        fitting = [one for one in baselines if fits(one, group)]
        newest = max(fitting, key=lambda one: one.version, default=None)
        told.append(_charts(key, group, newest))
    return tuple(told)


def freeze(portions: Sequence[Made], version: int) -> Baseline | None:
    """Return a baseline of portions that may be compared; None while there are too few."""
    judged = [one for one in portions if one.judged]
    if not judged:
        return None
    charts = _charts(compared(judged[-1]), judged, None).charts
    drawn = {chart.signal: chart.drawn for chart in charts if chart.drawn is not None}
    if "weight" not in drawn:
        return None
    last = judged[-1]
    return Baseline(
        version=version,
        bench=last.bench,
        dough=last.dough,
        aim_kg=last.aim_kg,
        recipe=last.recipe,
        by_hand=last.by_hand,
        first_portion=judged[0].number,
        last_portion=last.number,
        charts=drawn,
        levels=levels_of(judged),
    )


def _charts(key: Compared, portions: Sequence[Made], baseline: Baseline | None) -> Charts:
    frozen = baseline.charts if baseline is not None else None
    about = _about_tube_mean(portions)
    weights = [point for tube in about for point in _points(tube)]
    drawn = _weight_limits(about)
    charts = [
        _chart("weight", "kg", weights, frozen, lambda _: drawn.get("weight")),
        _chart("mean of 4", "kg", _groups(about), frozen, lambda _: drawn.get("mean of 4")),
        _chart(SUMS, "kg", _sums(about), frozen, lambda _: drawn.get(SUMS)),
    ]
    for signal, unit, name in (
        ("cutter start delay", "s", "start_delay_s"),
        ("cutter stroke", "s", "stroke_s"),
    ):
        values = [(one.number, one.signals[name]) for one in portions]
        charts.append(_chart(signal, unit, _known(values), frozen, _single_limits))
    charts.append(_chart("thrust at the cut", "N", _thrust(portions), frozen, _single_limits))
    told = (key.bench, key.dough, key.group)
    if baseline is None:
        return Charts(*told, None, tuple(charts))
    return Charts(*told, baseline.version, tuple(charts), held(baseline.levels, portions))


def _chart(
    signal: str,
    unit: str,
    points: Points,
    frozen: Mapping[str, Drawn] | None,
    limits_of: Callable[[Points], Drawn | None],
) -> Chart:
    drawn = limits_of(points) if frozen is None else frozen.get(signal)
    largest = max((abs(value) for _, value in points), default=0.0)
    # A signal that never changes has no limits, nor one whose changes are rounding in binary.
    if drawn is None or drawn.sigma <= 1e-9 * max(largest, abs(drawn.centre)):
        return Chart(signal, unit, len(points), points=tuple(points))
    z = [(value - drawn.centre) / drawn.sigma for _, value in points]
    beyond = tuple(points[at][0] for at, value in enumerate(z) if abs(value) > 3)
    if signal == SUMS:
        return Chart(signal, unit, len(points), drawn, beyond, points=tuple(points))

    def portion(at: int | None) -> int | None:
        return None if at is None else points[at][0]

    sums = slow.cusum(z, target=0.0, slack=slow.CUSUM_SLACK, limit=slow.CUSUM_LIMIT)
    averages = slow.ewma(z, target=0.0, sigma=1.0)
    runs = rules.fired(z, [name for name in rules.CAUTIOUS if name != "beyond-3"])
    return Chart(
        signal=signal,
        unit=unit,
        n=len(points),
        drawn=drawn,
        beyond=beyond,
        runs={name: points[at][0] for name, at in runs.items()},
        cusum=portion(sums.at),
        ewma=portion(averages.at),
        points=tuple(points),
    )


Deviation = tuple[int, int, float]
"""Number of a portion, its index in the tube, how far its weight is from the tube's mean [kg]."""


def _about_tube_mean(portions: Sequence[Made]) -> list[list[Deviation]]:
    tubes = []
    for tube in by(portions, lambda one: one.loading).values():
        if len(tube) < TUBE_LEAST:
            continue
        mean, _ = usual_mean(tube)
        tubes.append([(one.number, one.index, (one.mass_kg or 0.0) - mean) for one in tube])
    return tubes


def _points(tube: Sequence[Deviation]) -> Points:
    return [(number, value) for number, _, value in tube]


def _groups(tubes: Sequence[Sequence[Deviation]]) -> Points:
    points: Points = []
    for tube in tubes:
        means = control.group_means([value for _, _, value in tube], GROUP)
        last = [number for number, _, _ in tube][GROUP - 1 :: GROUP]
        points += zip(last, means, strict=False)
    return points


def _sums(tubes: Sequence[Sequence[Deviation]]) -> Points:
    return [
        (number, value + before)
        for tube in tubes
        for (_, at, before), (number, index, value) in pairwise(tube)
        if index - at == 1
    ]


def _weight_limits(tubes: Sequence[Sequence[Deviation]]) -> dict[str, Drawn]:
    """Limits of single weights, of means of four and of sums of two; odd ones are set aside.

    Where neighbours alternate, a mean of g has var(w)/g + 2 var(e)/g^2, and a sum of two has
    2 var(w) + 2 var(e); else they are independent.
    """
    values = without_odd([value for tube in tubes for _, _, value in tube])
    n = len(values)
    if n < control.BASELINE_LEAST:
        return {}
    single = control.limits(values)
    # A tube's own mean was taken off, so each tube costs a spread one degree of freedom.
    free = sqrt((n - 1) / (n - len(tubes))) if single.sigma_from == "spread" else 1.0
    sigma = single.sigma * free
    mean_sigma, sum_sigma = sigma / sqrt(GROUP), sigma * sqrt(2)
    if single.sigma_from == "spread":
        parts = split(values)
        moved, lost = parts.moved.value * free, parts.lost.value * free
        mean_sigma = sqrt(lost**2 / GROUP + 2 * moved**2 / GROUP**2)
        sum_sigma = sqrt(2 * lost**2 + 2 * moved**2)
    return {
        "weight": Drawn(0.0, sigma, single.sigma_from, n),
        "mean of 4": Drawn(0.0, mean_sigma, single.sigma_from, n),
        SUMS: Drawn(0.0, sum_sigma, single.sigma_from, n),
    }


def _single_limits(points: Points) -> Drawn | None:
    usual = without_odd([value for _, value in points])
    if len(usual) < control.BASELINE_LEAST:
        return None
    told = control.limits(usual)
    return Drawn(told.centre, told.sigma, told.sigma_from, told.n)


def _thrust(portions: Sequence[Made]) -> Points:
    points: Points = []
    for tube in by(portions, lambda one: one.loading).values():
        known = [(one.index, one.number, one.signals["thrust_n"]) for one in tube]
        rows = [(index, number, value) for index, number, value in known if value is not None]
        if len(rows) < TUBE_LEAST:
            continue
        along = line([index for index, _, _ in rows], [value for _, _, value in rows])
        points += [(number, off) for (_, number, _), off in zip(rows, along.residuals, strict=True)]
    return points


def _known(values: Sequence[tuple[int, float | None]]) -> Points:
    return [(number, value) for number, value in values if value is not None]
