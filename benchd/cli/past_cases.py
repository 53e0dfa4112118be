"""`benchd why --found`: verdicts of past cases that are noted in any journal or archive."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from benchd.cli.command import OK, note, say
from benchd.cli.journals import folders
from benchd.cli.page import utc
from benchd.cli.progress import working
from tui import view


class PastCase(NamedTuple):
    """A person's verdict. wall_us: when it was noted, UTC; None where that is not known."""

    wall_us: int | None
    bench: str
    portion: int | None
    text: str
    journal: str


def search(words: list[str], bench: str | None, *, as_json: bool) -> int:
    """Tell the past verdicts that hold all these words, the newest last."""
    from benchd.analysis.archive_format import all_in
    from benchd.io.journal_format import JournalError

    found: list[PastCase] = []
    with working("The journals are searched"):
        for path in (path for folder in folders(bench) for path in all_in(folder)):
            try:
                found += [one for one in _cases(path) if _fits(one, words)]
            except JournalError as error:
                note(f"{error} It was left out.")
    found.sort(key=lambda one: one.wall_us or 0)
    if as_json:
        say(json.dumps({"found": [one._asdict() for one in found]}))
        return OK
    for one in found:
        say(_line(one))
    if not found:
        say(
            "No verdict that fits is noted in any journal here. One is noted with "
            "'benchd why --portion N --case FILE --verdict TEXT' while the daemon runs; what "
            "stands in a case file alone is not searched."
        )
    return OK


def _fits(one: PastCase, words: list[str]) -> bool:
    text = f"{one.text} {one.bench}".lower()
    return all(word.lower() in text for word in words)


def _line(one: PastCase) -> str:
    which = "no portion" if one.portion is None else f"portion {one.portion}"
    return view.plain(f"{utc(one.wall_us)}  {one.bench}, {which}: {one.text}  ({one.journal})")


def _cases(path: Path) -> Iterator[PastCase]:
    from benchd.analysis.notes import read_notes
    from benchd.analysis.reader import reader_of

    reader = reader_of(path)
    for noted in read_notes(reader):
        if noted.verdict is not None:
            bench = reader.meta.get("bench", "")
            yield PastCase(noted.wall_us, bench, noted.portion, noted.verdict, path.name)
