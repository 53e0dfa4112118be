"""Is a journal as it was written?

The check recomputes the hash over everything and compares it at every commit, compares the
tables with those this program makes, and lets SQLite examine its own structures. What it cannot
see by itself: a tail that was cut off, or a file that was rewritten as a whole, hashes included.
Both show against a head kept elsewhere, and against nothing else, and the report says so.
Not under the hash is the wall time of each commit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from benchd.analysis.archive_format import all_in, journal_name, meta_of, readable
from benchd.analysis.reader import JournalReader, JournalState, Seal, opened
from benchd.io.journal_format import (
    META_BENCH,
    META_PREVIOUS_HEAD,
    Chain,
    JournalError,
    Row,
    row_lines,
    views_of_meta,
)
from benchd.io.migrations import schema_sql

NO_KEPT_HEAD = (
    "A cut tail or a whole rewrite shows only against a head kept elsewhere; none was given."
)
HEAD_NOT_KNOWN = (
    "Whether its tail was cut, or it was rewritten, is not known: {later} may carry its head and "
    "cannot be read. Give one kept elsewhere: 'benchd journal check {name} --head HASH'."
)
# Rows hashed in one go while a commit is walked through.
_STRIDE = 5_000
_BEFORE_ALL = Seal(0, 0, 0, b"")


class Kept(NamedTuple):
    """A head of a journal that is kept elsewhere (64 hexadecimal digits), from its end or from any
    earlier commit; where there is none, the note that says so."""

    head: str | None = None
    why_none: str = NO_KEPT_HEAD


@dataclass(slots=True)
class Report:
    """What a check found. Each finding and each note is one sentence.

    findings: what is wrong; none when the file is as it was written. notes: what could not be
    seen, or is worth knowing and not wrong. bad_commit: the first commit that is not as it was
    written. head: the hash that the file itself claims, 64 hexadecimal digits.
    """

    path: Path
    at: Path
    """What was read: the same, or what an archive was restored to for as long as it is held."""
    findings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    state: JournalState | None = None
    entries: int = 0
    commits: int = 0
    head: str | None = None
    bad_commit: int | None = None

    @property
    def clean(self) -> bool:
        """Whether nothing is wrong as far as the check can see."""
        return not self.findings


def check(path: Path, expected_head: str | None = None) -> Report:
    """Examine one journal or archive; never changes it, never raises for what is in it.

    expected_head: a head of this journal kept elsewhere (64 hexadecimal digits), from its end or
    from any earlier commit.
    """
    return _report(path, Kept(expected_head))


def _report(path: Path, kept: Kept) -> Report:
    with checked(path, kept) as report:
        return report


@contextmanager
def checked(path: Path, kept: Kept) -> Iterator[Report]:
    """Examine one journal or archive as `check` does, and hold what was read for who goes on with
    it."""
    report = Report(path, path)
    with ExitStack() as held:
        try:
            report.at = held.enter_context(readable(path))
            _check(report, kept)
        except JournalError as error:
            report.findings.append(str(error))
        # A damaged file can hold anything; the answer is still a report.
        except Exception as error:
            report.findings.append(f"{path.name} is damaged: {type(error).__name__}, {error}.")
        yield report


def check_kept(path: Path) -> Report:
    """Examine one journal or archive, held against what is kept of it in its folder."""
    return _report(path, kept_of(path))


def check_folder(folder: Path) -> list[Report]:
    """Examine all journals and archives in a folder, oldest first, each as `check_kept` does."""
    found = all_in(folder)
    return [_report(path, _carried(path, found[n + 1 :])) for n, path in enumerate(found)]


def kept_of(path: Path) -> Kept:
    """Return the head of this journal that a later one in the same folder carries."""
    later = (one for one in all_in(path.parent) if journal_name(one) > journal_name(path))
    return _carried(path, later)


def _carried(path: Path, later: Iterable[Path]) -> Kept:
    """Return the head that the next journal of the same bench carries from this one. Where one
    between cannot be read, that one may be the next."""
    try:
        bench = meta_of(path).get(META_BENCH)
    except JournalError:
        return Kept()  # Its own check says why.
    for one in later:
        try:
            meta = meta_of(one)
        except JournalError:
            return Kept(None, HEAD_NOT_KNOWN.format(name=path.name, later=one.name))
        if meta.get(META_BENCH) == bench:
            return Kept(meta.get(META_PREVIOUS_HEAD) or None)
    return Kept()


def _check(report: Report, kept: Kept) -> None:
    reader = JournalReader(report.at)
    report.state = reader.state()
    newest_seals = reader.seals_at_end(1)
    if not newest_seals:
        report.findings.append(f"{report.path.name} has no seals: nothing vouches for its entries.")
        return
    report.commits, report.entries = newest_seals[0].n, newest_seals[0].last
    report.head = newest_seals[0].hash.hex()
    walk = _walk(reader, report.commits, kept.head)
    _judge_walk(report, walk)
    _judge_kept_head(report, walk, kept)
    _check_numbers(report)
    _check_tables(report, reader.meta)
    _check_structure(report)
    if report.state is JournalState.CUT_SHORT:
        report.notes.append("The journal was cut short: it ends with its last commit.")


@dataclass(slots=True)
class _Walk:
    """What the walk along the seals saw."""

    previous: Seal = _BEFORE_ALL
    # The first commit whose hash does not hold, and the last entry before it.
    bad_commit: int | None = None
    bad_after: int = 0
    bad_last: int = 0
    good_commit: int = 0
    kept_commit: int | None = None
    problem: str | None = None


def _walk(reader: JournalReader, commits: int, kept_head: str | None) -> _Walk:
    """Recompute the hash along the first so many seals."""
    walk = _Walk()
    chain, rows = Chain(reader.meta), reader.rows()
    try:
        for seal in reader.seals():
            if seal.n > commits:
                break  # Written since the check began.
            _check_numbering(walk.previous, seal)
            _take_commit(chain, rows, walk.previous.last, seal)
            _note_seal(walk, seal, chain.digest() == seal.hash, kept_head)
    except JournalError as error:
        walk.problem = str(error)
        if walk.bad_commit is None:
            walk.bad_commit = walk.previous.n + 1
    return walk


def _check_numbering(previous: Seal, seal: Seal) -> None:
    if seal.n != previous.n + 1:
        raise JournalError(f"Commit {previous.n + 1} is missing.")
    if seal.last < previous.last or (seal.n == 1 and seal.last != 0):
        raise JournalError(f"The seal of commit {seal.n} was changed: it names a wrong last entry.")


def _take_commit(chain: Chain, rows: Iterator[Row], after: int, seal: Seal) -> None:
    """Put the rows of one commit under the hash."""
    while after < seal.last:
        block = list(islice(rows, min(_STRIDE, seal.last - after)))
        numbers = [row[0] for row in block]
        if not block or numbers != list(range(after + 1, after + 1 + len(block))):
            gap = next((n for n, m in enumerate(numbers, after + 1) if n != m), after + 1)
            raise JournalError(f"Entry {gap} is missing; commit {seal.n} had it.")
        chain.add(row_lines(block))
        after = numbers[-1]


def _note_seal(walk: _Walk, seal: Seal, holds: bool, kept_head: str | None) -> None:
    if holds:
        walk.good_commit = seal.n
    elif walk.bad_commit is None:
        walk.bad_commit = seal.n
        walk.bad_after, walk.bad_last = walk.previous.last, seal.last
    if kept_head is not None and seal.hash.hex() == kept_head.lower():
        walk.kept_commit = seal.n
    walk.previous = seal


def _judge_walk(report: Report, walk: _Walk) -> None:
    report.bad_commit = walk.bad_commit
    if walk.problem is not None:
        report.findings.append(walk.problem)
    if walk.bad_commit is None or walk.bad_commit > walk.previous.n:
        return
    if walk.good_commit > walk.bad_commit:
        # The hash runs over everything before it, so a later one vouches for the entries.
        sentence = f"The seal of commit {walk.bad_commit} was changed; no entry under it was."
    elif walk.bad_commit == 1:
        sentence = "What the journal says of itself (its meta, or its first seal) was changed."
    elif walk.bad_last == walk.bad_after:
        sentence = f"The seal of commit {walk.bad_commit}, which closes the journal, was changed."
    else:
        sentence = (
            f"Commit {walk.bad_commit} (entries {walk.bad_after + 1} to {walk.bad_last}) is not "
            "as it was written; from there on nothing vouches for the journal."
        )
    report.findings.append(sentence)


def _judge_kept_head(report: Report, walk: _Walk, kept: Kept) -> None:
    kept_head = kept.head
    if kept_head is None:
        report.notes.append(kept.why_none)
    elif walk.kept_commit is None and walk.problem is None:
        report.findings.append(
            f"The head kept elsewhere ({kept_head[:12]}...) is that of no commit in this file: its "
            "tail was cut off, it was rewritten, or that head belongs to another journal."
        )
    elif walk.kept_commit is not None and report.head != kept_head.lower():
        report.notes.append(
            f"The head kept elsewhere is that of commit {walk.kept_commit} of {report.commits}; "
            "what follows it could have been cut unseen."
        )


def _check_numbers(report: Report) -> None:
    """Entries outside 1 to the last sealed; gaps inside show in the walk."""
    with opened(report.at) as connection:
        # One statement sees one state of a file that is being written.
        sealed, first, last = connection.execute(
            "SELECT (SELECT max(last) FROM seal), min(n), max(n) FROM entry"
        ).fetchone()
    if last is not None and last > sealed:
        report.findings.append(
            f"Entries {sealed + 1} to {last} follow the last commit: the program that wrote this "
            "journal never does that."
        )
    if first is not None and first < 1:
        report.findings.append(f"Entry {first} stands before the first number, which is 1.")


def _check_tables(report: Report, meta: Mapping[str, str]) -> None:
    with opened(report.at) as connection:
        found = {sql for (sql,) in connection.execute("SELECT sql FROM sqlite_schema")}
    if found != schema_sql(views_of_meta(meta)):
        report.findings.append("The tables or views of the journal were changed.")


def _check_structure(report: Report) -> None:
    with opened(report.at) as connection:
        messages = [text for (text,) in connection.execute("PRAGMA integrity_check(3)")]
    if messages != ["ok"]:
        report.findings.append(f"The file is damaged: {'; '.join(map(str, messages))}.")
