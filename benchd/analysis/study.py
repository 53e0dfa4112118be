"""The study process: answers what the screens ask of past journals, and only reads.

`python -m benchd.cli.studying FOLDER` starts it: one JSON object a line in and out. A request is
{"id": 1, "ask": "timeline", "journal": NAME, "portion": N}; its answer has the same id, and a
`result` or an `error`, which is one sentence. It ends when its input ends, which is when whoever
started it is gone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any, BinaryIO

import msgspec

from benchd.analysis import lanes, timeline
from benchd.analysis.archive_format import all_in, list_all
from benchd.analysis.reader import Reader, reader_of
from benchd.analysis.why import CARD, WANTED, History
from benchd.diagnose.case import Bench, Case, held_against
from benchd.io.journal_format import JournalError

GOOD_MOST = 20
"""Good portions in a band at most: the nearest ones."""

UNREADABLE = (LookupError, TypeError, ValueError, AssertionError, AttributeError)
"""What damaged or foreign entries lead to, apart from JournalError."""

END = (
    "What is named fits the evidence; a person decides. Treat pressure, blade and drive as live "
    "all the same."
)


class Opened:
    """One journal or archive as it was when it was read, with what was made of it so far."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.last = self.reader.last()
        self.facts = timeline.facts_of(self.reader)
        self.spans = {span.portion.number: span for span in timeline.spans(self.reader)}
        history = History()
        history.read(entry for _, entry in self.reader.entries(kinds=WANTED, told=CARD))
        self.bench = Bench(history.portions(), history.fitted)
        self._levels = lanes.levels(self.reader, self.facts)
        self._traces: dict[int, lanes.Trace] = {}

    def trace(self, number: int) -> lanes.Trace:
        """Return a portion over time.

        Raises: JournalError when there is no such portion, or it cannot be read.
        """
        if number not in self.spans:
            raise JournalError(
                f"There is no portion {number} in this journal that ended: choose another."
            )
        if number not in self._traces:
            self._traces[number] = lanes.trace(self.reader, self.facts, self.spans[number])
        return self._traces[number]

    def levels(self, number: int) -> lanes.Levels | None:
        """Return the levels that the eye knew as this portion was made."""
        last = self.spans[number].last
        return [held for n, held in self._levels if n <= last][-1]

    def good(self, number: int) -> list[int]:
        """Return the portions that one may be held against, the nearest first."""
        one = next((one for one in self.bench.portions if one.number == number), None)
        if one is None:
            return []
        others = [other.number for other in self.bench.good_ones(one)]
        return [n for n in others if n in self.spans and self.spans[n].portion.events][:GOOD_MOST]


Tell = Callable[[Reader, Mapping[str, Any]], Any]
"""What answers one more request about a journal."""


