"""What was found of a portion, by name: each true, false, or None where nothing can tell.

Three kinds: a signal off its usual (`stroke_s+`, `mass_kg-`), one that stays off (`stroke_s+ on`),
and things that happened (`reset`, `hand`), those that follow from the weights among them.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from statistics import fmean
from typing import NamedTuple

from benchd.calc.stats.odd import Went, where_it_went
from benchd.diagnose.matched import ENOUGH, LEAST, Far, decisive, floor, usual
from benchd.diagnose.signals import COMPLETE, MASS, SIGNALS, Seen

EMPTY, DOUBLE = 0.4, 1.6
"""Shares of the usual weight below and above which a piece is none, or two."""


class Event(NamedTuple):
    """Something that happens or does not. part: sensor that tells it; chance: share of sound
    portions with it [-]."""

    words: str
    part: str = ""
    chance: float = 0.01


EVENTS: dict[str, Event] = {
    "moved": Event("what it lacks, its neighbour has: the sum of both is usual", "scale", 0.02),
    "moved-before": Event("it has what the portion before it lacks", "scale", 0.02),
    "lost": Event("no neighbour has what it lacks or has too much", "scale", 0.02),
    "empty": Event("hardly a piece, or none weighed", "scale", 0.003),
    "next-double": Event("the next one is about two pieces", "scale", 0.003),
    "double": Event("it weighs as much as two pieces", "scale", 0.003),
    "re-weighed": Event("weighed again, it gave another weight", "scale", 0.01),
    "threw": Event("its look was noted as thrown or squashed", "look", 0.02),
    "tail": Event("its look was noted as torn, or with a tail", "look", 0.02),
    "card": Event("card or values by hand changed just before it", "", 0.02),
    "other-tube": Event("another tube came in just before it", "", 0.08),
    "after-pause": Event("it is the first one, or the first after a pause", "", 0.1),
    "end": Event("it is one of the last of its tube", "", 0.1),
    "after-dump": Event("air had been away just before it", "", 0.01),
    "hand": Event("a switch at the bench was pressed while it was made", "local", 0.004),
    "guard": Event("the guard stood open while it was made", "guard", 0.004),
    "stop": Event("the emergency stop was pressed while it was made", "stop", 0.004),
    "reset": Event("the board restarted around it", "", 0.004),
    "link": Event("the link was lost, or had a gap, around it", "", 0.01),
    "host": Event("the computer stood still around it", "", 0.005),
    "bounce": Event("the far switch came twice in one cut", "far", 0.01),
    "no-far": Event("the blade did not arrive at its far end", "far", 0.004),
    "no-home": Event("the blade did not come home", "home", 0.004),
    "no-dough": Event("the strand ended: dough gone", "eye", 0.004),
    "hung": Event("the eye saw dough at the nozzle before the next push", "eye", 0.005),
    "flow-": Event("dough came more slowly than usual", "eye ripple", 0.01),
    "frame-trip": Event("thrust fell in one step: something gave way", "thrust", 0.003),
    "smeared": Event("the eye saw dough without a change, or after the cut", "eye", 0.01),
    "thrust-trip": Event("thrust rose to its limit", "thrust", 0.004),
    "air-trip": Event("air fell below its limit", "air", 0.004),
    "supply-trip": Event("supply fell below its limit", "supply", 0.004),
    "behind-plunger": Event("dough behind the plunger", "look behind the plunger", 0.01),
    "encoder-short": Event("the rod went less far than the steps say", "rod encoder", 0.005),
    "contact-later": Event("contact comes later from tube to tube", "contact", 0.02),
    "current+": Event("motor current rose", "motor current", 0.01),
    "ripple-": Event("the eye's level has no ripple while dough moves", "eye ripple", 0.01),
    "dough-warmer": Event("the dough's temperature changed", "thermometer", 0.01),
    "drop-missing": Event("no drop seen where the piece should fall", "drop", 0.005),
    "blade-dent": Event("the blade has a dent", "look at the blade", 0.005),
}
"""What can have happened."""

SUMS = frozenset({"moved", "lost"})
"""Findings that follow from a weight alone. Unknown, their words say why."""

CHANCE_SIGNAL, CHANCE_ON = 0.01, 0.004


class Finding(NamedTuple):
    """One finding. seen: None where nothing can tell. words: for a person, numbers included.
    doubtful: whether it was measured, and is too near what is usual to tell."""

    name: str
    seen: bool | None
    words: str
    z: float = 0.0
    doubtful: bool = False


def part_of(name: str) -> str:
    """Return the sensor that a finding rests on, "" for none but the board."""
    if name in EVENTS:
        return EVENTS[name].part
    return SIGNALS[name.split(" ")[0][:-1]].part


def chance_of(name: str) -> float:
    """Return the share of sound portions in which a finding is seen [-]."""
    if name in EVENTS:
        return EVENTS[name].chance
    return CHANCE_ON if name.endswith(" on") else CHANCE_SIGNAL


def words_of(name: str) -> str:
    """Return what a finding means, without numbers."""
    if name in EVENTS:
        return EVENTS[name].words
    signal = SIGNALS[name.split(" ")[0][:-1]].words
    side = "above" if name.split(" ")[0].endswith("+") else "below"
    return f"{signal} {side} usual" + (", and it stayed so" if name.endswith(" on") else "")


def find(
    one: Seen,
    rows: Sequence[Far],
    later: Sequence[Sequence[Far]],
    neighbours: tuple[Seen | None, Seen | None],
    usual_kg: Sequence[float],
) -> dict[str, Finding]:
    """Return all findings of a portion.

    Parameters:  one : the portion. rows : its signals beside matched ones. later : the same of up
        to three that follow in its tube. neighbours : the portions before and after it, of its
        tube. usual_kg : (n,) weights [kg] of matched good ones
    Returns:     findings : by name, for every name there can be
    """
    found: dict[str, Finding] = {}
    by_name = {row.name: row for row in rows}
    for name in SIGNALS:
        row = by_name.get(name)
        words = "" if row is None else _numbers(row)
        for sign in "+-":
            side = f"{name}{sign}"
            if row is None:
                found[side] = Finding(side, None, words_of(side))
                found[f"{side} on"] = Finding(f"{side} on", None, words_of(f"{side} on"))
                continue
            here = row.sign == sign
            doubtful = name == MASS and here and row.doubtful
            seen = None if doubtful else row.odd and here
            found[side] = Finding(side, seen, words, row.z, doubtful)
            found[f"{side} on"] = _lasting(row, sign, later)
    for name, event in EVENTS.items():
        happened = one.events.get(name)
        tells = event.part in _TOLD or (event.part == "look" and (one.look or happened))
        found[name] = Finding(
            name, happened is not None if tells else None, happened or event.words
        )
    found["hung"] = _hung(later)
    found.update(
        {finding.name: finding for finding in _weights(one, by_name, neighbours, usual_kg)}
    )
    return found


_TOLD = frozenset(
    {"", "scale", "local", "guard", "stop", "far", "home", "eye", "thrust", "air", "supply",
     "drop"}
)  # fmt: skip


def without(found: dict[str, Finding], fitted: frozenset[str]) -> dict[str, Finding]:
    """Return findings, unknown where their sensor is not fitted."""
    kept = fitted | {"", "scale", "look"}
    return {
        name: one if part_of(name) in kept else one._replace(seen=None)
        for name, one in found.items()
    }


def shown(name: str, value: float, usual: float) -> str:
    """Return a signal's value [SI] in its unit for people, as exact as fits what is usual."""
    signal = SIGNALS[name]
    digits = 0 if abs(usual * signal.factor) >= 100 or signal.unit in ("counts", "steps") else 1
    digits = 2 if signal.unit in ("bar", "V") else digits
    return f"{value * signal.factor:.{digits}f}{f' {signal.unit}' if signal.unit else ''}"


