"""Two groups of portions beside each other, from the same thirds of the barrel only.

Spread falls along a tube by itself, since the dough that is left is the spring; so what was made
at the front is never compared with what was made at the end.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from benchd.analysis.judge import Range, scale_kg
from benchd.analysis.weighed import Made, by
from benchd.calc import spread
from benchd.calc.stats import compare as groups
from benchd.calc.stats.odd import odd_ones

THIRDS = {1: "front", 2: "middle", 3: "end"}
EACH_LEAST = 3
"""Portions of each group below which not even figures are given."""

VERDICT_LEAST = 8
"""Portions of each group from which something is called shown (common practice: ten or more)."""


class NoTrial(Exception):
    """The two groups cannot be compared; the text is one sentence that says why."""


class Side(msgspec.Struct, frozen=True):
    """One group: what was compared of it. odd: set aside; left_out: no partner in their third."""

    name: str
    portions: tuple[int, ...]
    mean_kg: Range
    sd_kg: Range
    odd: tuple[int, ...]
    left_out: tuple[int, ...]
    tubes: tuple[str, ...]


class Trial(msgspec.Struct, frozen=True):
    """Group B beside group A. enough: whether there are enough of each for a verdict."""

    a: Side
    b: Side
    differs: tuple[tuple[str, str, str], ...]
    """What was set otherwise: name, in A, in B."""
    thirds: dict[str, int]
    """Third of the barrel to how many of each group were compared in it."""
    difference_kg: Range
    difference_shown: bool
    ratio: Range
    ratio_shown: bool
    could_show_kg: float
    """Difference of means that so many would find 8 times in 10."""
    could_show_ratio: float
    enough: bool
    same_tubes: bool


def third(portion: Made) -> int | None:
    """Return the third of the barrel that a portion was made in, 1 to 3; None when not known."""
    if portion.position_m is None or not portion.travel_m:
        return None
    return min(3, max(1, 1 + int(3 * portion.position_m / portion.travel_m)))


def trial(name_a: str, a: Sequence[Made], name_b: str, b: Sequence[Made]) -> Trial:
    """Return the comparison of two groups of portions.

    Raises: NoTrial when they are not to be compared.
    """
    usual_a, odd_a = _usual(a)
    usual_b, odd_b = _usual(b)
    _check(name_a, usual_a, name_b, usual_b)
    pairs = _matched(usual_a, usual_b)
    kept_a = [one for side, _ in pairs.values() for one in side]
    kept_b = [one for _, side in pairs.values() for one in side]
    if len(kept_a) < EACH_LEAST:
        raise NoTrial(_apart(name_a, usual_a, name_b, usual_b))
    try:
        told = groups.compare(_masses(kept_a), _masses(kept_b))
    except ValueError as error:
        raise NoTrial(f"{error} A finer scale would show one.") from None
    pooled = ((spread.mean_sd(_masses(kept_a))[1] ** 2 + spread.mean_sd(_masses(kept_b))[1] ** 2)
              / 2) ** 0.5  # fmt: skip
    n = len(kept_a)
    return Trial(
        a=_side(name_a, usual_a, kept_a, odd_a),
        b=_side(name_b, usual_b, kept_b, odd_b),
        differs=_differs(kept_a[-1], kept_b[-1]),
        thirds={THIRDS[key]: len(side) for key, (side, _) in pairs.items()},
        difference_kg=told.difference,
        difference_shown=told.differ,
        ratio=told.ratio,
        ratio_shown=told.spreads_differ,
        could_show_kg=groups.least_difference(n, n, pooled),
        could_show_ratio=groups.least_ratio(n, n),
        enough=n >= VERDICT_LEAST,
        same_tubes={one.loading for one in kept_a} == {one.loading for one in kept_b},
    )


def _masses(portions: Sequence[Made]) -> list[float]:
    return [one.mass_kg or 0.0 for one in portions]


def _usual(portions: Sequence[Made]) -> tuple[list[Made], list[int]]:
    judged = [one for one in portions if one.judged]
    odd = set(odd_ones(_masses(judged), least=scale_kg(judged)))
    usual = [one for at, one in enumerate(judged) if at not in odd]
    return usual, [judged[at].number for at in sorted(odd)]


def _check(name_a: str, a: Sequence[Made], name_b: str, b: Sequence[Made]) -> None:
    for name, side in ((name_a, a), (name_b, b)):
        if len(side) < EACH_LEAST:
            raise NoTrial(
                f"Normal portions with a weight in {name}: {len(side)}, too few to compare. Ten "
                "and more of each are needed to show anything but the crudest difference."
            )
    both = {one.number for one in a} & {one.number for one in b}
    if both:
        raise NoTrial(
            f"Portion {min(both)} is in both groups, and a portion cannot be compared with itself."
        )
    for what, in_a, in_b in (
        ("bench", {one.bench for one in a}, {one.bench for one in b}),
        ("dough", {one.dough for one in a}, {one.dough for one in b}),
        ("aim", {one.aim_kg for one in a}, {one.aim_kg for one in b}),
    ):
        if in_a != in_b:
            raise NoTrial(
                f"{name_a} and {name_b} are not of the same {what}, so a difference would not be "
                "that of what was changed."
            )


def _matched(a: Sequence[Made], b: Sequence[Made]) -> dict[int, tuple[list[Made], list[Made]]]:
    """As many of each group in each third, the first made."""
    of_a, of_b = by(a, third), by(b, third)
    pairs = {}
    for key in sorted(set(of_a) & set(of_b) - {None}, key=lambda one: one or 0):
        if key is not None:
            count = min(len(of_a[key]), len(of_b[key]))
            pairs[key] = (of_a[key][:count], of_b[key][:count])
    return pairs


def _apart(name_a: str, a: Sequence[Made], name_b: str, b: Sequence[Made]) -> str:
    def where(side: Sequence[Made]) -> str:
        known = sorted({place for one in side if (place := third(one)) is not None})
        return " and ".join(THIRDS[place] for place in known) or "unknown place"

    return (
        f"Not compared: {name_a} came from the {where(a)} of the barrel and {name_b} from the "
        f"{where(b)}, and spread and mean change along a tube by themselves; make ten portions of "
        "each in the same third."
    )


def _side(name: str, usual: Sequence[Made], kept: Sequence[Made], odd: Sequence[int]) -> Side:
    masses = _masses(kept)
    mean, sd = spread.mean_sd(masses)
    numbers = {one.number for one in kept}
    return Side(
        name=name,
        portions=tuple(sorted(numbers)),
        mean_kg=spread.mean_interval(len(masses), mean=mean, sd=sd),
        sd_kg=spread.sd_interval(len(masses), sd=sd),
        odd=tuple(odd),
        left_out=tuple(one.number for one in usual if one.number not in numbers),
        tubes=tuple(sorted({one.tube for one in kept})),
    )


def _differs(a: Made, b: Made) -> tuple[tuple[str, str, str], ...]:
    rows = []
    for name in sorted(set(a.by_hand) | set(b.by_hand)):
        in_a, in_b = a.by_hand.get(name), b.by_hand.get(name)
        if in_a != in_b:
            rows.append((name, _shown(in_a), _shown(in_b)))
    names = ("take-up", "stroke", "draw-back")
    for name, one, other in zip(names, a.recipe, b.recipe, strict=True):
        if one != other:
            rows.append((name, _mm(one), _mm(other)))
    return tuple(rows)


def _shown(value: float | str | None) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return "-" if value is None else str(value)


def _mm(value_m: float | None) -> str:
    return "-" if value_m is None else f"{value_m * 1000:.2f} mm"
