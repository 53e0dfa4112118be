"""Portions with their signals and what happened around them, read from journals, and each one's
case: what was found and what may have caused it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec

from benchd.analysis.reader import Reader, oldest_first
from benchd.core import ledger
from benchd.diagnose.signals import COMPLETE, MASS, Seen, of_record
from benchd.io.journal_format import META_BENCH, Entry
from protocols import messages as m
from protocols.codes import CAUSES, DROP, PIN, PINS

TAKEN = ("trip", "link", "gap", "by_hand", "stroke", "tube", "weight", "ended", "portion", "series")
"""Records that tell of portions."""

WANTED = frozenset(
    {*(ledger.RECORDS[name] for name in TAKEN), ledger.INPUT, m.Boot.code, m.Edge.code}
)
CARD = ('"facts"',)
TOLD = (*CARD, '"input":"stood"')
"""What the text of an input holds that tells the bench card."""

HAND = {PIN["forward"], PIN["reverse"], PIN["button"]}
LAST_OF_TUBE = 0.93

TRIPS: dict[str, str] = {
    "IL-01": "stop",
    "IL-02": "guard",
    "IL-06": "no-far",
    "IL-07": "no-home",
    "IL-09": "no-dough",
    "IL-10": "smeared",
    "IL-11": "thrust-trip",
    "IL-12": "frame-trip",
    "IL-16": "air-trip",
    "IL-17": "after-dump",
    "IL-29": "supply-trip",
}
"""Interlock to what it says of the portion in which it tripped."""


class History:
    """Everything that journals of one bench tell of its portions, in order of reading."""

    def __init__(self, bench: str = "") -> None:
        self.bench = bench
        self.fitted: frozenset[str] = frozenset()
        self._portions: dict[int, Seen] = {}
        self._weights: dict[int, list[Mapping[str, Any]]] = {}
        self._loading = 0
        self._tube = ""
        self._events: dict[str, str] = {}
        self._far_edges = 0
        self._travel_m: float | None = None
        self._strand_per_feed = 1.0
        self._last: Seen | None = None
        self._tripped = ""
        self._adjusted = False

    def read(self, entries: Iterable[Entry]) -> None:
        """Take in one journal; a record that is damaged is left out, the rest is worth having."""
        self._events, self._last = {}, None
        for entry in entries:
            try:
                self._take(entry)
            except (msgspec.MsgspecError, KeyError, TypeError, ValueError):
                continue

    def portions(self) -> list[Seen]:
        """Return all portions in order, with their weights."""
        done = []
        for number, seen in self._portions.items():
            readings = self._weights.get(number, [])
            if readings:
                last = readings[-1]
                seen = msgspec.structs.replace(
                    seen,
                    readings_kg=tuple(float(one["mass_kg"]) for one in readings),
                    look=str(last.get("look") or ""),
                    signals=seen.signals | {MASS: float(last["mass_kg"])},
                    events=seen.events | _looks(last),
                )
            done.append(seen)
        return done

    def _take(self, entry: Entry) -> None:
        if entry.kind == ledger.INPUT:
            self._told(entry.text or "")
        elif entry.kind == m.Boot.code:
            cause = entry.values[2]
            word = CAUSES[cause] if cause is not None and cause < len(CAUSES) else "unknown"
            self._events["reset"] = f"the board restarted (cause: {word})"
        elif entry.kind == m.Edge.code:
            self._edge(*entry.values[2:5])
        elif entry.kind in ledger.RECORD_BY_CODE:
            name = ledger.RECORD_BY_CODE[entry.kind]
            if name in TAKEN:
                record = msgspec.json.decode(entry.text or "{}", type=dict[str, Any])
                getattr(self, f"_on_{name}")(record)

    def _told(self, text: str) -> None:
        if not any(word in text for word in TOLD):
            return
        told = msgspec.json.decode(text)
        if told.get("input") == "stood":
            self._events["host"] = f"the computer stood still for {told['time_s']:.1f} s"
            return
        facts = told.get("facts")
        if not facts:
            return
        self.fitted = frozenset(facts.get("fitted", ()))
        self._travel_m = facts.get("travel_m")
        if facts.get("bore_m") and facts.get("nozzle_bore_m"):
            self._strand_per_feed = (facts["bore_m"] / facts["nozzle_bore_m"]) ** 2

    def _edge(self, portion: int | None, signal: int | None, level: int | None) -> None:
        if signal in HAND and level:
            self._events["hand"] = f"the switch '{PINS[signal]}' was pressed while it was made"
        elif signal == PIN["guard"] and not level:
            self._events["guard"] = "the guard stood open while it was made"
        elif signal == PIN["far"] and level:
            self._far_edges += 1
            if self._far_edges == 2:
                self._events["bounce"] = "the far switch came twice in one cut"
        elif signal == PIN["valve"]:
            self._far_edges = 0
        elif signal == DROP and not portion and self._last is not None:
            self._last.events.pop("drop-missing", None)  # It fell after its portion had ended.

    def _on_trip(self, record: Mapping[str, Any]) -> None:
        if record["up"]:
            self._tripped = str(record["interlock"])
        name = TRIPS.get(str(record["interlock"])) if record["up"] else None
        if name == "air-trip":
            # Air that falls in a portion also asks for a dry stroke, after it.
            self._events.pop("after-dump", None)
        elif name == "after-dump" and "air-trip" in self._events:
            return
        if name is not None:
            self._events[name] = f"{record['interlock']}: {record['text']}"

    def _on_link(self, record: Mapping[str, Any]) -> None:
        if not record.get("up"):
            self._events["link"] = f"the link was lost: {record.get('text') or 'no reason told'}"

    def _on_gap(self, record: Mapping[str, Any]) -> None:
        self._events["link"] = "events of the board were lost"

    def _on_by_hand(self, record: Mapping[str, Any]) -> None:
        self._events["card"] = "values were set by hand just before it"

    def _on_series(self, record: Mapping[str, Any]) -> None:
        if record.get("what") == "adjusted":
            self._adjusted = True

    def _on_stroke(self, record: Mapping[str, Any]) -> None:
        self._events.pop("after-dump", None)

    def _on_tube(self, record: Mapping[str, Any]) -> None:
        if record.get("what") == "in":
            self._loading += 1
            self._tube = str(record["id"])
            # What happened while nobody portioned is no part of the next portion.
            self._events, self._last = {"other-tube": "another tube came in just before it"}, None

    def _on_weight(self, record: Mapping[str, Any]) -> None:
        if record["mass_kg"] is None:  # What was read of it before does not count.
            self._weights.pop(record["portion"], None)
        else:
            self._weights.setdefault(record["portion"], []).append(record)

    def _on_ended(self, record: Mapping[str, Any]) -> None:
        """Take a portion that nobody saw end: nothing was measured, only what happened counts."""
        number = record["portion"]
        if number in self._portions:
            return
        last = self._last
        events, self._events = self._events, {}
        self._portions[number] = Seen(
            bench=self.bench,
            number=number,
            tube=self._tube,
            loading=self._loading,
            index=last.index + 1 if last is not None else 1,
            like=last.like if last is not None else "",
            kind="flagged",
            outcome=str(record["outcome"]),
            place=None,
            signals={MASS: None},
            events=events,
        )

    def _on_portion(self, record: Mapping[str, Any]) -> None:
        tube = str(record.get("tube") or "")
        if self._tube != tube or not self._loading:
            self._tube = tube
            self._loading += 1
        position_m, travel_m = record.get("position_m"), self._travel_m
        place = position_m / travel_m if position_m is not None and travel_m else None
        recipe = (record.get("asked_m"), record["group"], record["dough"], record["aim_kg"])
        events, self._events = self._events, {}
        tripped, self._tripped = self._tripped, ""
        seen = Seen(
            bench=self.bench,
            number=record["number"],
            tube=tube,
            loading=self._loading,
            index=record["index"],
            like=repr(recipe),
            kind=record["class"],
            outcome=record["outcome"],
            place=place,
            signals={MASS: None, **of_record(record, self._strand_per_feed)},
            events=events,
            tripped_by=tripped if record["outcome"] == "tripped" else "",
        )
        # A stroke that the series changed by the weights, by 2 % at most, is no other card.
        adjusted, self._adjusted = self._adjusted, False
        changed = self._last is not None and self._last.like != seen.like and not adjusted
        if changed and "card" not in events:
            events["card"] = "the dough card changed just before it"
        if seen.kind in ("first", "after-pause"):
            events["after-pause"] = EVENT_OF_KIND[seen.kind]
        if seen.kind == "tail" or (place is not None and place > LAST_OF_TUBE):
            events["end"] = "it is one of the last of its tube"
        if any("eye still saw dough" in text for text in record.get("seen") or ()):
            events["smeared"] = "the eye still saw dough after the cut"
        # A record has this only where a drop eye is fitted.
        if seen.outcome == COMPLETE and record.get("drop_s", 0.0) is None:
            events["drop-missing"] = "no piece was seen to fall"
        self._portions[seen.number] = seen
        self._last = seen


EVENT_OF_KIND = {
    "first": "it is the first of its series",
    "after-pause": "it is the first one after a pause",
}


def _looks(weight: Mapping[str, Any]) -> dict[str, str]:
    look = str(weight.get("look") or "").lower()
    told: dict[str, str] = {}
    if weight.get("threw_m") or "threw" in look or "squash" in look:
        told["threw"] = f"its look was noted: {look or 'thrown'}"
    if "tail" in look or "torn" in look:
        told["tail"] = f"its look was noted: {look}"
    return told


AFTER = 2_000
"""Entries after the last portion of a span: what ended then may still be told."""

SPAN = 600
"""Portions on either side of one that is asked about, among which those are that it is held
against: 40 of its third, and 40 firsts of tubes of up to 30 portions."""


def read_histories(paths: Sequence[Path], around: int | None = None) -> list[History]:
    """Return what journals tell of each bench, oldest journal first whatever their order here.

    around: a portion; of archives, only what is worth having beside it is read.
    Raises: JournalError when one cannot be read.
    """
    histories: dict[str, History] = {}
    for reader in oldest_first(paths):
        bench = reader.meta.get(META_BENCH, "")
        history = histories.setdefault(bench, History(bench))
        history.read(entry for _, entry in _entries(reader, around))
    return list(histories.values())


def _entries(reader: Reader, around: int | None) -> Iterator[tuple[int, Entry]]:
    if around is None:
        yield from reader.entries(kinds=WANTED, told=TOLD)
        return
    near = around - SPAN, around + SPAN
    span = reader.span_of(ledger.RECORDS["portion"], *near)
    if span is None:
        return
    before, high = span
    yield from islice(reader.entries(kinds={ledger.INPUT}, upto=before, told=CARD), 1)
    high += AFTER
    yield from reader.entries(kinds=WANTED, after=before, upto=high, told=TOLD)
    yield from reader.naming(ledger.RECORDS["weight"], "portion", near, after=high)
