"""The first sort of an odd portion, in the order in which it is cheapest to look."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchd.diagnose.signals import COMPLETE

if TYPE_CHECKING:
    from benchd.diagnose.case import Case

CUTTER = ("start_delay_s", "stroke_s", "return_delay_s", "return_s")
ELECTRIC = ("reset", "link", "supply_min_v-", "bad_lines+", "supply-trip")


def presort(case: Case) -> list[str]:
    """Return the six questions, each answered as far as the journal can."""
    return [
        _stroke(case),
        _again(case),
        _sum(case),
        _place(case),
        _cutter(case),
        _electric(case),
    ]


def _seen(case: Case, *names: str) -> list[str]:
    return [case.found[name].words for name in names if case.found[name].seen]


def _stroke(case: Case) -> str:
    changed = _seen(case, "card", "hand", "missing_steps+", "guard")
    if changed:
        return f"Usual stroke? {'; '.join(changed)}."
    missing = case.portion.signals.get("missing_steps")
    if missing is None:
        return "Usual stroke? The steps made are not known."
    if missing:
        return f"Usual stroke? {missing:.0f} of the steps asked for were not made."
    return "Usual stroke? Asked for as before, and all steps went out."


def _again(case: Case) -> str:
    count = len(case.portion.readings_kg)
    if count == 0:
        return "Weigh it: it has no weight."
    if count == 1:
        return "Weighed once: weigh it again before anything else."
    return "Weighed again: " + (
        "the weight changed, so the weighing is in doubt."
        if case.found["re-weighed"].seen
        else "the weight is the same."
    )


def _sum(case: Case) -> str:
    if case.found["moved-before"].seen:
        return "With the portion before it: the sum is usual, so dough was moved."
    if case.found["moved"].seen:
        return "With the next one: the sum is usual, so dough was moved, not lost."
    if case.found["lost"].seen:
        return "With the next one: the sum is not usual, so dough was lost or gained, not moved."
    return f"With the next one: can't tell moved from lost; {case.found['moved'].words}."


def _place(case: Case) -> str:
    told = _seen(case, "after-pause", "end", "other-tube")
    return f"Place: {'; '.join(told)}." if told else "Place: amid a series and a tube."


def _cutter(case: Case) -> str:
    rows = [row for row in case.rows if row.name in CUTTER]
    events = _seen(case, "no-far", "no-home", "bounce", "after-dump")
    odd = [case.found[f"{row.name}{row.sign}"].words for row in rows if row.odd]
    if odd or events:
        return f"Cutter: {'; '.join([*events, *odd])}."
    if rows:
        return "Cutter: times as usual."
    if any(case.portion.signals.get(name) is not None for name in CUTTER):
        return "Cutter: too few good portions to hold its times against."
    if case.portion.outcome != COMPLETE:
        return "Cutter: no time of it is known; the portion ended early."
    return "Cutter: nothing measures its times here."


def _electric(case: Case) -> str:
    told = _seen(case, *ELECTRIC)
    return f"Electrics and link: {'; '.join(told) if told else 'nothing around it'}."
