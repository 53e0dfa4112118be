"""`benchd journal`: the journals on this machine, and the archives of journals that are gone."""

from __future__ import annotations

import argparse
import json
import time
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import suppress
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchd.cli.command import OK, WRONG, Parser, Parts, Usage, Wrong, say, whole_from
from benchd.cli.exporting import NAMED, add_archive, add_export, add_restore
from benchd.cli.journal_words import told
from benchd.cli.progress import working
from benchd.io import paths
from tui import view

if TYPE_CHECKING:
    from benchd.analysis.reader import JournalFacts, JournalReader, Reader
    from benchd.io.journal_format import Entry

SUFFIX = ".journal"
NONE = "There is no journal on this machine yet: 'benchd serve CARD' writes one."


def _options(parser: argparse.ArgumentParser) -> None:
    ways = parser.add_subparsers(dest="way", required=True, parser_class=Parser)
    listing = ways.add_parser("list", help="every journal, oldest first")
    show = ways.add_parser("show", help="what happened, in order of time")
    show.add_argument("journal", nargs="?", help=NAMED)
    show.add_argument("--kind", action="append", default=[], help="only this kind, such as weight")
    show.add_argument("--portion", type=whole_from(1, 2**31), help="only about this portion")
    show.add_argument("--last", type=whole_from(1, 10**9), help="only the last so many")
    show.add_argument(
        "--everything", action="store_true", help="also what was told to the core, and decided"
    )
    check = ways.add_parser("check", help="whether journals are as they were written")
    check.add_argument("journal", nargs="?", help="path, or start of its name; all if not given")
    check.add_argument("--head", metavar="HASH", help="a head of it that was kept elsewhere")
    export = ways.add_parser("export", help="events, portions, weights or samples as a file")
    archive = ways.add_parser("archive", help="one small Parquet file of a closed journal")
    restore = ways.add_parser("restore", help="the journal that an archive was made of")
    for way, add in ((export, add_export), (archive, add_archive), (restore, add_restore)):
        add(way)
    for way in (listing, show, check, export, archive, restore):
        way.add_argument("--bench", metavar="NAME", help="only of this bench")
        if way is not export:
            way.add_argument("--json", action="store_true", help="one JSON object a line")


def folders(bench: str | None) -> list[Path]:
    """Return the folders in which journals of a bench, or of all, lie."""
    if bench:
        return [Path(paths.state_dir(bench))]
    return [Path(folder) for folder in paths.all_state_dirs()]


def _known(bench: str | None) -> list[Path]:
    """The journals and archives of a bench, or of all, oldest first."""
    from benchd.analysis.archive_format import all_in

    known = (path for folder in folders(bench) for path in all_in(folder))
    return sorted(known, key=lambda path: path.name)


def find(name: str | None, bench: str | None, portion: int | None = None) -> Path:
    """Return one journal or archive: a path, the only one whose name starts so, or the newest; of
    the newest that has a portion, if there is one.

    Raises: Wrong when there is none, Usage when a name fits several.
    """
    if name is not None and Path(name).is_file():
        return Path(name)
    known = _known(bench)
    if name is None:
        if not known:
            raise Wrong(NONE)
        return (portion and newest_with("portion", bench, portion)) or known[-1]
    fitting = [path for path in known if path.name.startswith(name)]
    if not fitting:
        raise Wrong(f"There is no journal '{name}'; see 'benchd journal list'.")
    if len(fitting) > 1:
        raise Usage(f"'{name}' fits {len(fitting)} journals; write more of the name.")
    return fitting[0]


def newest_with(record: str, bench: str | None, number: int | None = None) -> Path | None:
    """Return the newest journal that has such a record, and of this number if one is given.

    A journal that cannot be read is passed over.
    """
    from benchd.analysis.reader import reader_of
    from benchd.core.ledger import RECORDS
    from benchd.io.journal_format import JournalError

    with working("The journals are looked through"):
        for path in reversed(_known(bench)):
            with suppress(JournalError):
                for _, entry in reader_of(path).entries(kinds={RECORDS[record]}):
                    if number in (None, _decoded(entry.text or "").get("number")):
                        return path
    return None


def older_one(record: str, named: object, bench: str | None) -> str:
    """Return what follows a sentence that the newest journal has no such record: the name of one
    that has; nothing where journals were named, or none has it."""
    path = None if named else newest_with(record, bench)
    if path is None:
        return ""
    from benchd.analysis.archive_format import meta_of

    return f" An older journal has some: {path.name}, of bench {meta_of(path).get('bench', '?')}."


def _list(options: argparse.Namespace) -> int:
    from benchd.analysis.archive_format import list_all

    with working("The journals are looked at"):
        found = [facts for folder in folders(options.bench) for facts in list_all(folder)]
    for facts in found:
        say(json.dumps(_facts_json(facts)) if options.json else _facts_line(facts))
    if not found and not options.json:
        say(NONE)
    return OK


def _facts_json(facts: JournalFacts) -> dict[str, Any]:
    return {
        "path": str(facts.path),
        "bench": facts.bench,
        "opened_us": facts.opened_us,
        "state": facts.state,
        "entries": facts.entries,
        "size_bytes": facts.size_bytes,
        "head": facts.head,
        "problem": facts.problem,
    }


