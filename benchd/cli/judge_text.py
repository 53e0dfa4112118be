"""A judgement in words and figures for a person: the verdict, why, and numbers with intervals.

Digits follow the interval: two of its half width where that begins with 1, else one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from math import floor, log10
from typing import TYPE_CHECKING

from benchd.calc.stats.odd import Went
from benchd.calc.stats.verdict import EVENTS_MOST, HINT_BELOW, LEAST, Word
from benchd.cli.rows import row, wrap
from tui import view

if TYPE_CHECKING:
    from benchd.analysis.judge import Judgement, Mass, Odd, Pool, Section

Range = Sequence[float]

DIGITS_MOST = 4

END = (
    "Intervals hold in 95 of 100 cases, for independent portions that are near normal. A verdict "
    "is about the spread of these weights and about nothing else: it does not say that the bench, "
    "the blade or the dough is in order."
)
"""Stands under every judgement, so that none reads like an all-clear."""

WENT = {
    (Went.MOVED, False): "the next one has what it lacks: the mass moved",
    (Went.MOVED, True): "the next one lacks what it has: the mass moved",
    (Went.LOST, False): "the next one is as usual: the mass was lost",
    (Went.LOST, True): "the next one is as usual: the mass came from nowhere",
}
"""By where it went, and whether the odd one is too heavy."""


def digits_for(half: float) -> int:
    """Return how many digits after the point a value with this half width deserves."""
    if not half > 0:
        return DIGITS_MOST
    place = floor(log10(half))
    leading = half / 10.0**place
    return min(DIGITS_MOST, max(0, -place + (1 if leading < 2 else 0)))


def ranged(value: Range, *, factor: float = 1.0, unit: str = "", sign: bool = False) -> str:
    """Return a value with its interval in digits that it deserves: 30.1 g (29.9 to 30.3)."""
    middle, low, high = (one * factor for one in value)
    digits = digits_for((high - low) / 2)
    if low > 0 and round(low, digits) == 0:
        digits += 1  # What is above zero should not read like zero.
    shown = "+" if sign else ""
    unit = f" {unit}" if unit else ""
    return (
        f"{_zero(middle, digits, shown)}{unit} "
        f"({_zero(low, digits, shown)} to {_zero(high, digits, shown)})"
    )


def _zero(value: float, digits: int, sign: str = "") -> str:
    """A number without a minus before zero."""
    return f"{round(value, digits) + 0.0:{sign}.{digits}f}"


def span(value: Range, *, factor: float, unit: str) -> str:
    """Return the two ends of a range alone: 29.3 to 30.9 g."""
    _, low, high = (one * factor for one in value)
    digits = digits_for((high - low) / 10)
    return f"{low:.{digits}f} to {high:.{digits}f} {unit}"


def lines(told: Judgement, charts: Iterable[str] = ()) -> Iterator[str]:
    """Give the whole text of a judgement, each line within 80 columns; charts: their lines."""
    several = len({section.bench for section in told.sections}) > 1
    for section in told.sections:
        yield from _section(section, named=several)
        yield ""
    for pool in told.pools:
        rows = [line for label, text in pool_figures(pool) for line in row(label, text)]
        if rows:
            yield from wrap(f"{pool.dough}, group {pool.group}, all tubes: {pool.n} weights")
            yield from rows
            yield ""
    for mass in told.masses:
        yield from row(f"Tube {mass.tube}", mass_text(mass))
    if told.masses:
        yield ""
    drawn = list(charts)
    yield from drawn
    if drawn:
        yield ""
    if told.strays:
        yield from wrap(
            f"{view.several(told.strays, 'portion')} with a weight but made in another journal: "
            "name that journal too."
        )
    yield from wrap(END)


def _section(told: Section, *, named: bool) -> Iterator[str]:
    bench = f"Bench {told.bench}, tube" if named else "Tube"
    n = len(told.portions)
    yield from wrap(
        f"{bench} {told.tube or '(not named)'}: {told.dough}, aim {view.grams(told.aim_kg)}, "
        f"group {told.group}; {n} judged of {n + len(told.apart)}"
    )
    yield f"Verdict: {told.verdict.upper()}"
    for sentence in reasons(told):
        yield from wrap(sentence, inset=2)
    for label, text in figures(told):
        yield from row(label, text)
    for one in told.odd:
        yield from row("Odd one", odd_text(one))
    if told.apart:
        yield from row("Not judged", apart_text(told))


def figures(told: Section) -> Iterator[tuple[str, str]]:
    """Give label and text of each figure of one tube."""
    if told.mean_kg is None or told.sd_kg is None or told.cv is None:
        return
    yield "Mean", f"{ranged(told.mean_kg, factor=1e3, unit='g')}, aim {view.grams(told.aim_kg)}"
    yield (
        "Spread",
        f"{ranged(told.sd_kg, factor=1e3, unit='g')}, "
        f"{ranged(told.cv, factor=100, unit='%')} of the mean",
    )
    if told.without_scale_kg is not None:
        yield "Scale", _scale_text(told)
    if len(told.portions) < LEAST:
        return
    assert told.next_kg is not None
    assert told.most_kg is not None
    yield "Next one", f"{span(told.next_kg, factor=1e3, unit='g')} (95 %)"
    yield "95 of 100", f"{span(told.most_kg, factor=1e3, unit='g')} (with 95 % confidence)"
    if told.slope_kg is not None:
        proven = "proven" if told.slope_proven else "not proven"
        slope = ranged(told.slope_kg, factor=1e3, unit="g", sign=True)
        yield "Trend", f"{slope} from one portion to the next: {proven}"
    if told.halves is not None:
        gap = ranged(told.halves["difference_kg"], factor=1e3, unit="g", sign=True)
        yield "Halves", f"second less first {gap}; spread times {ranged(told.halves['ratio'])}"
    if told.lag is not None and told.moved_kg is not None and told.lost_kg is not None:
        hint = f" (a hint: below {HINT_BELOW} weights)" if len(told.portions) < HINT_BELOW else ""
        yield "Neighbours", f"lag-1 {ranged(told.lag)}{hint}"
        moved = ranged(told.moved_kg, factor=1e3, unit="g")
        yield "", f"moved {moved}, lost {ranged(told.lost_kg, factor=1e3, unit='g')}"
    if told.within is not None:
        n = len(told.portions)
        hits = round(told.within[0] * n)
        ends = f"{told.within[1] * 100:.0f} to {told.within[2] * 100:.0f} %"
        yield f"Within {told.tolerance * 100:g} %", f"{hits} of {n} ({ends} of such portions)"


def _scale_text(told: Section) -> str:
    assert told.without_scale_kg is not None
    part = f"{told.scale_kg * 1e3:.2g} g of it"
    if told.limited_by_scale:
        return f"{part}, which could be all: limited by the scale"
    return f"{part}; without it {ranged(told.without_scale_kg, factor=1e3, unit='g')}"


def reasons(told: Section) -> list[str]:
    """Return two or three sentences on why the verdict is what it is."""
    if len(told.portions) < LEAST:
        return [
            f"{view.several(len(told.portions), 'weight')} of normal portions: fewer than the "
            f"{LEAST} that a verdict takes.",
            f"{view.several(told.more or 0, 'more normal portion')} of this tube, made the same "
            "way and weighed, would tell.",
        ]
    assert told.kept_sd_kg is not None
    assert told.mean_kg is not None
    by_word = {
        Word.STEADY: _steady,
        Word.DRIFTING: _drifting,
        Word.ALTERNATING: _alternating,
        Word.ONE_ODD: _one_odd,
        Word.SCATTERED: _scattered,
        Word.CANT_TELL: _cant_tell,
    }
    said = by_word[Word(told.verdict)](told)
    if told.limited_by_scale:
        said.append(
            "The scale could be all of it: weigh on a finer one, or five portions at a time."
        )
    if told.odd and told.verdict in (Word.DRIFTING, Word.ALTERNATING):
        said.append(f"Set aside as odd: portion {told.odd[0].portion}; weigh it again first.")
    return said


def _percent(told: Section) -> tuple[str, str]:
    """The spread of the kept weights and the spread that is wanted, both in % of the mean."""
    assert told.kept_sd_kg is not None
    assert told.mean_kg is not None
    mean = told.mean_kg[0]
    wanted = (
        f"{told.wanted_sd_kg / mean * 100:.1f} % that keeps 95 of 100 within "
        f"{told.tolerance * 100:g} %"
    )
    return ranged(told.kept_sd_kg, factor=100 / mean, unit="%"), wanted


def _steady(told: Section) -> list[str]:
    seen, wanted = _percent(told)
    return [
        f"The spread is {seen}: all of that range is below the {wanted}.",
        "No trend is proven, no weight is odd, and neighbours do not alternate more than chance "
        "lets them.",
    ]


def _drifting(told: Section) -> list[str]:
    assert told.slope_kg is not None
    seen, _ = _percent(told)
    way = "rise" if told.slope_kg[0] > 0 else "fall"
    return [
        f"The weights {way} along the tube by "
        f"{ranged([abs(told.slope_kg[0]), *sorted(map(abs, told.slope_kg[1:]))], factor=1e3)} g "
        "a portion, more than chance would 1 time in 100.",
        f"About that line the spread is {seen}.",
    ]


def _alternating(told: Section) -> list[str]:
    assert told.lag is not None
    seen, wanted = _percent(told)
    hint = (
        f", a hint with fewer than {HINT_BELOW} weights" if len(told.portions) < HINT_BELOW else ""
    )
    return [
        f"What one portion has too much the next one lacks: lag-1 is {ranged(told.lag)}{hint}.",
        f"The spread is {seen}; wanted is the {wanted}.",
        "Do not adjust after each portion, which would add spread; look at means of 4 to 10.",
    ]


def _one_odd(told: Section) -> list[str]:
    seen, _ = _percent(told)
    names = " and ".join(str(one.portion) for one in told.odd)
    many = len(told.odd) > 1
    them = "them" if many else "it"
    partners = [f"portion {one.partner}" for one in told.odd if one.partner in told.portions]
    gone = " and ".join([them, *partners])
    return [
        f"Portion{'s' if many else ''} {names} {'are' if many else 'is'} odd; weigh {them} again "
        "before anything else.",
        f"Without {gone} the spread is {seen}.",
    ]


def _scattered(told: Section) -> list[str]:
    seen, wanted = _percent(told)
    if len(told.odd) > EVENTS_MOST:
        return [
            f"{len(told.odd)} weights are odd, too many to be exceptions.",
            f"Without them the spread is {seen}; wanted is the {wanted}.",
        ]
    return [
        f"The spread is {seen}: all of that range is above the {wanted}.",
        "No order of the weights explains it.",
    ]


def _cant_tell(told: Section) -> list[str]:
    seen, wanted = _percent(told)
    if told.more is None:
        more = "Even a thousand more weights would not: the spread is just at the limit."
    else:
        more = (
            f"About {view.several(told.more, 'more weight')} would tell, if the spread stays as "
            "it is."
        )
    return [f"The spread is {seen}, which reaches across the {wanted}.", more]


def odd_text(one: Odd) -> str:
    """Return one odd weight: what it weighs, where its mass went, what it does to the mean."""
    with_it = f" with portion {one.partner}" if one.partner is not None else ""
    again = f"; read {one.readings} times" if one.readings > 1 else "; weigh it again"
    untold = "whether the mass moved or was lost cannot be told"
    went = WENT.get((Went(one.went), one.off > 0), untold)
    if one.partner is not None and one.partner < one.portion:
        went = went.replace("the next one", "the one before")
    return (
        f"portion {one.portion}{with_it}: {view.grams(one.mass_kg)}, {view.percent(one.off)}; "
        f"{went}; it shifts the mean by {one.shift_kg * 1e3:+.2f} g{again}"
    )


def apart_text(told: Section) -> str:
    """Return the portions that are listed and not judged, those without a weight counted."""
    unweighed = Counter(why for _, why, mass in told.apart if mass is None)
    weighed = [f"{number} ({why}, {view.grams(mass)})" for number, why, mass in told.apart if mass]
    counted = [f"{count} {why}" for why, count in unweighed.items()]
    return "; ".join(weighed + counted)


def mass_text(mass: Mass) -> str:
    """Return where the dough of a tube went."""
    heel = "" if mass.heel_kg is None else f", heel {view.grams(mass.heel_kg, 0)}"
    missing = (
        f", {mass.unweighed} more not weighed, about {view.grams(mass.unweighed_kg, 0)}"
        if mass.unweighed
        else ""
    )
    if not mass.adds_up:
        return (
            f"{view.grams(mass.net_kg, 0)} net, but the weights sum to "
            f"{view.grams(mass.weighed_kg, 0)}{missing}{heel}: that is "
            f"{view.grams(-mass.left_kg, 0)} more than there was. One weight typed twice, two on "
            "the pan, or a wrong net mass?"
        )
    where = "prime and waste" if mass.heel_kg is not None else "prime, waste and heel"
    return (
        f"{view.grams(mass.net_kg, 0)} net; weighed {view.grams(mass.weighed_kg, 0)}{missing}"
        f"{heel}; {view.grams(mass.left_kg, 0)} left for {where}"
    )


def pool_figures(pool: Pool) -> Iterator[tuple[str, str]]:
    """Give label and text of each figure of tubes that may be compared."""
    if pool.tubes and pool.between is not None and pool.within_kg is not None:
        named = ", ".join(f"{tube} {factor:.3f}" for tube, factor in pool.tubes.items())
        yield "Tubes", f"{named} (factors, drawn towards 1 where weights are few)"
        yield (
            "Spread",
            f"within tubes {pool.within_kg * 1e3:.2f} g, between them {pool.between * 100:.1f} %",
        )
    if pool.capability_withheld:
        if pool.n:
            yield "Capability", f"withheld: it takes {pool.capability_withheld}"
    elif pool.room is not None and pool.placed is not None and pool.outside is not None:
        yield (
            "Capability",
            f"Pp {ranged(pool.room)}, Ppk {ranged(pool.placed)}, by the spread of all weights; "
            f"were they normal, of 100 portions about {pool.outside * 100:.2g} outside",
        )
    if pool.yardstick is not None:
        yield "Net content", yardstick_text(pool)


def yardstick_text(pool: Pool) -> str:
    """Return the published yardsticks, which are information only."""
    assert pool.yardstick is not None
    yard = pool.yardstick
    reaches = "reaches" if yard["mean_reaches"] else "does not reach"
    return (
        f"information only, local law decides: {yard['short']} of {pool.n} below the aim by more "
        f"than {view.grams(yard['tolerable_kg'])}, {yard['very_short']} by more than twice that "
        f"(76/211/EEC, OIML R 87); the mean {reaches} the {view.grams(yard['mean_least_kg'], 2)} "
        "of their test"
    )
