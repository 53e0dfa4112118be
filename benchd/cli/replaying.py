"""`benchd replay`: a past portion's time line, and whether today's core decides as it did then."""

from __future__ import annotations

import argparse
import json
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchd.cli.command import OK, WRONG, Parts, Wrong, say, whole_from
from benchd.cli.journals import find, older_one
from benchd.cli.progress import working
from tui import view

if TYPE_CHECKING:
    from benchd.analysis.integrity import Report
    from benchd.analysis.replay import Verdict


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--bench", metavar="NAME", help="of this bench")
    parser.add_argument("--json", action="store_true", help="print the answer as JSON")
    parser.add_argument(
        "journal", nargs="?", help="path, or start of its name; the newest if not given"
    )
    parser.add_argument(
        "--portion",
        type=whole_from(1, 2**31),
        help="only this portion; of the newest journal that has it",
    )
    parser.add_argument(
        "--verify", action="store_true", help="run the stored inputs through the core and compare"
    )


def replay(options: argparse.Namespace) -> int:
    """Show or verify; nothing moves."""
    from benchd.analysis.archive_format import readable
    from benchd.io.journal_format import JournalError

    try:
        named = find(options.journal, options.bench, options.portion)
        if options.verify:
            return _verify(options, named)
        with readable(named) as path:
            return (_data if options.json else _lines)(options, path)
    except JournalError as error:
        raise Wrong(str(error)) from None


def _lines(options: argparse.Namespace, path: Path) -> int:
    from benchd.analysis import timeline

    with working("The journal is read"):
        if options.portion is None:
            lines = list(timeline.series_lines(path))
        else:
            lines = list(timeline.portion_lines(path, options.portion))
    for line in lines:
        say(view.plain(line))
    if options.portion is None and len(lines) == 1:
        older = older_one("portion", options.journal, options.bench)
        say(view.plain(f"There is no portion in {path.name}.{older}"))
    return OK


def _data(options: argparse.Namespace, path: Path) -> int:
    from benchd.analysis import timeline

    with working("The journal is read"):
        if options.portion is None:
            rows = timeline.series_data(path)
        else:
            rows = [timeline.portion_data(path, options.portion)]
    for row in rows:
        say(json.dumps(row))
    return OK


def _verify(options: argparse.Namespace, named: Path) -> int:
    """Run the inputs of a journal that is as it was written; of another nothing would be known."""
    from benchd.analysis.archive_format import meta_of
    from benchd.analysis.integrity import checked, kept_of
    from benchd.analysis.replay import verify_file

    bench = meta_of(named).get("bench", "?")
    with ExitStack() as held:
        with working("Every entry is read and its hash compared"):
            report = held.enter_context(checked(named, kept_of(named)))
        if report.clean:
            with working("The stored inputs run through the core"):
                verdict = verify_file(report.at)
        else:
            verdict = None
    (_verdict_data if options.json else _say_verdict)(report, bench, verdict)
    return OK if verdict is not None and verdict.same else WRONG


def _verdict_data(report: Report, bench: str, verdict: Verdict | None) -> None:
    from benchd.core.engine import CORE_VERSION

    told: dict[str, Any] = {"journal": report.path.name, "bench": bench, "same": False}
    if verdict is not None:
        told |= {
            "inputs": verdict.inputs,
            "decisions": verdict.decisions,
            "same": verdict.same,
            "differences": [one._asdict() for one in verdict.differences],
            "core_stored": verdict.core_version,
            "core_now": CORE_VERSION,
        }
    say(json.dumps(told | {"findings": report.findings, "notes": report.notes}))


def _say_verdict(report: Report, bench: str, verdict: Verdict | None) -> None:
    name = f"{report.path.name}, bench {bench}:"
    if verdict is None:
        say(view.plain(f"{name} WRONG, so it is not run through the core."))
    else:
        say(view.plain(name))
        _say_decisions(verdict)
    for sentence in (*report.findings, *report.notes):
        say(view.plain(f"  {sentence}"))


def _say_decisions(verdict: Verdict) -> None:
    from benchd.analysis.replay import DIFFERENCES_MAX
    from benchd.core.engine import CORE_VERSION

    counts = f"{verdict.inputs} inputs, {verdict.decisions} decisions"
    if verdict.core_version != CORE_VERSION:
        say(
            f"This journal was written by core version {verdict.core_version} and is run through "
            f"version {CORE_VERSION}: decisions may differ where the versions do; each is listed."
        )
    if verdict.same:
        say(f"{counts}: every decision comes out as stored.")
        return
    many = len(verdict.differences)
    more = " or more" if many >= DIFFERENCES_MAX else ""
    say(f"{counts}: {many}{more} differ.")
    for one in verdict.differences:
        stored, now = apart(one.stored, one.now)
        say(view.plain(f"  entry {one.n}, {one.stored.partition(' ')[0]}:"))
        say(view.plain(f"    stored {stored}"))
        say(view.plain(f"    now    {now}"))


BEFORE, AFTER = 24, 64
"""Characters shown before and after the place where two decisions begin to differ."""


def apart(stored: str, now: str) -> tuple[str, str]:
    """Return the parts of two texts around the place where they begin to differ."""
    pairs = zip(stored, now, strict=False)
    same = next(
        (at for at, (old, new) in enumerate(pairs) if old != new), min(len(stored), len(now))
    )

    def part(text: str) -> str:
        start, end = max(0, same - BEFORE), same + AFTER
        return f"{'...' if start else ''}{text[start:end]}{'...' if end < len(text) else ''}"

    return part(stored), part(now)


PARTS = {"replay": Parts(_options, replay)}
