"""Judging the weights of journals: each tube by itself, then tubes that may be compared together.

Nothing here says that a bench or its portions are in order: a verdict is about the spread of what
was weighed, and about nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import Any

import msgspec

from benchd.analysis.weighed import Compared, Loading, Made, Weighed, by, compared
from benchd.calc import spread
from benchd.calc.stats import capability as room
from benchd.calc.stats import compare as groups
from benchd.calc.stats import net_content, odd, ranges, scale, tubes
from benchd.calc.stats.verdict import Verdict, verdict

Range = tuple[float, float, float]
"""A value and the two ends of its 95 % interval."""

TOLERANCE = 0.05
"""Share of the aim where no dough card in the journals says another."""

READABILITY_KG = 1e-4
"""Step of the scale where no weight says it."""


class Odd(msgspec.Struct, frozen=True):
    """An odd weight and what it does."""

    portion: int
    mass_kg: float
    off: float
    """Share off the mean of the kept ones."""
    partner: int | None
    went: str
    shift_kg: float
    """What it does to the mean of all."""
    readings: int


class Section(msgspec.Struct, frozen=True):
    """The weights of one tube made in one way. SI; ranges are value, low, high (95 %)."""

    bench: str
    tube: str
    loading: int
    dough: str
    group: int
    aim_kg: float
    tolerance: float
    portions: tuple[int, ...]
    """Those that are judged."""
    verdict: str
    more: int | None
    wanted_sd_kg: float
    scale_kg: float
    mean_kg: Range | None = None
    sd_kg: Range | None = None
    cv: Range | None = None
    kept_sd_kg: Range | None = None
    without_scale_kg: Range | None = None
    limited_by_scale: bool = False
    next_kg: Range | None = None
    most_kg: Range | None = None
    slope_kg: Range | None = None
    """Change from one portion to the next."""
    slope_proven: bool = False
    halves: dict[str, Range] | None = None
    """Second half beside the first: difference [kg], ratio of spreads [-]."""
    lag: Range | None = None
    moved_kg: Range | None = None
    lost_kg: Range | None = None
    within: Range | None = None
    """Share of the judged weights within the tolerance."""
    odd: tuple[Odd, ...] = ()
    apart: tuple[tuple[int, str, float | None], ...] = ()
    """Portions that are listed and not judged: number, why, mass [kg]."""


class Mass(msgspec.Struct, frozen=True):
    """Where the dough of one tube went [kg]."""

    bench: str
    tube: str
    loading: int
    net_kg: float
    weighed_kg: float
    unweighed: int
    unweighed_kg: float
    heel_kg: float | None
    left_kg: float
    adds_up: bool


class Pool(msgspec.Struct, frozen=True):
    """Tubes that may be compared, together."""

    bench: str
    dough: str
    group: int
    aim_kg: float
    n: int
    tubes: dict[str, float]
    """Each tube's factor, drawn towards 1 [-]; empty with one tube."""
    between: float | None
    """Spread between tubes, share of the mean."""
    within_kg: float | None
    overall_kg: float | None
    capability_withheld: str
    capability_sd: str | None = None
    """Which spread room and placed rest on: "overall", that of all judged weights, tubes together;
    None where they are withheld."""
    room: Range | None = None
    placed: Range | None = None
    outside: float | None = None
    yardstick: dict[str, Any] | None = None


class Judgement(msgspec.Struct, frozen=True):
    """All that is said of some journals' weights."""

    sections: tuple[Section, ...]
    pools: tuple[Pool, ...]
    masses: tuple[Mass, ...]
    strays: int


def judge(weighed: Weighed, tolerance: float | None = None) -> Judgement:
    """Return the judgement of all weights; tolerance: share of the aim, None for the card's."""
    sections, pools = [], []
    for key, portions in by(weighed.portions, compared).items():
        if not any(portion.mass_kg is not None for portion in portions):
            continue
        for of_tube in by(portions, lambda portion: portion.loading).values():
            sections.append(section(of_tube, tolerance))
        pools.append(_pool(key, portions, tolerance))
    of_tubes = by(weighed.portions, lambda portion: (portion.bench, portion.loading))
    masses = [
        mass
        for loading in weighed.loadings
        if (mass := _mass(loading, of_tubes.get((loading.bench, loading.loading), []))) is not None
    ]
    return Judgement(tuple(sections), tuple(pools), tuple(masses), weighed.strays)