class Study:
    """Answers requests about the journals and archives of one folder.

    `more`: requests that are answered elsewhere, by name; each is given the journal it is about.
    `alone`: such that are about none.
    """

    def __init__(
        self,
        folder: Path,
        more: Mapping[str, Tell] = MappingProxyType({}),
        alone: Mapping[str, Callable[[Mapping[str, Any]], Any]] = MappingProxyType({}),
    ) -> None:
        self._folder = folder
        self._reader: Reader | None = None
        """Of the journal or archive that was asked about last."""
        self._opened: Opened | None = None
        self._asks: dict[str, Callable[[Mapping[str, Any]], Any]] = {
            "journals": self._journals,
            "portions": self._portions,
            "timeline": self._timeline,
            "why": self._why,
            **alone,
        }
        for name, tell in more.items():
            self._asks[name] = partial(self._more, tell)

    def answer(self, line: bytes) -> bytes:
        """Return the answer to one line, without its newline; it never raises for a bad one."""
        number: Any = None
        try:
            asked = _request(line)
            number = asked.get("id")
            ask = self._asks.get(str(asked.get("ask")))
            if ask is None:
                known = ", ".join(self._asks)
                raise JournalError(f"The study process answers {known}, and nothing else.")
            return msgspec.json.encode({"id": number, "result": ask(asked)})
        except (JournalError, OSError) as error:
            said = str(error)
        except UNREADABLE as error:
            said = (
                "This cannot be read by this version, as it is damaged or was written otherwise "
                f"({type(error).__name__}: {error}); 'benchd journal check' tells more."
            )
        return msgspec.json.encode({"id": number, "error": " ".join(said.split())})

    def _reader_of(self, asked: Mapping[str, Any]) -> Reader:
        name = str(asked.get("journal"))
        path = next((path for path in all_in(self._folder) if path.name == name), None)
        if path is None:
            raise JournalError(f"There is no journal {name} of this bench any more.")
        if self._reader is None or self._reader.path != path:
            self._reader = self._opened = None
            self._reader = reader_of(path)
        return self._reader

    def _open(self, asked: Mapping[str, Any], *, fresh: bool = False) -> Opened:
        reader, kept = self._reader_of(asked), self._opened
        # A journal that is being written grows with every sample: only a new list reads again.
        if kept is None or (fresh and kept.reader.last() != kept.last):
            self._opened = kept = Opened(reader)
        return kept

    def _more(self, tell: Tell, asked: Mapping[str, Any]) -> Any:
        return tell(self._reader_of(asked), asked)

    def _journals(self, asked: Mapping[str, Any]) -> list[dict[str, Any]]:
        """The journals, the newest first."""
        return [
            {
                "name": facts.path.name,
                "opened_us": facts.opened_us,
                "state": facts.state,
                "entries": facts.entries,
                "problem": facts.problem,
            }
            for facts in reversed(list_all(self._folder))
        ]

    def _portions(self, asked: Mapping[str, Any]) -> list[dict[str, Any]]:
        return [_head(span) for span in self._open(asked, fresh=True).spans.values()]

    def _timeline(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        journal, number = self._open(asked), _number(asked)
        one = journal.trace(number)
        good = journal.good(number)
        others = [journal.trace(other) for other in good]
        return {
            **_head(journal.spans[number]),
            **one._asdict(),
            "good": good,
            "levels": {"eye": journal.levels(number)},
            "at_s": {name: one.begins(name) for name in lanes.ALIGNED},
            "band": {name: lanes.band(one, others, name) for name in lanes.ALIGNED},
        }

    def _why(self, asked: Mapping[str, Any]) -> list[str]:
        journal, number = self._open(asked), _number(asked)
        known = [one for one in journal.bench.portions if one.number == number]
        if not known:
            raise JournalError(f"There is no portion {number} in this journal: choose another.")
        return list(why_lines(journal.bench.case(known[0])))


def _request(line: bytes) -> dict[str, Any]:
    try:
        return msgspec.json.decode(line, type=dict[str, Any])
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise JournalError(f"The request is no JSON object ({error}).") from error


def _number(asked: Mapping[str, Any]) -> int:
    number = asked.get("portion")
    if not isinstance(number, int):
        raise JournalError("The number of the portion is missing.")
    return number


def _head(span: timeline.Span) -> dict[str, Any]:
    record = span.portion.record
    return {
        "number": span.portion.number,
        "class": record["class"],
        "outcome": record["outcome"],
        "tube": str(record.get("tube") or ""),
        "mass_kg": span.portion.mass_kg,
    }


def why_lines(case: Case) -> Iterator[str]:
    """Give what was found of a portion and the first causes, one sentence each."""
    found = "; ".join(one.words for one in case.seen)
    yield f"Found: {found or 'nothing that was measured is off its usual'}."
    together = case.opinion.together
    if not together:
        yield "Cause: can't tell, as nothing that was found points to one."
    else:
        names = "; ".join(f"{one.cause.code} {one.cause.name}" for one in together)
        told = "Likely" if len(together) == 1 else "One of, and these sensors can't tell which"
        yield f"{told}: {names}."
        yield f"Next check: {together[0].cause.check}"
        if together[0].cause.caution:
            yield f"CAUTION: {together[0].cause.caution}"
    yield held_against(case)
    yield END


def serve(
    folder: Path,
    asked: BinaryIO,
    told: BinaryIO,
    more: Mapping[str, Tell] = MappingProxyType({}),
    alone: Mapping[str, Callable[[Mapping[str, Any]], Any]] = MappingProxyType({}),
) -> None:
    """Answer line by line until there are no more."""
    study = Study(folder, more, alone)
    try:
        for line in asked:
            told.write(study.answer(line) + b"\n")
            told.flush()
    except BrokenPipeError:
        return