def _numbers(row: Far) -> str:
    words, unit = SIGNALS[row.name].words, SIGNALS[row.name].unit
    value, usual = shown(row.name, row.value, row.usual), shown(row.name, row.usual, row.usual)
    far = f"z {row.z:+.1f} of {row.limit:.1f}" + (f", n {row.n}" if row.n < ENOUGH else "")
    return f"{words} {value}, usual {usual.removesuffix(f' {unit}')} ({far})"


def _lasting(row: Far, sign: str, later: Sequence[Sequence[Far]]) -> Finding:
    """Return whether a signal is off and stays off on the same side in those that follow."""
    name = f"{row.name}{sign} on"
    then = [next((r for r in rows if r.name == row.name), None) for rows in later]
    known = [row, *(r for r in then if r is not None)]
    if len(known) < 3 or row.n < ENOUGH:
        return Finding(name, None, words_of(name), row.z)
    least = 0.6 * floor(row.name, row.usual)
    here = [r for r in known if r.sign == sign and abs(r.value - r.usual) > least]
    # The mean of several scatters less than one does; the error of what is usual stays.
    middle = 1 / row.n
    limit = row.limit * sqrt((1 / len(known) + middle) / (1 + middle))
    seen = len(here) == len(known) and abs(fmean(r.z for r in here)) > limit
    return Finding(name, seen, words_of(name), row.z)


