"""The case file of one portion: a page of its own, without a script and without a network."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from statistics import median
from typing import TYPE_CHECKING, NamedTuple

from benchd.cli import case_figures
from benchd.cli import page as html
from benchd.cli.command import Usage
from benchd.cli.why_order import presort
from benchd.cli.why_text import END, headline, rules_out_words
from benchd.diagnose.case import held_against
from benchd.diagnose.causes import CAUSES
from benchd.diagnose.findings import shown, words_of
from benchd.diagnose.signals import MASS, SIGNALS

if TYPE_CHECKING:
    from benchd.analysis.case_times import Around, Lane
    from benchd.diagnose.case import Case
    from benchd.diagnose.rank import Ranked
    from benchd.diagnose.signals import Seen

WITHIN_SHOWN = 8
"""Signals shown that are as usual, the farthest ones."""


class Page(NamedTuple):
    """What a case file is made of. verdict: what a person says now; written_us: now, UTC."""

    case: Case
    tube: Sequence[Seen]
    around: Around
    journals: Sequence[str]
    verdict: str
    written_us: int
    version: str


def checked_verdict(text: str) -> str:
    """Return a person's verdict without the blanks around it.

    Raises: Usage when there is none, or when it names a cause that is not there.
    """
    text = text.strip()
    if not text:
        raise Usage("An empty verdict says nothing: write, in quotes, what you found.")
    code = code_of(text)
    if code and code not in {cause.code for cause in CAUSES}:
        raise Usage(
            f"There is no cause {code}: they go from {CAUSES[0].code} to {CAUSES[-1].code}, and "
            "'benchd guide misfires' lists them; a verdict may also be words alone."
        )
    return text


def code_of(verdict: str) -> str:
    """Return the code of the cause with which a verdict begins, or ""."""
    found = re.match(r"(MC-\d+)\b", verdict.strip(), re.IGNORECASE)
    return found[1].upper() if found else ""


def verdicts(around: Around) -> list[tuple[int | None, str]]:
    """Return what people found according to the journal's notes, oldest first."""
    return [(note.wall_us, note.verdict) for note in around.notes if note.verdict is not None]


def page(of: Page) -> str:
    """Return the whole page."""
    case = of.case
    body = [
        _head(case),
        f'<p class="box">{html.t(html.HANDS)}</p>',
        html.section("What was asked", _asked(of)),
        html.section("What stands out", _found(case)),
        html.section("Along the tube", _figures(of)),
        html.section("In time", _times(of.around.lanes, case.portion.number)),
        html.section("First sort", html.listed(presort(case), "ol")),
        html.section("What may have caused it", "".join(_causes(case))),
        html.section("What a person found", _verdict(of)),
        html.section("Notes", _notes(of.around)),
        _foot(of),
    ]
    title = f"Case file: portion {case.portion.number} of bench {of.around.bench or '-'}"
    return html.document(title, body)


def _head(case: Case) -> str:
    told = headline(case, several=False).partition(": ")
    partner = case.portion.number - 1
    more = f" It has what portion {partner} lacks: look there." if case.partner else ""
    return (
        f'<header>\n<p class="dim">Case file</p>\n<h1>{html.t(told[0])}</h1>\n'
        f"<p><strong>{html.t(told[2])}.</strong> {html.t(held_against(case) + more)}</p>\n</header>"
    )


def _asked(of: Page) -> str:
    one, record = of.case.portion, of.around.record
    asked = record.get("asked_m") or {}
    strokes = ", ".join(
        f"{name.replace('_', '-')} {asked[name] * 1e3:.2f} mm"
        for name in ("take_up", "push", "draw_back")
        if asked.get(name) is not None
    )
    by_hand = ", ".join(f"{name} {value}" for name, value in (record.get("by_hand") or {}).items())
    readings = ", ".join(f"{mass_kg * 1e3:.1f} g" for mass_kg in one.readings_kg)
    aim_kg = record.get("aim_kg")
    rows = [
        ("Weight", f"{aim_kg * 1e3:.1f} g" if aim_kg else "not known"),
        ("It weighed", readings or "not weighed"),
        ("Look", one.look),
        ("Dough", str(record.get("dough") or "")),
        ("Feed", strokes or "not known: nobody saw this portion end"),
        ("Set by hand", by_hand),
        ("Place", _place(one)),
    ]
    return html.pairs(rows)


def _place(one: Seen) -> str:
    place = "" if one.place is None else f", {one.place * 100:.0f} % of the travel used at its end"
    return f"number {one.index} of its tube{place}"


def _found(case: Case) -> str:
    odd = [one.words for one in case.seen]
    told = html.listed(odd) if odd else "<p>Nothing that was measured is off its usual.</p>"
    if not case.rows:
        return told
    within = [far for far in case.rows if not far.odd]
    told_rows = [far for far in case.rows if far.odd] + within[:WITHIN_SHOWN]
    more = f" {len(within) - WITHIN_SHOWN} more lie nearer." if len(within) > WITHIN_SHOWN else ""
    rows = [
        (
            far.odd,
            (
                SIGNALS[far.name].words,
                shown(far.name, far.value, far.usual),
                shown(far.name, far.usual, far.usual),
                f"{far.z:+.1f} of {far.limit:.1f}",
            ),
        )
        for far in told_rows
    ]
    return (
        told
        + html.table(("Signal", "This", "Usual", "Distance"), rows)
        + '<p class="dim">Distance in spreads of good portions, of what chance allows. What lies '
        f"further off, and by more than a sound bench shows, is in bold.{more}</p>"
    )


