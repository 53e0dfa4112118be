"""The page of a day: portions, charts, misfires with their cases, interlocks, link, cards, and what
was not cleaned or not weighed. It stands alone, like a case file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from benchd.analysis.judge import tolerance_of
from benchd.cli import chart_text, judge_text, report_figures
from benchd.cli import page as html
from benchd.cli.judge_text import END as JUDGE_END
from benchd.cli.why_text import END as WHY_END
from benchd.cli.why_text import headline
from benchd.diagnose.case import held_against
from tui import view

if TYPE_CHECKING:
    from benchd.analysis.charts import Charts
    from benchd.analysis.day import Day, Uncleaned
    from benchd.analysis.judge import Judgement, Section
    from benchd.analysis.weighed import Made, Weighed
    from benchd.diagnose.case import Case

CASES_SHOWN = 20
"""Cases that are told; of more, the numbers stand below."""

CLEAN_AFTER_H = 4.0
"""Hours of dough at the parts from which the page says so: the time that public food rules give
food that is kept by the clock (Food Code 3-501.19; benches of one's own have local rules)."""

OUTSIDE = "This page knows only what was recorded: what no sensor saw and nobody typed is not here."


class Report(NamedTuple):
    """What the page of a day is made of. cases: of odd portions, the oddest first."""

    day: Day
    weighed: Weighed
    judgement: Judgement
    charts: Sequence[Charts]
    cases: Sequence[Case]
    written_us: int
    version: str


def page(of: Report) -> str:
    """Return the whole page."""
    body = [
        _head(of),
        f'<p class="box">{html.t(html.HANDS)}</p>',
        html.section("Portions", _portions(of)),
        html.section("Are the weights consistent?", "".join(_judged(of))),
        html.section("Charts", "".join(_charts(of))),
        html.section("Misfires", "".join(_cases(of))),
        html.section("Interlocks that tripped", _trips(of.day)),
        html.section("Link and board", _link(of.day)),
        html.section("Cards in force", _cards(of.day)),
        html.section("Not weighed", _unweighed(of.weighed)),
        html.section("Cleaning", _cleaning(of.day)),
        html.section("Notes", _notes(of.day)),
        html.section("Journals", _sources(of)),
    ]
    return html.document(f"Bench {of.day.bench or '-'}, {day_of(of.day)}", body)


def day_of(day: Day) -> str:
    """Return the day, or days, of the journals (UTC)."""
    return " to ".join(_days(day)) or "day not known"


def _days(day: Day) -> list[str]:
    """Return the first and the last day that are known, one where they are the same."""
    opened = day.sources[0].opened_us if day.sources else None
    known = [html.utc(us)[:10] for us in (opened, day.last_us) if us is not None]
    return list(dict.fromkeys(known))


def _head(of: Report) -> str:
    made = of.weighed.portions
    weighed = [one.mass_kg for one in made if one.mass_kg is not None]
    whole = sum(one.outcome == "complete" for one in made)
    told = [
        view.several(len(made), "portion"),
        f"{whole} complete",
        f"{len(weighed)} weighed, {sum(weighed):.3f} kg together",
        f"{view.several(len(of.cases), 'odd one')} found",
        view.several(len(of.day.trips), "trip"),
    ]
    days = " to ".join(f'<span class="whole">{day}</span>' for day in _days(of.day))
    return (
        '<header>\n<p class="dim">Page of the day; times are UTC</p>\n'
        f"<h1>Bench {html.t(of.day.bench or '-')}, {days or 'day not known'}</h1>\n"
        f"<p><strong>{html.t('; '.join(told))}.</strong></p>\n</header>"
    )


def _portions(of: Report) -> str:
    made = of.weighed.portions
    if not made:
        return "<p>No portion was made.</p>"
    of_dough: dict[str, list[Made]] = {}
    for one in made:
        of_dough.setdefault(one.dough, []).append(one)
    share = {dough: tolerance_of(ones, None) for dough, ones in of_dough.items()}
    odd = {case.portion.number for case in of.cases}
    figure = report_figures.strip(made, [share[one.dough] for one in made], odd)
    last = report_figures.MOST
    more = f" Only the last {last} of {len(made)} are drawn." if len(made) > last else ""
    caption = (
        "A bar up: above the aim; down: below; the grey band is the card's tolerance. Filled: "
        "normal; open: first, after a pause, flagged or tail; cross: ended early; ?: not weighed; "
        f"diamond: odd. A stroke across: another tube.{more}"
    )
    kinds = Counter(one.kind for one in made)
    endings = Counter(one.outcome for one in made if one.outcome != "complete")
    rows = [
        ("By class", ", ".join(f"{count} {kind}" for kind, count in kinds.items())),
        ("Ended early", ", ".join(f"{count} {what}" for what, count in endings.items())),
        ("Series", "; ".join(f"{_clock(of.day, us)} {text}" for us, text in of.day.series)),
        ("Tubes", "; ".join(_tube(of, at) for at in range(len(of.day.tubes)))),
    ]
    return html.figure(figure, caption) + html.pairs(rows)


def _tube(of: Report, at: int) -> str:
    tube = of.day.tubes[at]
    lot = f", lot {tube.lot}" if tube.lot else ""
    out = f", out {_clock(of.day, tube.out_us)}" if tube.out_us is not None else ""
    since = "in before this journal" if tube.before else f"in {_clock(of.day, tube.in_us)}"
    many = view.several(tube.portions, "portion")
    return f"{tube.tube or '(not named)'}{lot}: {since}{out}, {many}"


def _judged(of: Report) -> Iterator[str]:
    told = of.judgement
    if not told.sections:
        yield "<p>Nothing was weighed, so nothing is judged.</p>"
        return
    for section in told.sections:
        yield _section(section)
    for pool in told.pools:
        rows = list(judge_text.pool_figures(pool))
        if rows:
            yield f"<h3>{html.t(f'{pool.dough}, group {pool.group}, all tubes')}</h3>"
            yield html.pairs(rows)
    masses = [(f"Tube {mass.tube}", judge_text.mass_text(mass)) for mass in told.masses]
    if masses:
        yield f"<h3>Where the dough went</h3>{html.pairs(masses)}"
    yield f'<p class="dim">{html.t(JUDGE_END)}</p>'


def _section(told: Section) -> str:
    title = f"Tube {told.tube or '(not named)'}: {told.dough}, group {told.group}"
    rows = list(judge_text.figures(told))
    rows += [("Odd one", judge_text.odd_text(one)) for one in told.odd]
    if told.apart:
        rows.append(("Not judged", judge_text.apart_text(told)))
    reasons = " ".join(judge_text.reasons(told))
    return (
        f"<article>\n<h3>{html.t(title)}</h3>\n<p><strong>{html.t(told.verdict.capitalize())}."
        f"</strong> {html.t(reasons)}</p>\n{html.pairs(rows)}\n</article>"
    )


def _charts(of: Report) -> Iterator[str]:
    for charts in of.charts:
        whose = (
            "limits of these points themselves"
            if charts.version is None
            else f"limits frozen as version {charts.version}"
        )
        yield f"<h3>{html.t(f'{charts.dough}, group {charts.group}: {whose}')}</h3>"
        without = []
        for chart in charts.charts:
            label, text = chart_text.LABELS[chart.signal], chart_text.chart_text(chart)
            drawn = report_figures.chart(chart)
            if drawn:
                yield html.figure(drawn, f"{label}: {text}.")
            elif chart.n:
                without.append((label, text))
        yield html.pairs([*without, *chart_text.level_rows(charts.levels)])
    if of.charts:
        yield f'<p class="dim">{html.t(chart_text.BY_CHANCE)}</p>'


def _cases(of: Report) -> Iterator[str]:
    if not of.cases:
        yield (
            "<p>No portion stands out in what was measured and weighed. That is no proof that all "
            "were right.</p>"
        )
        return
    found = of.day.verdicts()
    journals = " ".join(source.name for source in of.day.sources)
    for case in of.cases[:CASES_SHOWN]:
        yield _case(case, found.get(case.portion.number, []), journals)
    rest = [str(case.portion.number) for case in of.cases[CASES_SHOWN:]]
    if rest:
        yield f"<p>Also odd, and less so: portion {html.t(', '.join(rest))}.</p>"
    yield f'<p class="dim">{html.t(WHY_END)}</p>'


def _case(case: Case, verdicts: Sequence[str], journals: str) -> str:
    told, number = case.opinion, case.portion.number
    title, _, what = headline(case, several=False).partition(": ")
    names = "; ".join(f"{one.cause.code} {one.cause.name}" for one in told.together)
    first = told.together[0].cause if told.together else None
    rows = [
        ("Found", "; ".join(one.words for one in case.seen)),
        ("Likely" if len(told.together) == 1 else "One of", names),
        ("Would tell", "; ".join(told.separators[:4])),
        ("CAUTION", first.caution if first else ""),
        ("Next check", first.check if first else ""),
        ("A person found", "; ".join(verdicts)),
        ("Case file", f"benchd why {journals} --portion {number} --case FILE.html"),
    ]
    cant = "" if told.together else " Can't tell the cause: nothing that was found points to one."
    return (
        f"<article>\n<h3>{html.t(title)}</h3>\n<p><strong>{html.t(what)}.</strong> "
        f"{html.t(held_against(case) + cant)}</p>\n{html.pairs(rows)}\n</article>"
    )


def _trips(day: Day) -> str:
    if not day.trips:
        return "<p>None.</p>"
    rows = []
    for trip in day.trips:
        until = "still up" if trip.is_up else _clock(day, trip.cleared_us)
        after = "-" if trip.portion is None else str(trip.portion)
        cells = (trip.interlock, _clock(day, trip.up_us), until, after, trip.text)
        rows.append((trip.is_up, cells))
    return html.table(("Code", "Up", "Cleared", "After portion", "What it said"), rows, "words")


def _link(day: Day) -> str:
    lines = [f"{_clock(day, us)}: {text}" for us, text in day.link]
    dropped = [f"{count} lines dropped: {reason}" for reason, count in day.dropped.most_common()]
    if not lines and not dropped:
        return "<p>The link held, no line was dropped, and the board did not restart.</p>"
    none = [] if dropped else ["No line was dropped."]
    return html.listed([*lines, *dropped, *none])


def _cards(day: Day) -> str:
    rows = [
        (False, (_clock(day, card.since_us), card.kind, card.name, card.mark or "-", card.words))
        for card in day.cards
    ]
    return html.table(("Since", "Kind", "Name", "Mark", "What it says"), rows, "words")


def _unweighed(weighed: Weighed) -> str:
    lacking = [
        one.number for one in weighed.portions if one.outcome == "complete" and one.mass_kg is None
    ]
    if not lacking:
        return "<p>Every complete portion has a weight.</p>"
    numbers = ", ".join(map(str, lacking[:100])) + (" ..." if len(lacking) > 100 else "")
    return (
        f"<p>{html.t(view.several(len(lacking), 'complete portion'))} without a weight: "
        f"{html.t(numbers)}.</p>"
    )


def _cleaning(day: Day) -> str:
    spans = day.uncleaned()
    if not spans:
        return (
            "<p>No tube was in while these journals ran. Whether dough of an earlier one is still "
            "at the parts is not known here.</p>"
        )
    how = 'Cleaning is noted with: benchd note "cleaned: what, and who".'
    said = html.listed(_span(day, span) for span in spans)
    return said + f'<p class="dim">{html.t(how)}</p>'


def _span(day: Day, span: Uncleaned) -> str:
    """Return since when dough was at the parts, until when, and what that asks for."""
    (begin_us, before), end_us = span
    if begin_us is None:
        return "Dough was at the parts; since when, and whether they were cleaned, is not known."
    until_us = end_us if end_us is not None else day.last_us
    hours = (until_us - begin_us) / 3.6e9 if until_us is not None else 0.0
    since = f"Dough at the parts from {_clock(day, begin_us)}"
    if before:
        since = (
            f"Dough was at the parts before the journal of {_clock(day, begin_us)} begins, since "
            "when is not known here"
        )
    end = "cleaned" if end_us is not None else "no cleaning noted up to"
    told = f"{since}; {end} {_clock(day, until_us)} ({'at least ' * before}{hours:.1f} h)."
    if hours > CLEAN_AFTER_H:
        return f"{told} LONGER than 4 h: look at what your local rules ask."
    return f"{told} It may be LONGER than 4 h: find out since when." if before else told


def _notes(day: Day) -> str:
    told = [
        f"{_clock(day, note.wall_us)}{f', portion {note.portion}' if note.portion else ''}: "
        f"{note.text}"
        for note in day.notes
    ]
    return html.listed(told) if told else ""


def _sources(of: Report) -> str:
    rows = [
        (False, (source.name, html.utc(source.opened_us), source.state, source.head[:16]))
        for source in of.day.sources
    ]
    written = f"Written {html.utc(of.written_us)} by benchd {of.version}. {OUTSIDE}"
    head = ("Journal", "Opened", "State", "Head begins")
    return html.table(head, rows, "words") + f'<p class="dim">{html.t(written)}</p>'


def _clock(day: Day, wall_us: int | None) -> str:
    """Return the time of day: alone where the page is of one day, which stands at the top, else
    with its month and day."""
    if wall_us is None:
        return "time not known"
    told = html.utc(wall_us)
    return told[5:16] if len(_days(day)) > 1 else told[11:16]
