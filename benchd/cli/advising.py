"""`benchd advise`: what stroke would bring the mean to the aim. A proposal; it changes nothing."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from benchd.cli.command import OK, Parts, Usage, Wrong, note, say
from benchd.cli.journals import older_one
from benchd.cli.judging import NO_WEIGHTS, add_named_journals, frozen_of, named
from benchd.cli.progress import working

if TYPE_CHECKING:
    from benchd.analysis.first_stroke import First
    from benchd.analysis.weighed import Made
    from benchd.calc.stats.stroke import Proposal

SETTLING = 2
"""Portions after a change that are not learned from (common practice)."""

RUNNING = (
    "Proposal only: nothing was changed. The stroke stands in the dough card; the next series "
    "takes it from there. With 'auto_stroke: yes' in the card a series follows its weights itself."
)


class Run(NamedTuple):
    """The newest portions that were made in one way from one tube."""

    portions: tuple[Made, ...]
    settling: int
    """Portions at its beginning that are not used, since something was changed before them."""
    committed: int
    """Portions made since the last weighed one: what is changed now comes after them."""


def advise(options: argparse.Namespace) -> int:
    """Propose a stroke, or say why it should stay; it changes and moves nothing."""
    from benchd.analysis.judge import scale_kg
    from benchd.analysis.weighed import read_weighed
    from benchd.calc.stats.stroke import propose

    with named(options.journals, options.bench) as paths:
        weighed = read_weighed(paths)
    if not any(portion.mass_kg is not None for portion in weighed.portions):
        raise Wrong(NO_WEIGHTS + older_one("weight", options.journals, options.bench))
    if len({portion.bench for portion in weighed.portions}) > 1:
        raise Usage(
            "A stroke is of one bench, and these journals are of several: name journals of one."
        )
    run = newest_run(weighed.portions)
    stroke_m = run.portions[-1].recipe[1]
    if stroke_m is None or stroke_m <= 0:
        raise Wrong("The newest portions do not say what stroke was asked for, so none can follow.")
    first = first_of(run.portions[-1], paths)
    used = [one for one in run.portions[run.settling :] if one.judged]
    told = propose(
        [one.mass_kg or 0.0 for one in used],
        [one.index for one in used],
        aim_kg=run.portions[-1].aim_kg,
        stroke_m=stroke_m,
        first_stroke_m=first.stroke_m,
        scale_sd_kg=scale_kg(used),
    )
    if options.json:
        say(json.dumps(_as_json(run, used, stroke_m, first, told)))
        return OK
    for line in lines(run, used, stroke_m, first, told):
        say(line)
    return OK


def first_of(like: Made, paths: Sequence[Path]) -> First:
    """Return the stroke that the limit counts from: that of the newest frozen limits of the bench,
    dough and aim of a portion, else of their oldest journal on this machine or at these paths.

    These paths hold the portion, so that there is one. What cannot be read of the rest is told.
    """
    from benchd.analysis.archive_format import all_in
    from benchd.analysis.first_stroke import frozen_stroke, journal_stroke
    from benchd.analysis.reader import oldest_first, reader_of
    from benchd.io.journal_format import JournalError
    from benchd.io.paths import state_dir

    frozen = frozen_stroke(frozen_of(like.bench), like)
    if frozen is not None:
        return frozen
    found = [journal_stroke(oldest_first(paths), like)]
    with working("The first stroke of this dough is looked for"):
        for path in all_in(Path(state_dir(like.bench))):
            try:
                kept = journal_stroke([reader_of(path)], like)
            except JournalError as error:
                note(f"{error} The limit of all changes may count from a stroke after it.")
                continue
            if kept is not None:
                found.append(kept)
                break
    return min((one for one in found if one is not None), key=lambda one: one.opened_us)


def newest_run(portions: Sequence[Made]) -> Run:
    """Return the newest portions made in one way from one tube, of one bench."""
    from benchd.analysis.weighed import compared

    last = portions[-1]
    start = len(portions)
    while start > 0 and _same(portions[start - 1], last, compared):
        start -= 1
    changed = start > 0 and portions[start - 1].loading == last.loading
    weighed = [at for at, one in enumerate(portions) if one.mass_kg is not None]
    committed = len(portions) - 1 - weighed[-1] if weighed else len(portions)
    return Run(tuple(portions[start:]), SETTLING if changed else 0, committed)


def _same(one: Made, last: Made, key: Any) -> bool:
    return one.loading == last.loading and key(one) == key(last)


def _as_json(
    run: Run, used: Sequence[Made], stroke_m: float, first: First, told: Proposal
) -> dict[str, Any]:
    return {
        "tube": run.portions[-1].tube,
        "dough": run.portions[-1].dough,
        "aim_kg": run.portions[-1].aim_kg,
        "stroke_m": stroke_m,
        "first_stroke_m": first.stroke_m,
        "first_stroke_journal": first.journal or None,
        "first_stroke_version": first.version,
        "proposed_stroke_m": told.stroke_m,
        "why": told.why,
        "n": told.n,
        "mean_kg": told.mean_kg,
        "dead_band_kg": told.dead_band_kg,
        "held": [used[at].number for at in told.held],
        "capped": told.capped,
        "committed": run.committed,
    }


def lines(
    run: Run, used: Sequence[Made], stroke_m: float, first: First, told: Proposal
) -> Iterator[str]:
    """Give the text of a proposal, each line within 80 columns."""
    from benchd.cli.rows import wrap
    from tui import view

    last = run.portions[-1]
    yield from wrap(
        f"Tube {last.tube or '(not named)'}: {last.dough}, aim {view.grams(last.aim_kg)}, stroke "
        f"{view.millimetres(stroke_m, 2)}"
    )
    yield from wrap(why_text(told, last.aim_kg, stroke_m))
    yield from wrap(first_text(first, stroke_m, told.why))
    if told.held:
        numbers = ", ".join(str(used[at].number) for at in told.held)
        yield from wrap(f"Held, not used: odd weight of portion {numbers}. Weigh it again first.")
    if run.settling:
        yield from wrap(
            f"The first {run.settling} portions after the last change are not used: pressure in "
            "the barrel still settles in them."
        )
    if told.stroke_m is not None and run.committed:
        yield from wrap(
            f"{view.several(run.committed, 'portion')} made since the last weighed one had the old "
            "stroke: weigh those before the next proposal."
        )
    yield from wrap(RUNNING)


def first_text(first: First, stroke_m: float, why: str) -> str:
    """Return which stroke the limit of all changes counts from, and how far off it is now."""
    from benchd.calc.stats.stroke import TOTAL_MOST
    from tui import view

    where = (
        f"the first of this bench, dough and aim on this machine (journal {first.journal})"
        if first.version is None
        else f"that of the limits frozen as version {first.version}"
    )
    off = stroke_m / first.stroke_m - 1
    now = "is still that" if abs(off) < 5e-4 else f"is now {view.percent(off)} from it"
    told = (
        f"The limit of {TOTAL_MOST * 100:.0f} % in all counts from "
        f"{view.millimetres(first.stroke_m, 2)}, {where}; the stroke {now}."
    )
    if why != "limit":
        return told
    return (
        f"{told} Where it changed for a cause that you know, such as another nozzle, 'benchd judge "
        "--freeze' lets it count from the present one."
    )


def why_text(told: Proposal, aim_kg: float, stroke_m: float) -> str:
    """Return what is proposed, or why nothing is."""
    from benchd.calc.stats import stroke as rules
    from tui import view

    if told.why == "few":
        return (
            f"No proposal: {view.several(told.n, 'weight')} of normal portions made this way are "
            f"fewer than the {rules.LEAST} that a mean takes."
        )
    if told.why == "alternating":
        return (
            f"No proposal: these {told.n} weights alternate, what one has too much the next one "
            f"lacks, and a change would fight that. It takes {rules.ALTERNATING_LEAST}."
        )
    assert told.mean_kg is not None
    assert told.dead_band_kg is not None
    mean = (
        f"the mean of the newest {told.n} is {view.grams(told.mean_kg, 2)}, "
        f"{(told.mean_kg - aim_kg) * 1e3:+.2f} g off the aim"
    )
    if told.why == "within":
        return (
            f"No change: {mean}, within the {told.dead_band_kg * 1e3:.2f} g that so few weights "
            "leave open."
        )
    if told.why == "limit":
        return (
            f"No proposal: {mean}, but the stroke may go no further than "
            f"{rules.TOTAL_MOST * 100:.0f} % from where it began. Look for the cause: density, a "
            "leak, lost steps, the scale."
        )
    assert told.stroke_m is not None
    limit = (
        f" (limited: at most {rules.ONCE_MOST * 100:.0f} % at once, {rules.TOTAL_MOST * 100:.0f} % "
        "in all)"
        if told.capped
        else ""
    )
    return (
        f"Proposed stroke {view.millimetres(told.stroke_m, 2)}, "
        f"{view.percent(told.stroke_m / stroke_m - 1)}{limit}: {mean}, more than the "
        f"{told.dead_band_kg * 1e3:.2f} g that so few weights leave open."
    )


PARTS = {"advise": Parts(add_named_journals, advise)}