def _figures(of: Page) -> str:
    case = of.case
    rows = {far.name: far for far in case.rows}
    odd = [far.name for far in case.rows if far.odd and far.name != MASS][:2]
    drawn = []
    for name in (MASS, *(odd or ["stroke_s"])):
        svg = case_figures.along_tube(of.tube, case.portion, name, rows.get(name))
        if svg:
            band = (
                "Dashed: usual at this portion's place; grey: as far as chance allows there. "
                if name in rows
                else ""
            )
            text = (
                f"{SIGNALS[name].words.capitalize()} of each portion of the tube. Diamond: portion "
                f"{case.portion.number}; dots: good ones; rings: first, tail, ended early and the "
                f"like. {band}"
            )
            drawn.append(html.figure(svg, text))
    return "".join(drawn)


def _times(lanes: Sequence[Lane], number: int) -> str:
    if not lanes or lanes[0].number != number:
        return "<p>The journal has no events of this portion, so there is no time line.</p>"
    mine, others = lanes[0], lanes[1 : case_figures.LANES_SHOWN]
    names = dict.fromkeys(name for name, _, _ in mine.phases)
    letters = ", ".join(f"{name[0].upper()} {name}" for name in names)
    below = "the good ones nearest to it" if others else "nothing: no good one has events here"
    text = (
        f"From the beginning of the push. Top: portion {number}; below: {below}. Phases: "
        f"{letters}. Strokes: edges, numbered as in the list."
    )
    figure = html.figure(case_figures.time_lines(lanes), text)
    edges = [f"{t_s:+.3f} s {words}" for t_s, words in mine.edges]
    rows = []
    for name in names:
        usual = [length for lane in lanes[1:] if (length := _length(lane, name)) is not None]
        spans = (median(usual), min(usual), max(usual)) if usual else None
        told = [f"{span:.3f} s" for span in spans] if spans else ["-"] * 3
        rows.append((False, (name, f"{_length(mine, name) or 0.0:.3f} s", *told)))
    many = f"Middle of {len(lanes) - 1}"
    return (
        figure
        + html.listed(edges, "ol")
        + html.table(("Phase", "This", many, "Least", "Most"), rows)
    )


def _length(lane: Lane, name: str) -> float | None:
    found = [end - begin for phase, begin, end in lane.phases if phase == name]
    return sum(found) if found else None


def _causes(case: Case) -> Iterator[str]:
    told = case.opinion
    if not told.together:
        yield "<p>Can't tell: nothing that was found points to one cause.</p>"
        return
    if len(told.together) == 1:
        yield "<p>One cause is likely.</p>"
    else:
        would = "; ".join(told.separators[:4]) or "nothing that is on offer: see each check"
        yield "<p>What is fitted does not tell these apart, the likeliest first.</p>"
        yield html.pairs([("Would tell", would)])
    for one in told.together:
        yield _cause(one)
    if told.others:
        others = "; ".join(f"{one.cause.code} {one.cause.name}" for one in told.others[:3])
        yield f'<p class="dim">Less likely: {html.t(others)}.</p>'


def _cause(one: Ranked) -> str:
    cause = one.cause
    rows = [
        ("For", "; ".join(found.words for found in one.speaks_for)),
        ("Against", "; ".join(one.speaks_against)),
        ("Missing", "; ".join(words_of(name) for name in one.missing)),
        ("Rules it out", rules_out_words(cause)),
        ("Next check", cause.check),
        ("Remedy", cause.remedy),
    ]
    caution = f'<p class="box"><strong>CAUTION</strong> {html.t(cause.caution)}</p>'
    return (
        f"<article>\n<h3>{html.t(f'{cause.code} {cause.name}')}</h3>\n<p>{html.t(cause.how)}</p>\n"
        f"{caution if cause.caution else ''}{html.pairs(rows)}\n</article>"
    )


def _verdict(of: Page) -> str:
    """Return what a person found, or room to write it by hand."""
    told = [(f"noted {html.utc(wall_us)}", text) for wall_us, text in verdicts(of.around)]
    if of.verdict and of.verdict not in [text for _, text in told]:
        told.append((f"given with this file, {html.utc(of.written_us)}", of.verdict))
    named = {one.cause.code for one in of.case.opinion.together}
    if told:
        inner = ""
        for when, text in told:
            code = code_of(text)
            word = "among" if code in named else "not among"
            beside = f"; {word} the causes named above" if code else ""
            small = f'<span class="dim">{html.t(when + beside)}</span>'
            inner += f"<p><strong>{html.t(text)}</strong><br>{small}</p>"
        return f'<div class="verdict">{inner}</div>'
    number = of.case.portion.number
    boxes = "".join(
        f"<li>&#9744; {html.t(f'{one.cause.code} {one.cause.name}')}</li>"
        for one in of.case.opinion.together
    )
    command = f'benchd why --portion {number} --case FILE --overwrite --verdict "MC-nn, in words"'
    return (
        '<div class="verdict"><p>Nobody has said yet. By hand, or '
        f"<code>{html.t(command)}</code></p>"
        f'<ul style="list-style:none;padding:0">{boxes}<li>&#9744; another cause, or can\'t tell:'
        '</li></ul><div class="rule"></div><div class="rule"></div>'
        '<p>Name and date</p><div class="rule"></div></div>'
    )


def _notes(around: Around) -> str:
    others = [note for note in around.notes if note.verdict is None]
    return (
        html.listed(f"{html.utc(note.wall_us)}: {note.text}" for note in others) if others else ""
    )


def _foot(of: Page) -> str:
    said = (
        f"Written {html.utc(of.written_us)} by benchd {of.version}, of "
        f"{'journal' if len(of.journals) == 1 else 'journals'} {', '.join(of.journals)}."
    )
    return f"<footer>\n<p>{html.t(END)}</p>\n<p>{html.t(said)}</p>\n</footer>"
