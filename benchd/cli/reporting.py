"""`benchd report`: the page of a day."""

from __future__ import annotations

import argparse
import json
import re
from datetime import date
from pathlib import Path

from benchd.cli.command import OK, Parts, Usage, Wrong, say
from benchd.cli.journals import folders
from benchd.cli.judging import add_named_journals, baselines_of, named


def a_day(text: str) -> str:
    """Return a day as names of journals begin: 20270115.

    Raises: argparse.ArgumentTypeError when it is none.
    """
    try:
        return f"{date.fromisoformat(text):%Y%m%d}"
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no day such as 2027-01-15") from None


def _options(parser: argparse.ArgumentParser) -> None:
    add_named_journals(parser)
    parser.add_argument(
        "--day",
        type=a_day,
        metavar="YYYY-MM-DD",
        help="all journals of the bench that were opened that day (UTC)",
    )
    parser.add_argument("--to", metavar="FILE", help="default: BENCH-DAY.html, here")
    parser.add_argument("--overwrite", action="store_true", help="replace a file that is there")


def report(options: argparse.Namespace) -> int:
    """Write the page of a day; it moves nothing and changes no journal."""
    from importlib.metadata import version

    from benchd.analysis.charts import all_charts
    from benchd.analysis.day import SeveralBenches, read_day
    from benchd.analysis.export_files import whole_file
    from benchd.analysis.judge import judge
    from benchd.analysis.weighed import read_weighed
    from benchd.analysis.why import read_histories
    from benchd.cli import report_page
    from benchd.diagnose.case import Bench
    from benchd.io import clock

    with named(_journals(options), options.bench, "The page is made") as paths:
        try:
            day = read_day(paths)
        except SeveralBenches:
            raise Usage(
                "A page is of one bench, and these journals are of several: name journals of one."
            ) from None
        weighed = read_weighed(paths)
        benches = [Bench(one.portions(), one.fitted) for one in read_histories(paths)]
        cases = [case for bench in benches for case in bench.odd_ones()]
        charts = all_charts(weighed.portions, baselines_of(weighed))
        made = (clock.wall_us(), version("benchd"))
        text = report_page.page(
            report_page.Report(day, weighed, judge(weighed), charts, cases, *made)
        )
        target = Path(options.to or _default_name(day.bench, report_page.day_of(day)))
        with whole_file(target, overwrite=options.overwrite) as file:
            file.write(text.encode())
    if options.json:
        odd = [case.portion.number for case in cases]
        told = {"report": str(target), "portions": len(weighed.portions), "odd": odd}
        say(json.dumps(told | {"trips": len(day.trips)}))
    else:
        say(f"{target}: the page of bench {day.bench or '-'}, {report_page.day_of(day)}.")
    return OK


def _journals(options: argparse.Namespace) -> list[str]:
    if options.day is None:
        return list(options.journals)
    if options.journals:
        raise Usage("Name journals, or a day with --day, not both.")
    from benchd.analysis.archive_format import all_in

    found = [
        str(path)
        for folder in folders(options.bench)
        for path in all_in(folder)
        if path.name.startswith(f"{options.day}T")
    ]
    if not found:
        raise Wrong("No journal was opened on that day; see 'benchd journal list'.")
    return found


def _default_name(bench: str, day: str) -> str:
    words = re.sub(r"[^A-Za-z0-9_-]+", "-", f"{bench or 'bench'}-{day}").strip("-")
    return f"{words}.html"


PARTS = {"report": Parts(_options, report)}
