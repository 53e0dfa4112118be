"""What happened around the portions of one bench's journals: interlocks, link, cards, tubes,
cleaning; for the page of a day."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from benchd.analysis.day_times import DayTimes
from benchd.analysis.notes import Noted
from benchd.analysis.reader import Reader, oldest_first
from benchd.core import ledger
from benchd.io.journal_format import META_BENCH, Entry, opened_us_of
from protocols import messages as m
from protocols.codes import CAUSES

_KINDS = frozenset(
    {ledger.INPUT, m.Boot.code}
    | {
        ledger.RECORDS[name]
        for name in ("trip", "link", "gap", "tube", "note", "by_hand", "series", "portion")
    }
)
_WORTH = ('"line-fault"', '"opened"', '"tolerance"')


class SeveralBenches(Exception):
    """Journals that make no page together, as they are of several benches."""


class Trip(msgspec.Struct):
    """An interlock that tripped. Times are us since 1970, UTC; None where not known or still up."""

    interlock: str
    text: str
    up_us: int | None
    portion: int | None
    """The last portion that had ended by then."""
    cleared_us: int | None = None
    is_up: bool = True


class Card(NamedTuple):
    """A card that was in force. mark: the first digits of its text's SHA-256."""

    kind: str
    name: str
    mark: str
    words: str
    since_us: int | None


class TubeIn(msgspec.Struct):
    """A tube that was in the bench."""

    tube: str
    lot: str
    in_us: int | None
    out_us: int | None = None
    portions: int = 0
    before: bool = False
    """Whether it came in before the journal that first tells of it."""


class Touched(NamedTuple):
    """A moment at which dough was at the parts, us since 1970, UTC; None where not known. before:
    whether it was there already when the journal began, which that moment is."""

    at_us: int | None
    before: bool = False


class Uncleaned(NamedTuple):
    """A span in which dough stayed at the parts. began: its first moment that is known. end_us: the
    note that they were cleaned; None where none followed."""

    began: Touched
    end_us: int | None = None


class Source(NamedTuple):
    """A journal of the day, and the hash at its last commit."""

    name: str
    opened_us: int | None
    state: str
    head: str