def _facts_line(facts: JournalFacts) -> str:
    if facts.problem:
        return view.plain(f"{facts.path}: {facts.problem}")
    size = f"{facts.size_bytes / 1e3:.0f} kB"
    state = f"{facts.state}, archive" if facts.path.suffix != SUFFIX else facts.state
    return view.plain(
        f"{facts.path.name}  bench {facts.bench}  {state}  {facts.entries} entries  {size}"
    )


def _show(options: argparse.Namespace) -> int:
    from benchd.analysis.archive_format import readable
    from benchd.analysis.reader import JournalReader

    kinds = kinds_of(options.kind, everything=options.everything)
    with readable(find(options.journal, options.bench, options.portion)) as path:
        _show_lines(options, JournalReader(path), kinds)
    return OK


def _show_lines(
    options: argparse.Namespace, reader: JournalReader, kinds: frozenset[int] | None
) -> None:
    lines = _lines(reader, kinds, options.portion, options.json)
    # From the first line on the lines themselves show that it goes on.
    with working("The journal is read"):
        if options.last is not None:
            lines = iter(deque(lines, options.last))
        first = list(islice(lines, 1))
    if not options.json:
        bench = reader.meta.get("bench", "?")
        zone = time.strftime("%Z")
        say(f"{reader.path.name}: bench {bench}; time of day ({zone}), and time from its opening.")
    for line in chain(first, lines):
        say(line)


def kinds_of(asked: Sequence[str], *, everything: bool) -> frozenset[int] | None:
    """Return the codes to show; None for all.

    Raises: Usage for a kind that does not exist.
    """
    from benchd.core import ledger

    if everything and not asked:
        return None
    if not asked:
        hidden = {"carry", "control", "greeting"}
        return frozenset(code for name, code in ledger.RECORDS.items() if name not in hidden)
    known = {name: kind for name, kind, _ in ledger.views()}
    unknown = [name for name in asked if name not in known]
    if unknown:
        raise Usage(f"There is no kind '{unknown[0]}'; the kinds are {', '.join(sorted(known))}.")
    return frozenset(known[name] for name in asked)


def _lines(
    reader: JournalReader, kinds: frozenset[int] | None, portion: int | None, as_json: bool
) -> Iterator[str]:
    from benchd.analysis.day_times import DayTimes

    start_ns: int | None = next((entry.t_ns for _, entry in reader.entries()), None)
    times = DayTimes(reader)
    for n, entry in reader.entries(kinds=kinds):
        name, data = columns_of(reader, entry)
        if portion is not None and portion not in (data.get("portion"), data.get("number")):
            continue
        if as_json:
            told_us = times.wall_us(entry.t_ns)
            moment = {"n": n, "t_ns": entry.t_ns, "wall_us": told_us}
            yield json.dumps(moment | {"kind": name, "data": data})
        else:
            at_s = (entry.t_ns - (start_ns or 0)) / 1e9
            day = time_of_day(times.wall_us(entry.t_ns))
            yield view.plain(f"{day}  {at_s:>11.3f} s  {name:<8}  {told(name, data)}")


def columns_of(reader: Reader, entry: Entry) -> tuple[str, dict[str, Any]]:
    """Return the kind of an entry, and its values by name."""
    row = reader.view_of.get(entry.kind)
    if entry.text:
        data = _decoded(entry.text)
    else:
        data = dict(zip(row.columns, entry.values, strict=False)) if row else {}
    return row.name if row is not None else str(entry.kind), data


def time_of_day(wall_us: int | None) -> str:
    """Return a time of day as the clock of this machine shows it, blanks where nobody knows it."""
    if wall_us is None:
        return " " * 8
    return time.strftime("%H:%M:%S", time.localtime(wall_us // 1_000_000))


def _decoded(text: str) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except ValueError:
        return {"text": text}
    return data if isinstance(data, dict) else {"text": text}


def _check(options: argparse.Namespace) -> int:
    from benchd.analysis.integrity import check, check_folder, check_kept

    with working("Every entry is read and its hash compared"):
        if options.head is not None:
            reports = [check(find(options.journal, options.bench), options.head)]
        elif options.journal is not None:
            reports = [check_kept(find(options.journal, options.bench))]
        else:
            reports = [one for folder in folders(options.bench) for one in check_folder(folder)]
    for report in reports:
        if options.json:
            found = {"path": str(report.path), "clean": report.clean, "head": report.head}
            say(json.dumps(found | {"findings": report.findings, "notes": report.notes}))
            continue
        verdict = "as it was written" if report.clean else "WRONG"
        counts = f"{report.entries} entries in {report.commits} commits"
        say(view.plain(f"{report.path.name}: {verdict}; {counts}; head {report.head}"))
        for sentence in (*report.findings, *report.notes):
            say(view.plain(f"  {sentence}"))
    if not reports and not options.json:
        say(NONE)
    return OK if all(report.clean for report in reports) else WRONG


def journal(options: argparse.Namespace) -> int:
    """List, show, check, export, archive or restore."""
    from benchd.cli import exporting
    from benchd.io.journal_format import JournalError

    on_one = {
        "export": exporting.export, "archive": exporting.archive, "restore": exporting.restore,
    }  # fmt: skip
    try:
        if options.way in on_one:
            return on_one[options.way](options, find(options.journal, options.bench))
        return {"list": _list, "show": _show, "check": _check}[options.way](options)
    except JournalError as error:
        raise Wrong(str(error)) from None


PARTS = {"journal": Parts(_options, journal)}
