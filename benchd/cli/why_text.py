"""The words of `benchd why`: one case as text within 80 columns, and as plain data for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from benchd.cli.rows import row, wrap
from benchd.cli.why_order import presort
from benchd.diagnose.case import held_against

if TYPE_CHECKING:
    from benchd.diagnose.case import Case
    from benchd.diagnose.causes.base import Cause
    from benchd.diagnose.rank import Opinion, Ranked

SIGNALS_SHOWN = 6
LIVE = "Treat pressure, blade and drive as live all the same."
END = (
    "What is named fits the evidence; a person decides. How often a cause shows a sign is common "
    f"practice, not measured on this bench. {LIVE}"
)
"""Stands under every answer, so that none reads like an all-clear."""


def lines(cases: Sequence[Case], several: bool) -> Iterator[str]:
    """Give the text of cases. several: whether there is more than one bench, so that a portion is
    told with its own."""
    if not cases:
        yield from wrap(
            "No portion stands out in what was measured and weighed. That is no proof that all "
            "were right: what no sensor sees, and what was not weighed, cannot stand out."
        )
    for at, case in enumerate(cases):
        if at:
            yield ""
        yield from case_lines(case, several)
    yield ""
    yield from wrap(END if cases else LIVE)


def case_lines(case: Case, several: bool) -> Iterator[str]:
    """Give the text of one case."""
    yield from wrap(headline(case, several))
    yield from wrap(held_against(case), inset=2)
    if case.partner:
        yield from wrap(
            f"It has what portion {case.portion.number - 1} lacks: look there, with "
            f"'benchd why --portion {case.portion.number - 1}'.",
            inset=2,
        )
    yield from _found(case)
    yield "  In order"
    for number, text in enumerate(presort(case), 1):
        yield from wrap(f"{number}. {text}", inset=4, hang=7)
    yield from _opinion(case.opinion)


def of_bench(case: Case, several: bool) -> str:
    """Return the words that tell a portion from one of another bench."""
    return f" of bench {case.portion.bench}" if several else ""


def headline(case: Case, several: bool) -> str:
    """Return which portion, what it weighed and how it ended."""
    one = case.portion
    mass_kg = one.signals.get("mass_kg")
    weight = "not weighed" if mass_kg is None else f"{mass_kg * 1e3:.1f} g"
    on = f", and on to portion {case.until}" if case.until != one.number else ""
    which = f"Portion {one.number} of tube {one.tube or '-'}{of_bench(case, several)}"
    by = f" by {one.tripped_by}" if one.tripped_by else ""
    return f"{which}: {weight}, {one.kind}, {one.outcome}{by}{on}"


def _found(case: Case) -> Iterator[str]:
    seen = case.seen
    if not seen:
        yield from row("Found", "nothing that was measured is off its usual")
    for at, one in enumerate(seen):
        yield from row("Found" if at == 0 else "", one.words)
    near = [far for far in case.rows if not far.odd][: SIGNALS_SHOWN - len(seen)]
    if near:
        told = ", ".join(f"{_signal(far.name)} {far.z:+.1f} of {far.limit:.1f}" for far in near)
        yield from row("Within", f"{told} (distance in spreads, of what chance allows)")


def _signal(name: str) -> str:
    from benchd.diagnose.signals import SIGNALS

    return SIGNALS[name].words


def _opinion(told: Opinion) -> Iterator[str]:
    if not told.together:
        yield from row("Cause", "can't tell: nothing that was found points to one")
        return
    if len(told.together) == 1:
        yield from row("Likely", _name(told.together[0]))
    else:
        names = "; ".join(_name(one) for one in told.together)
        yield from row("One of", f"{names}. What is fitted does not tell them apart")
        would = "; ".join(told.separators[:4]) or "nothing that is on offer: see each check"
        yield from row("Would tell", would)
    for one in told.together:
        yield from _cause(one)
    if told.others:
        yield from row("Less likely", "; ".join(_name(one) for one in told.others[:3]))


def _name(one: Ranked) -> str:
    return f"{one.cause.code} {one.cause.name}"


def _cause(one: Ranked) -> Iterator[str]:
    from benchd.diagnose.findings import words_of

    cause = one.cause
    yield from wrap(f"{_name(one)}. {cause.how}", inset=2, hang=4)
    parts = (
        ("for", "; ".join(found.words for found in one.speaks_for)),
        ("against", "; ".join(one.speaks_against)),
        ("missing", "; ".join(words_of(name) for name in one.missing)),
        ("rules it out", rules_out_words(cause)),
        ("CAUTION", cause.caution),
        ("next check", cause.check),
        ("remedy", cause.remedy),
    )
    for label, text in parts:
        if text:
            yield from wrap(f"{label}: {text}", inset=4, hang=6)


def rules_out_words(cause: Cause) -> str:
    """Return what would rule a cause out, also that nothing would."""
    from benchd.diagnose.findings import words_of

    return "; ".join(words_of(name) for name in cause.rules_out) or "nothing that is measured"


def data(case: Case) -> dict[str, Any]:
    """Return a case as plain data."""
    opinion = case.opinion
    return {
        "bench": case.portion.bench,
        "portion": case.portion.number,
        "until": case.until,
        "tube": case.portion.tube,
        "class": case.portion.kind,
        "outcome": case.portion.outcome,
        "tripped_by": case.portion.tripped_by or None,
        "mass_kg": case.portion.signals.get("mass_kg"),
        "odd": case.odd,
        "partner_of": case.portion.number - 1 if case.partner else None,
        "held_against": case.n,
        "weak": case.weak,
        "signals": [far._asdict() for far in case.rows],
        "found": [{"name": one.name, "words": one.words} for one in case.seen],
        "in_order": presort(case),
        "likely": opinion.together[0].cause.code if len(opinion.together) == 1 else None,
        "together": [_data(one) for one in opinion.together],
        "others": [_data(one) for one in opinion.others],
        "would_tell": list(opinion.separators),
    }


def _data(one: Ranked) -> dict[str, Any]:
    cause = one.cause
    return {
        "code": cause.code,
        "name": cause.name,
        "how": cause.how,
        "share": round(one.share, 4),
        "for": [found.name for found in one.speaks_for],
        "against": list(one.speaks_against),
        "missing": list(one.missing),
        "rules_out": list(cause.rules_out),
        "check": cause.check,
        "remedy": cause.remedy,
        "caution": cause.caution,
    }
