"""`benchd replay`: a past portion's time line, and whether today's core decides as it did then."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from benchd.cli.command import OK, WRONG, Parts, Wrong, say, whole_from
from benchd.cli.journals import find
from benchd.cli.progress import working
from tui import view


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--bench", metavar="NAME", help="of this bench")
    parser.add_argument("--json", action="store_true", help="print the verdict as JSON")
    parser.add_argument(
        "journal", nargs="?", help="path, or start of its name; the newest if not given"
    )
    parser.add_argument("--portion", type=whole_from(1, 2**31), help="only this portion")
    parser.add_argument(
        "--verify", action="store_true", help="run the stored inputs through the core and compare"
    )


def replay(options: argparse.Namespace) -> int:
    """Show or verify; nothing moves."""
    from benchd.analysis.archive_format import readable
    from benchd.io.journal_format import JournalError

    try:
        with readable(find(options.journal, options.bench)) as path:
            return _verify(options, path) if options.verify else _lines(options, path)
    except JournalError as error:
        raise Wrong(str(error)) from None


def _lines(options: argparse.Namespace, path: Path) -> int:
    from benchd.analysis import timeline

    if options.portion is None:
        lines = timeline.series_lines(path)
    else:
        lines = timeline.portion_lines(path, options.portion)
    for line in lines:
        say(view.plain(line))
    return OK


def _verify(options: argparse.Namespace, path: Path) -> int:
    from benchd.analysis.replay import DIFFERENCES_MAX, verify_file
    from benchd.core.engine import CORE_VERSION

    with working("The stored inputs run through the core"):
        verdict = verify_file(path)
    if options.json:
        differences = [one._asdict() for one in verdict.differences]
        say(
            json.dumps(
                {"inputs": verdict.inputs, "decisions": verdict.decisions}
                | {"same": verdict.same, "differences": differences}
                | {"core_stored": verdict.core_version, "core_now": CORE_VERSION}
            )
        )
        return OK if verdict.same else WRONG
    counts = f"{verdict.inputs} inputs, {verdict.decisions} decisions"
    if verdict.core_version != CORE_VERSION:
        say(
            f"This journal was written by core version {verdict.core_version} and is run through "
            f"version {CORE_VERSION}: decisions may differ where the versions do; each is listed."
        )
    if verdict.same:
        say(f"{counts}: every decision comes out as stored.")
        return OK
    many = len(verdict.differences)
    more = " or more" if many >= DIFFERENCES_MAX else ""
    say(f"{counts}: {many}{more} differ.")
    for one in verdict.differences:
        stored, now = apart(one.stored, one.now)
        say(view.plain(f"  entry {one.n}, {one.stored.partition(' ')[0]}:"))
        say(view.plain(f"    stored {stored}"))
        say(view.plain(f"    now    {now}"))
    return WRONG


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