def tolerance_of(portions: Sequence[Made], asked: float | None) -> float:
    """Return the tolerance as a share of the aim: as asked, as the card said, or the usual."""
    if asked is not None:
        return asked
    told = [portion.tolerance for portion in portions if portion.tolerance is not None]
    return told[-1] if told else TOLERANCE


def scale_kg(portions: Sequence[Made]) -> float:
    """Return the standard deviation of one weighing [kg]."""
    steps = [portion.readability_kg for portion in portions if portion.readability_kg]
    return scale.scale_sd(max(steps, default=READABILITY_KG))


def section(portions: Sequence[Made], tolerance: float | None) -> Section:
    """Return the judgement of portions of one tube made in one way."""
    judged = [portion for portion in portions if portion.judged]
    share = tolerance_of(portions, tolerance)
    first, weighing = portions[0], scale_kg(portions)
    weights = [portion.mass_kg or 0.0 for portion in judged]
    told = verdict(
        [portion.index for portion in judged],
        weights,
        tolerance=share * first.aim_kg,
        scale_sd=weighing,
    )
    near = [portion for portion in judged if _is_near(portion, share)]
    return Section(
        bench=first.bench,
        tube=first.tube,
        loading=first.loading,
        dough=first.dough,
        group=first.group,
        aim_kg=first.aim_kg,
        tolerance=share,
        portions=tuple(portion.number for portion in judged),
        verdict=told.word,
        more=told.more,
        wanted_sd_kg=told.wanted_sd,
        scale_kg=weighing,
        within=ranges.share_of(len(near), len(judged)) if judged else None,
        odd=tuple(_odd(told, judged, weights, portions)),
        apart=tuple(
            (portion.number, _why_apart(portion), portion.mass_kg)
            for portion in portions
            if not portion.judged
        ),
        **_numbers(weights, weighing),
        **_order(told, weights),
    )


def _is_near(portion: Made, share: float) -> bool:
    # A weight on the limit counts as within, whatever the last binary digit of either is.
    return abs((portion.mass_kg or 0.0) - portion.aim_kg) <= share * portion.aim_kg + 1e-9


def _why_apart(portion: Made) -> str:
    if portion.mass_kg is None:
        return "not weighed"
    return portion.kind if portion.outcome == "complete" else portion.outcome


def _numbers(weights: Sequence[float], weighing: float) -> dict[str, Any]:
    """Mean, spread and ranges; from two weights on."""
    n = len(weights)
    if n < 2:
        return {}
    mean, sd = spread.mean_sd(weights)
    # Equal readings are no proof of equal portions: half of a scale's own spread is rounding.
    sd = max(sd, weighing / 2)
    seen = spread.sd_interval(n, sd=sd)
    left = scale.without_scale(n, sd=sd, scale=weighing)
    return {
        "mean_kg": spread.mean_interval(n, mean=mean, sd=sd),
        "sd_kg": seen,
        "cv": tuple(value / mean for value in seen),
        "without_scale_kg": left.process,
        "limited_by_scale": left.limited,
        "next_kg": ranges.prediction(n, mean=mean, sd=sd),
        "most_kg": ranges.tolerance(n, mean=mean, sd=sd),
    }


def _order(told: Verdict, weights: Sequence[float]) -> dict[str, Any]:
    """What the order of the kept weights tells, where there are enough."""
    if told.line is None or told.split is None:
        return {}
    kept = [weights[at] for at in told.kept]
    if max(kept) == min(kept):
        return {"kept_sd_kg": told.sd}
    middle = len(kept) // 2
    first, second = kept[:middle], kept[middle:]
    halves = None
    if min(max(first) - min(first), max(second) - min(second)) > 0:
        both = groups.compare(first, second)
        halves = {"difference_kg": both.difference, "ratio": both.ratio}
    return {
        "kept_sd_kg": told.sd,
        "slope_kg": told.line.slope,
        "slope_proven": told.line.proven,
        "halves": halves,
        "lag": told.split.lag,
        "moved_kg": told.split.moved,
        "lost_kg": told.split.lost,
    }


