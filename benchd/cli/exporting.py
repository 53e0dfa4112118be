"""`benchd journal export`, `archive`, `restore`: journals as files for other programs, and back."""

from __future__ import annotations

import argparse
import gc
import json
import os
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import IO, TYPE_CHECKING

from benchd.cli.command import OK, Usage, Wrong, say, whole_from
from benchd.cli.journal_words import told
from benchd.cli.progress import working
from tui import view

if TYPE_CHECKING:
    from benchd.analysis.reader import JournalReader

WHATS = ("events", "portions", "weights", "samples")
FORMATS = {".csv": "csv", ".jsonl": "jsonl", ".parquet": "parquet"}
"""End of a file's name to its format."""

NAMED = "path, or start of its name; the newest if not given"


def add_export(export: argparse.ArgumentParser) -> None:
    """Add the options of `export`."""
    export.add_argument("journal", nargs="?", help=NAMED)
    export.add_argument("--what", choices=WHATS, default="events", help="default: events")
    export.add_argument("--portion", type=whole_from(1, 2**31), help="only of this portion")
    export.add_argument(
        "--everything", action="store_true", help="of events, also readings, beats, what was sent"
    )
    export.add_argument(
        "--to", metavar="FILE", help="ends in .csv, .jsonl or .parquet; default: standard output"
    )
    export.add_argument(
        "--format", choices=sorted(FORMATS.values()), help="where the file's name does not say it"
    )
    export.add_argument("--overwrite", action="store_true", help="replace a file that is there")


def add_archive(archive: argparse.ArgumentParser) -> None:
    """Add the options of `archive`."""
    archive.add_argument("journal", nargs="?", help=NAMED)
    archive.add_argument(
        "--remove", action="store_true", help="delete the journal once its archive is verified"
    )


def add_restore(restore: argparse.ArgumentParser) -> None:
    """Add the options of `restore`."""
    restore.add_argument("journal", metavar="archive", help="path, or start of its name")
    restore.add_argument("--to", metavar="FILE", help="default: beside the archive")


def form_of(to: str | None, asked: str | None) -> str:
    """Return the format: as asked, else by the end of the file's name, else CSV.

    Raises: Usage when the name does not say it.
    """
    if asked is not None:
        return asked
    if to is None:
        return "csv"
    form = FORMATS.get(Path(to).suffix.lower())
    if form is None:
        raise Usage(f"'{to}' does not say the format: end it in {', '.join(FORMATS)}, or --format.")
    return form


def export(options: argparse.Namespace, path: Path) -> int:
    """Write the rows asked for; raises JournalError."""
    from benchd.analysis.archive_format import readable
    from benchd.analysis.reader import JournalReader

    form = form_of(options.to, options.format)
    if options.everything and options.what != "events":
        raise Usage("--everything goes with --what events.")
    if options.to is None and form == "parquet" and sys.stdout.isatty():
        raise Usage("Parquet is no text for a terminal: name a file with --to.")
    with _progress("The journal is exported"), readable(path) as journal:
        reader = JournalReader(journal)
        if options.to is None:
            _to_standard_output(options, reader, form)
            return OK
        from benchd.analysis.export_files import whole_file

        with whole_file(Path(options.to), overwrite=options.overwrite) as file:
            rows = _write(options, reader, form, file)
    say(view.plain(f"{options.to}: {rows} {options.what}"))
    return OK


def _to_standard_output(options: argparse.Namespace, reader: JournalReader, form: str) -> None:
    try:
        sys.stdout.flush()
        # Of its own, since Python's may be unbuffered, and then writes what fits and no more.
        with open(sys.stdout.fileno(), "wb", closefd=False) as file:
            _write(options, reader, form, file)
    except BrokenPipeError:
        raise
    except OSError as error:
        # What could not be written must not be tried again at the very end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise Wrong(
            f"Standard output could not be written to the end ({error.strerror or error}), so what "
            "is there is not the whole. Free some space, or name a file with --to."
        ) from None


def _write(options: argparse.Namespace, reader: JournalReader, form: str, file: IO[bytes]) -> int:
    from benchd.analysis.export import Choice, batches, schema_of
    from benchd.analysis.export_columns import EXPORTS
    from benchd.analysis.export_files import writer_of

    kept_json = frozenset(one.name for one in EXPORTS[options.what] if one.type == "json")
    writer = writer_of(form, file, schema_of(options.what), kept_json)
    choice = Choice(options.what, options.portion, options.everything)
    rows = 0
    with _no_cycles():
        for batch in batches(reader, choice, told):
            writer.write(batch.table)
            rows += len(batch.table)
    writer.close()
    return rows


def _progress(label: str) -> AbstractContextManager[None]:
    """Show progress to a person, and say nothing into a log beside the file."""
    return working(label) if sys.stderr.isatty() else nullcontext()


@contextmanager
def _no_cycles() -> Iterator[None]:
    """Look for no cycles: millions of rows come and go, none in a cycle, and looking through them
    again and again takes up to a quarter of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def archive(options: argparse.Namespace, path: Path) -> int:
    """Archive one closed journal; raises JournalError."""
    from benchd.analysis import archive as archives
    from benchd.analysis.archive_format import is_archive

    if is_archive(path):
        raise Usage(f"{path.name} is an archive already.")
    archives.refuse_open(path)
    if options.remove:
        archives.refuse_newest(path)
    with _progress("The journal is archived, and read back to compare"):
        with _no_cycles():
            facts = archives.archive(path)
        if options.remove:
            archives.remove(path)
    if options.json:
        found = {"path": str(facts.path), "entries": facts.entries, "head": facts.head}
        say(json.dumps(found | {"size_bytes": facts.size_bytes, "removed": options.remove}))
        return OK
    each = f", {facts.size_bytes / facts.entries:.1f} bytes an entry" if facts.entries else ""
    fate = "deleted" if options.remove else "kept"
    say(
        view.plain(
            f"{facts.path}: {facts.entries} entries{each}; read back and found the same. "
            f"The journal is {fate}."
        )
    )
    return OK


def restore(options: argparse.Namespace, path: Path) -> int:
    """Make a journal of an archive; raises JournalError."""
    from benchd.analysis import archive_format as form

    if not form.is_archive(path):
        raise Usage(f"{path.name} is no archive.")
    target = Path(options.to) if options.to else path.with_name(form.journal_name(path))
    with _progress("The journal is restored"), _no_cycles():
        form.restore(path, target)
    entries = form.facts_of(path).entries
    if options.json:
        say(json.dumps({"path": str(target), "entries": entries}))
    else:
        say(view.plain(f"{target}: {entries} entries, the same as were archived."))
    return OK
