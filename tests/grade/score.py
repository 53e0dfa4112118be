"""How well causes are found in simulated tubes: one confusion table per set of fitted sensors."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from statistics import median
from typing import NamedTuple

import msgspec

from benchd.analysis.why import History
from benchd.diagnose import rank
from benchd.diagnose.case import Bench
from benchd.diagnose.causes import CAUSES
from benchd.diagnose.signals import COMPLETE, MASS, Seen
from tests.grade.corpus import Made

SMALLEST = frozenset({"eye", "local"})
"""What the smallest bench has. Its tubes are made on such a bench; those of the others on one that
has all, and are read with fewer."""
FITS: dict[str, frozenset[str]] = {
    "smallest": SMALLEST,
    "+ cutter switches": SMALLEST | {"home", "far"},
    "+ thrust": SMALLEST | {"home", "far", "thrust"},
    "all pins": SMALLEST
    | {"home", "far", "thrust", "air", "supply", "guard", "stop", "ends", "button"},
}
"""Sets of fitted sensors."""

STICKS = "MC-11"

HISTORY = 2
"""Sound tubes that stand before each tube in its bench's journals."""


class Verdict(NamedTuple):
    """What was said of one tube. first: code named first, "" for none. named: all named together.
    order: all codes, the likeliest first. told: whether anything was found odd."""

    cause: str
    codes: tuple[str, ...]
    severity: float
    told: bool
    named: tuple[str, ...]
    order: tuple[str, ...]
    separable: bool

    @property
    def right(self) -> bool:
        """Whether the true cause is among those named."""
        return bool(set(self.codes) & set(self.named))


def portions(made: Made, loading: int, offset: int) -> list[Seen]:
    """Return the portions of a tube, numbered as part of a longer history."""
    history = History()
    history.read(made.entries)
    return [
        msgspec.structs.replace(one, loading=loading, number=one.number + offset)
        for one in history.portions()
    ]


def bench(made: Made, earlier: Sequence[Made], fit: frozenset[str]) -> Bench:
    """Return a bench with some sound tubes and then this one."""
    everyone: list[Seen] = []
    for at, tube in enumerate((*earlier, made)):
        everyone += portions(tube, at, 1000 * at)
    return Bench(everyone, fit)


def verdict(made: Made, earlier: Sequence[Made], fit: frozenset[str]) -> Verdict | None:
    """Return what is said of the portion where the cause took hold, or of the next one, where it
    shows first.

    None where a sensor that this fit lacks ended the portion: a bench without it would have gone
    on, so that such a tube says nothing about it.
    """
    read = bench(made, earlier, fit)
    at = made.portion + 1000 * len(earlier)
    tube = [one for one in read.portions if one.loading == len(earlier)]
    asked = [read.case(one) for one in tube if at <= one.number <= at + 2]
    case = next((one for one in asked if one.odd and not one.partner), None)
    if case is not None and case.portion.outcome != "complete" and not case.seen:
        return None
    if case is None:
        return Verdict(made.cause, made.codes, made.severity, False, (), (), False)
    together, others = case.opinion.together, case.opinion.others
    known = [name for name, one in case.found.items() if one.seen is not None]
    return Verdict(
        made.cause,
        made.codes,
        made.severity,
        True,
        tuple(one.cause.code for one in together),
        tuple(one.cause.code for one in (*together, *others)),
        any(separable(code, known) for code in made.codes),
    )


def separable(true: str, names: Iterable[str]) -> bool:
    """Return whether findings of these names tell a cause from every other, on average, well enough
    for it to be named alone."""
    listed = list(names)
    by_code = {cause.code: cause for cause in CAUSES}
    mine = by_code[true]
    return all(rank.separable(mine, other, listed) for other in CAUSES if other.code != true)


class Sound(NamedTuple):
    """Counts over portions of sound tubes. stuck: of which a piece stuck to the blade, as the
    plant has it now and then with no fault; named: of these, for how many that was among the causes
    named."""

    portions: int
    accused: int
    stuck: int
    named: int


def accused(made: Made, earlier: Sequence[Made], fit: frozenset[str]) -> Sound:
    """Return how many normal portions of a sound tube there are, and how many of all its portions
    `benchd why` would list: one that the bench itself flagged or stopped is none of the normal
    ones, and accused."""
    read = bench(made, earlier, fit)
    tube = [one for one in read.portions if one.loading == len(earlier)]
    usual_kg = median(one.signals[MASS] or 0.0 for one in tube)
    sound, odd, stuck, named = 0, 0, 0, 0
    for one in tube:
        case = read.case(one)
        if one.outcome == COMPLETE and (one.signals[MASS] or 0.0) < usual_kg / 2:
            stuck += 1
            named += any(cause.cause.code == STICKS for cause in case.opinion.together)
            continue
        sound += one.good
        odd += case.listed
    return Sound(sound, odd, stuck, named)


class Score(NamedTuple):
    """Counts over some verdicts."""

    tubes: int
    told: int
    separable: int
    first: int
    in_two: int
    inseparable: int
    group: int
    """Of those that cannot be told apart on average: named with others, and among them."""
    alone_right: int
    """Of the same: named alone, and right, this time."""
    alone_wrong: int


def score(verdicts: Iterable[Verdict]) -> Score:
    """Return the counts that the figures are made of."""
    count: Counter[str] = Counter()
    for one in verdicts:
        count["tubes"] += 1
        if not one.told:
            continue
        count["told"] += 1
        right = set(one.codes)
        if len(one.named) == 1 and not one.right:
            count["alone_wrong"] += 1
        if one.separable:
            count["separable"] += 1
            count["first"] += bool(right & set(one.order[:1]))
            count["in_two"] += bool(right & set(one.order[:2]))
        else:
            count["inseparable"] += 1
            count["group"] += one.right and len(one.named) > 1
            count["alone_right"] += one.right and len(one.named) == 1
    return Score(*(count[name] for name in Score._fields))