def _odd(
    told: Verdict, judged: Sequence[Made], weights: Sequence[float], portions: Sequence[Made]
) -> list[Odd]:
    kept = [weights[at] for at in told.kept]
    usual = sum(kept) / len(kept) if kept else 0.0
    found = []
    for event in told.events:
        partner = None if event.partner is None else judged[event.partner].number
        went = event.went
        before = _set_aside_before(judged[event.at], portions)
        if partner is None and before is not None and len(kept) > 1:
            sd = max(spread.mean_sd(kept)[1], scale_kg(portions))
            it_went = odd.where_it_went(
                weights[event.at], before.mass_kg or 0.0, mean=usual, sd=sd, sum_sd=sqrt(2) * sd
            )
            if it_went is odd.Went.MOVED:
                partner, went = before.number, it_went
        found.append(
            Odd(
                portion=judged[event.at].number,
                mass_kg=weights[event.at],
                off=weights[event.at] / usual - 1,
                partner=partner,
                went=went,
                shift_kg=odd.shift_of_mean(weights, event.at),
                readings=judged[event.at].readings,
            )
        )
    return found


def _set_aside_before(one: Made, portions: Sequence[Made]) -> Made | None:
    """Return the portion just before, where it was weighed and is not judged: a flagged one may
    have left its mass to this one."""
    return next(
        (
            other
            for other in portions
            if other.index == one.index - 1 and not other.judged and other.mass_kg is not None
        ),
        None,
    )


def _pool(key: Compared, portions: Sequence[Made], tolerance: float | None) -> Pool:
    judged = [portion for portion in portions if portion.judged]
    of_tubes = {
        f"{tube[0].tube} ({tube[0].loading})": [portion.mass_kg or 0.0 for portion in tube]
        for tube in by(judged, lambda portion: portion.loading).values()
        if len(tube) > 1
    }
    weights = [weight for tube in of_tubes.values() for weight in tube]
    told = tubes.factors(list(of_tubes.values())) if len(of_tubes) > 1 else None
    mean, overall = spread.mean_sd(weights) if len(weights) > 1 else (None, None)
    lacks = room.withheld(len(weights), len(of_tubes))
    share = tolerance_of(portions, tolerance)
    placed = None
    if mean is not None and overall and not lacks:
        low, high = key.aim_kg * (1 - share), key.aim_kg * (1 + share)
        placed = room.capability(len(weights), mean=mean, sd=overall, low=low, high=high)
    yard = net_content.yardstick(key.aim_kg, weights)
    return Pool(
        bench=key.bench,
        dough=key.dough,
        group=key.group,
        aim_kg=key.aim_kg,
        n=len(weights),
        tubes=dict(zip(of_tubes, told.factors, strict=True)) if told else {},
        between=told.between / told.mean if told else None,
        within_kg=tubes.within_sd(list(of_tubes.values())) if of_tubes else None,
        overall_kg=overall,
        capability_withheld=lacks,
        capability_sd="overall" if placed else None,
        room=placed.room if placed else None,
        placed=placed.placed if placed else None,
        outside=placed.outside if placed else None,
        yardstick=yard._asdict() if yard else None,
    )


def _mass(loading: Loading, of_tube: Sequence[Made]) -> Mass | None:
    weights = [portion.mass_kg for portion in of_tube if portion.mass_kg is not None]
    if loading.net_kg is None or not weights:
        return None
    missing = sum(portion.mass_kg is None for portion in of_tube)
    told = tubes.balance(
        loading.net_kg - (loading.heel_kg or 0.0),
        weights,
        unweighed=missing,
        each_error_kg=scale_kg(of_tube),
    )
    return Mass(
        bench=loading.bench,
        tube=loading.tube,
        loading=loading.loading,
        net_kg=loading.net_kg,
        weighed_kg=told.weighed,
        unweighed=missing,
        unweighed_kg=told.unweighed,
        heel_kg=loading.heel_kg,
        left_kg=told.left,
        adds_up=told.adds_up,
    )