class Day:
    """Everything around the portions, in order of time."""

    def __init__(self) -> None:
        self.bench = ""
        self.sources: list[Source] = []
        self.trips: list[Trip] = []
        self.link: list[tuple[int | None, str]] = []
        self.dropped: Counter[str] = Counter()
        self.cards: list[Card] = []
        self.tubes: list[TubeIn] = []
        self.notes: list[Noted] = []
        self.series: list[tuple[int | None, str]] = []
        self.last_us: int | None = None
        self._portion: int | None = None
        self._touched: list[Touched] = []

    def verdicts(self) -> dict[int, list[str]]:
        """Return what people found, by portion."""
        found: dict[int, list[str]] = {}
        for note in self.notes:
            if note.portion is not None and note.verdict is not None:
                found.setdefault(note.portion, []).append(note.verdict)
        return found

    def uncleaned(self) -> list[Uncleaned]:
        """Return the spans in which dough stayed at the parts: from the first tube that came in,
        was in already, or gave a portion after a cleaning, to the note of the next one."""
        moments = [(one.at_us, False, one) for one in self._touched if one.at_us is not None]
        moments += [
            (note.wall_us, True, Touched(None))
            for note in self.notes
            if note.wall_us is not None and note.cleaned
        ]
        spans: list[Uncleaned] = []
        for at_us, cleaned, began in sorted(moments, key=lambda moment: moment[:2]):
            touched = bool(spans) and spans[-1].end_us is None
            if cleaned and touched:
                spans[-1] = spans[-1]._replace(end_us=at_us)
            elif not cleaned and not touched:
                spans.append(Uncleaned(began))
        if self._touched and not spans:
            spans.append(Uncleaned(Touched(None)))
        return spans

    def take(self, reader: Reader) -> None:
        """Take in one journal; a record that is damaged is left out, the rest is worth having."""
        self.bench = reader.meta.get(META_BENCH, "")
        self.sources.append(
            Source(
                reader.path.name,
                opened_us_of(reader.meta),
                str(reader.state()),
                reader.head() or "",
            )
        )
        times = DayTimes(reader)
        for _, entry in reader.entries(kinds=_KINDS, told=_WORTH):
            try:
                self._take(entry, times)
            except (msgspec.MsgspecError, KeyError, TypeError, ValueError):
                continue

    def _take(self, entry: Entry, times: DayTimes) -> None:
        wall_us = times.wall_us(entry.t_ns)
        self.last_us = wall_us if wall_us is not None else self.last_us
        if entry.kind == m.Boot.code:
            cause = entry.values[2]
            word = CAUSES[cause] if cause is not None and cause < len(CAUSES) else "unknown"
            self.link.append((wall_us, f"the board started (cause: {word})"))
            return
        record = msgspec.json.decode(entry.text or "{}", type=dict[str, Any])
        if entry.kind == ledger.INPUT:
            self._told(record, wall_us)
        else:
            getattr(self, f"_on_{ledger.RECORD_BY_CODE[entry.kind]}")(record, wall_us)

    def _told(self, told: Mapping[str, Any], wall_us: int | None) -> None:
        if told.get("input") == "line-fault":
            self.dropped[str(told["reason"])] += int(told.get("count", 1))
        facts = told.get("facts")
        carried = (told.get("carry") or {}).get("tube")
        if carried and (not self.tubes or self.tubes[-1].tube != carried["id"]):
            self._was_in(str(carried["id"]))
        if facts:
            fitted = ", ".join(facts.get("fitted", ()))
            name = str(facts.get("name") or self.bench)
            words = f"fitted: {fitted or 'nothing'}"
            self._card("bench", name, str(facts.get("text") or ""), words, wall_us)
        for dough in (told.get("dough"), (told.get("carry") or {}).get("dough")):
            if dough:
                aim = f"aim {dough['aim_kg'] * 1e3:.1f} g " if dough.get("aim_kg") else ""
                words = f"{aim}within {float(dough.get('tolerance', 0.05)) * 100:g} %"
                text = dough.get("text") or msgspec.json.encode(dough).decode()
                self._card("dough", dough["name"], text, words, wall_us)

    def _card(self, kind: str, name: str, text: str, words: str, wall_us: int | None) -> None:
        mark = hashlib.sha256(text.encode()).hexdigest()[:8]
        last = next((card for card in reversed(self.cards) if card.kind == kind), None)
        if last is None or (last.name, last.mark) != (name, mark):
            self.cards.append(Card(kind, name, mark, words, wall_us))

    def _on_by_hand(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        values = ", ".join(f"{name} {value}" for name, value in record["values"].items())
        self.cards.append(Card("by hand", values, "", f"group {record['group']} begins", wall_us))

    def _on_trip(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        code = str(record["interlock"])
        up = next((trip for trip in reversed(self.trips) if trip.interlock == code), None)
        if record["up"]:
            self.trips.append(Trip(code, str(record["text"]), wall_us, self._portion))
        elif up is not None and up.is_up:
            up.cleared_us, up.is_up = wall_us, False

    def _on_link(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        way = "link up" if record.get("up") else "link lost"
        self.link.append((wall_us, f"{way}: {record.get('text') or 'no reason told'}"))

    def _on_gap(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        text = f"events {record['first']} to {record['last']} of the board never came"
        self.link.append((wall_us, text))

    def _on_tube(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        if record["what"] == "in":
            self.tubes.append(TubeIn(str(record["id"]), str(record.get("lot") or ""), wall_us))
            self._touched.append(Touched(wall_us))
        elif record["what"] == "out" and self.tubes and self.tubes[-1].tube == record["id"]:
            self.tubes[-1].out_us = wall_us

    def _on_note(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        self.notes.append(Noted(wall_us, str(record["text"]), record.get("portion")))

    def _on_series(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        if record["what"] != "began":
            of = "" if record.get("count") is None else f" of {record['count']}"
            reason = f": {record['reason']}" if record.get("reason") else ""
            self.series.append((wall_us, f"{record['what']}, {record['made']}{of} made{reason}"))

    def _on_portion(self, record: Mapping[str, Any], wall_us: int | None) -> None:
        self._portion = int(record["number"])
        tube = str(record.get("tube") or "")
        if not self.tubes or self.tubes[-1].tube != tube:
            self._was_in(tube)
        self.tubes[-1].portions += 1
        self._touched.append(Touched(wall_us))

    def _was_in(self, tube: str) -> None:
        """Take a tube that came in before this journal began."""
        self.tubes.append(TubeIn(tube, "", None, before=True))
        self._touched.append(Touched(self.sources[-1].opened_us, before=True))


def read_day(paths: Sequence[Path]) -> Day:
    """Return what happened around the portions of journals of one bench, oldest journal first.

    Raises: JournalError when one cannot be read; SeveralBenches.
    """
    readers = oldest_first(paths)
    if len({reader.meta.get(META_BENCH, "") for reader in readers}) > 1:
        raise SeveralBenches
    day = Day()
    for reader in readers:
        day.take(reader)
    return day