def _weights(
    one: Seen,
    rows: dict[str, Far],
    neighbours: tuple[Seen | None, Seen | None],
    usual_kg: Sequence[float],
) -> list[Finding]:
    """Return what follows from the weights of a portion and its neighbours."""
    names = ("moved", "moved-before", "lost", "empty", "double", "next-double", "re-weighed")
    before, after = neighbours
    weighed = one.signals.get(MASS)
    missing = weighed is None and _between_weighed(before, after)
    few = len(usual_kg) < LEAST
    if few or (weighed is None and not missing):
        why = f"it takes {LEAST} good weights beside it"
        if weighed is None:
            why = "it has no weight" if one.outcome == COMPLETE else "it ended early"
        return [Finding(name, None, why if name in SUMS else words_of(name)) for name in names]
    mean, sd, _ = usual(usual_kg)
    mass = weighed or 0.0
    following = after.signals.get(MASS) if after is not None else None
    previous = before.signals.get(MASS) if before is not None else None
    if previous is None and missing_before(before):
        previous = 0.0
    # Of two that are no neighbours: usual ones stand in no order here, and this is the wider.
    sum_sd = sd * sqrt(2)
    enough = decisive(len(usual_kg))
    took = (
        previous is not None
        and where_it_went(previous, mass, mean=mean, sd=sd, sum_sd=sum_sd, decisive=enough)
        is Went.MOVED
    )
    went, why = Went.UNKNOWN, _why_no_sum(one, rows.get(MASS), after)
    if following is not None and not why and not took:
        went = where_it_went(mass, following, mean=mean, sd=sd, sum_sd=sum_sd)
        why = "the sum and the next one are both usual, or neither is"
    tells = went is not Went.UNKNOWN
    spread = max(one.readings_kg, default=0.0) - min(one.readings_kg, default=0.0)
    again = len(one.readings_kg) > 1
    values: dict[str, bool | None] = {
        "moved": went is Went.MOVED if tells else None,
        "moved-before": took,
        "lost": went is Went.LOST if tells else None,
        "empty": missing or mass < EMPTY * mean,
        "double": mass > DOUBLE * mean and not took,
        "next-double": following > DOUBLE * mean if following is not None else None,
        "re-weighed": spread > 0.01 * mean if again else None,
    }
    return [
        Finding(name, seen, why if name in SUMS and seen is None else words_of(name))
        for name, seen in values.items()
    ]


def _why_no_sum(one: Seen, row: Far | None, after: Seen | None) -> str:
    """Return why a portion and the next one do not tell moved from lost, "" where they may."""
    if one.outcome != COMPLETE:
        return "it ended early"
    if after is None:
        return "no portion of its tube follows"
    if after.signals.get(MASS) is None:
        return "the next one has no weight"
    if row is not None and not (row.odd or row.doubtful):
        spreads, share = decisive(row.n), 100 * SIGNALS[MASS].share
        return f"it takes a weight off by more than {spreads:.1f} usual spreads and {share:.0f} %"
    return ""


def missing_before(before: Seen | None) -> bool:
    """Return whether the portion before came whole, yet no piece of it was weighed."""
    return before is not None and before.outcome == "complete" and before.signals[MASS] is None


def _hung(later: Sequence[Sequence[Far]]) -> Finding:
    """Return whether the next portion began with dough at the nozzle, and that one only."""
    seen = [
        next((row.odd and row.sign == "+" for row in rows if row.name == "eye_min"), None)
        for rows in later[:2]
    ]
    hung = None if not seen or seen[0] is None else seen[0] and seen[1:] != [True]
    return Finding("hung", hung, EVENTS["hung"].words)


def _between_weighed(before: Seen | None, after: Seen | None) -> bool:
    return all(one is not None and one.signals.get(MASS) is not None for one in (before, after))
