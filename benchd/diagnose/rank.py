"""Which causes fit what was found, how well, and which of them these sensors cannot tell apart.

Each cause says how often it shows each finding; what it does not name comes as often as in sound
portions. From these the odds follow by Bayes' rule, with what could not be measured left out. The
findings are not independent of one another, so their weight is reduced.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import exp, fsum, log
from typing import NamedTuple

from benchd.diagnose.causes import CAUSES
from benchd.diagnose.causes.base import Cause
from benchd.diagnose.findings import Finding, chance_of, part_of, words_of

WEIGHT = 0.8
"""Share of its weight that each finding keeps, as they are not independent. Chosen on the seeds for
tuning."""

TOGETHER = 12.0
"""Causes are named together unless the first is so many times as likely as the others. Chosen on
the seeds for tuning: at 8 the true one was left out in 2 to 4 of 100 that cannot be told apart."""

FAR = 200.0
"""A cause so many times less likely than the first is told from it by what was seen, however seldom
that happens. Chosen on the seeds for tuning, where any from 200 up did as well."""

EXPECTED = 0.25
"""A finding belongs to a cause that shows it at least so often."""

RULED_OUT = 1e-4

SENSORS: dict[str, str] = {
    "scale": "weigh the portions",
    "look": "note how each piece looks when it is weighed",
    "contact": "compare from tube to tube where contact came",
    "look behind the plunger": "look behind the plunger at the next change of tube",
    "look at the blade": "look at the blade's edge, air vented and blade locked",
    "home": "two end switches at the cutter",
    "far": "two end switches at the cutter",
    "local": "the local switches",
    "guard": "a switch at the guard",
    "stop": "a contact at the emergency stop that the board reads",
    "supply": "a divider from the supply to an analog pin",
    "rod encoder": "an encoder at the plunger's rod",
    "thrust": "a force sensor behind the plunger",
    "air": "an air pressure sensor",
    "drop": "a second eye where the piece should fall",
    "eye": "the eye",
    "thermometer": "a thermometer in the dough",
    "motor current": "a measurement of the motor's current",
    "eye ripple": "a faster reading of the eye",
}
"""What tells a finding, the cheapest first (common practice)."""


class Ranked(NamedTuple):
    """One cause beside what was found."""

    cause: Cause
    share: float
    """How likely it is among all causes listed [-]."""
    speaks_for: tuple[Finding, ...]
    speaks_against: tuple[str, ...]
    missing: tuple[str, ...]
    """Names of findings that would tell, and that nothing measures here."""


class Opinion(NamedTuple):
    """What may be the cause. together: those that cannot be told apart, the likeliest first; one
    alone is likely. Empty: nothing found points to a cause."""

    together: tuple[Ranked, ...]
    others: tuple[Ranked, ...]
    separators: tuple[str, ...]
    """What would tell those together apart, the cheapest first."""


def chance(cause: Cause, name: str) -> float:
    """Return how often a cause shows a finding [-]."""
    if name in cause.rules_out:
        return RULED_OUT
    return max(cause.shows.get(name, 0.0), chance_of(name))


def opinion(found: Mapping[str, Finding]) -> Opinion:
    """Return the causes in the order of their odds, and what could tell them apart."""
    known = {name: one.seen for name, one in found.items() if one.seen is not None}
    told = [name for name, seen in known.items() if seen]
    scores = {cause.code: log_odds(cause, known) for cause in CAUSES}
    best = max(scores.values())
    total = fsum(exp(score - best) for score in scores.values())
    ranked = sorted(
        (_ranked(cause, exp(scores[cause.code] - best) / total, found) for cause in CAUSES),
        key=lambda one: -one.share,
    )
    first = ranked[0]
    if not any(first.cause.shows.get(name, 0.0) >= 0.1 for name in told):
        return Opinion((), (), ())
    together = [one for one in ranked if one.share * TOGETHER >= first.share]
    if len(together) == 1:
        together += _much_alike(first, ranked[1:], known)[:1]
    others = tuple(one for one in ranked if one not in together and one.share > 0.01)
    return Opinion(tuple(together), others, separators([one.cause for one in together], known))


def _much_alike(
    first: Ranked, rest: Iterable[Ranked], known: Mapping[str, bool | None]
) -> list[Ranked]:
    """Return the causes that these sensors seldom tell from the first, the likeliest first.

    What speaks for one of two such causes by chance is no proof: the first is then not named alone.
    """
    return [
        one
        for one in rest
        if one.share * FAR >= first.share and not separable(first.cause, one.cause, known)
    ]


def separable(true: Cause, other: Cause, names: Iterable[str]) -> bool:
    """Return whether findings of these names tell a cause from another, on average, well enough for
    it to be named alone."""
    return apart(true, other, names) + log(true.common / other.common) >= log(TOGETHER)


def log_odds(cause: Cause, known: Mapping[str, bool | None]) -> float:
    """Return the logarithm of a cause's odds, up to a constant that all share."""
    names = cause.shows.keys() | cause.rules_out.keys()
    total = log(cause.common)
    for name in names & known.keys():
        p, usual = chance(cause, name), chance_of(name)
        seen = known[name]
        total += WEIGHT * (log(p / usual) if seen else log((1 - p) / (1 - usual)))
    return total


def _ranked(cause: Cause, share: float, found: Mapping[str, Finding]) -> Ranked:
    expected = [name for name, p in cause.shows.items() if p >= EXPECTED]
    speaks_for = tuple(
        sorted(
            (found[name] for name, p in cause.shows.items() if p >= 0.1 and found[name].seen),
            key=lambda one: -cause.shows[one.name],
        )
    )
    against = [why for name, why in cause.rules_out.items() if found[name].seen]
    against += [
        f"not seen: {words_of(name)}"
        for name in expected
        if cause.shows[name] >= 0.5 and found[name].seen is False
    ]
    missing = tuple(
        name for name in expected if found[name].seen is None and not found[name].doubtful
    )
    return Ranked(cause, share, speaks_for, tuple(against), missing)


def apart(one: Cause, other: Cause, names: Iterable[str]) -> float:
    """Return how well findings tell one cause from another [-]: the logarithm of the odds that they
    give on average when the first is true, without its better prior."""
    told = 0.0
    for name in names:
        p, q = chance(one, name), chance(other, name)
        told += p * log(p / q) + (1 - p) * log((1 - p) / (1 - q))
    return WEIGHT * told


def separators(causes: list[Cause], known: Mapping[str, bool | None]) -> tuple[str, ...]:
    """Return what would tell causes apart that are named together, the cheapest first. What is
    there, and could not tell this time, is no advice; but a neighbour that was not weighed is."""
    if len(causes) < 2:
        return ()
    there = {part_of(name) for name in known}
    if "next-double" not in known:
        there -= {"scale"}
    gains: dict[str, float] = {}
    for i, one in enumerate(causes):
        for other in causes[i + 1 :]:
            for name in {*one.shows, *other.shows} - known.keys():
                part = part_of(name)
                gain = apart(one, other, [name]) + apart(other, one, [name])
                gains[part] = gains.get(part, 0.0) + gain
    able = [part for part in SENSORS if gains.get(part, 0.0) > 1.0 and part not in there]
    words = dict.fromkeys(SENSORS[part] for part in able)
    return tuple(words)
