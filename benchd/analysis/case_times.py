"""What a case file shows beside the findings: when each phase and edge of a portion came, and of
those it is held against; what the portion was asked to be; and what people noted of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from benchd.analysis.notes import Noted, read_notes
from benchd.analysis.reader import Reader, reader_of
from benchd.analysis.timeline import Portion, event_words, facts_of, spans
from benchd.core import ledger
from benchd.core.clock_map import since_s
from benchd.core.facts import BenchFacts
from benchd.diagnose.signals import Seen
from benchd.io.journal_format import JournalError
from protocols import messages as m
from protocols.codes import PHASES

PUSH = PHASES.index("push")


class Lane(NamedTuple):
    """The time line of one portion; times [s] from the beginning of its push, or of what came
    first."""

    number: int
    phases: tuple[tuple[str, float, float], ...]
    """Name, begin and end."""
    edges: tuple[tuple[float, str], ...]
    """Time, and what happened, in words."""


class Around(NamedTuple):
    """What journals tell around one portion."""

    bench: str
    record: dict[str, Any]
    """The portion's record; empty where nobody saw it end."""
    lanes: tuple[Lane, ...]
    """Its own first, where the journal has its events; then the others', as they were given."""
    notes: tuple[Noted, ...]


def read_around(paths: Sequence[Path], one: Seen, others: Sequence[Seen]) -> Around:
    """Return what journals tell around a portion and those it is held against.

    Raises: JournalError when one cannot be read.
    """
    wanted = {_key(other): at for at, other in enumerate((one, *others))}
    numbers = [number for number, _, _ in wanted]
    lanes: dict[int, Lane] = {}
    record: dict[str, Any] = {}
    notes: list[Noted] = []
    bench = ""
    for path in paths:
        reader = reader_of(path)
        span = reader.span_of(ledger.RECORDS["portion"], min(numbers), max(numbers))
        near = spans(reader, after=span[0], upto=span[1]) if span is not None else []
        found = [one.portion for one in near if _key_of(one.portion.record) in wanted]
        facts = _facts(reader) if any(part.events for part in found) else None
        for part in found:
            at = wanted[_key_of(part.record)]
            if at == 0:
                record, bench = part.record, reader.meta.get("bench", "")
            if facts is not None and (lane := lane_of(facts, part)) is not None:
                lanes[at] = lane
        notes += [note for note in read_notes(reader) if note.portion == one.number]
        bench = bench or reader.meta.get("bench", "")
    return Around(bench, record, tuple(lanes[at] for at in sorted(lanes)), tuple(notes))


def _facts(reader: Reader) -> BenchFacts | None:
    """Return the bench's facts; None where the journal does not tell them: the rest is worth
    having."""
    try:
        return facts_of(reader)
    except JournalError:
        return None


def _key(one: Seen) -> tuple[Any, ...]:
    return one.number, one.tube, one.index


def _key_of(record: dict[str, Any]) -> tuple[Any, ...]:
    return record["number"], str(record.get("tube") or ""), record["index"]


def lane_of(facts: BenchFacts, portion: Portion) -> Lane | None:
    """Return the time line of a portion; None where the journal has no phase of it."""
    begins = [event for event in portion.events if isinstance(event, m.Phase)]
    if not begins:
        return None
    zero_us = next((event.t_us for event in begins if event.phase == PUSH), begins[0].t_us)
    timed = [
        (since_s(event.t_us, zero_us), event)
        for event in portion.events
        if isinstance(event, m.Phase | m.Edge | m.Trip | m.Ended)
    ]
    ends = [t_s for t_s, event in timed if isinstance(event, m.Phase | m.Ended)]
    phases = [(t_s, PHASES[event.phase]) for t_s, event in timed if isinstance(event, m.Phase)]
    last_s = max(ends) if isinstance(timed[-1][1], m.Phase) else timed[-1][0]
    edges = _edges(facts, timed)
    after = [*(t_s for t_s, _ in phases[1:]), max(last_s, phases[-1][0])]
    spans = tuple((name, t_s, end) for (t_s, name), end in zip(phases, after, strict=True))
    return Lane(portion.number, spans, tuple(edges))


def _edges(
    facts: BenchFacts, timed: Iterable[tuple[float, m.Event]]
) -> Iterable[tuple[float, str]]:
    for t_s, event in timed:
        if isinstance(event, m.Edge | m.Trip):
            try:
                yield t_s, event_words(facts, event)
            except LookupError:
                # A later version wrote it; that something happened is still worth showing.
                yield t_s, f"{event.tag}, of a kind that this version does not know"
