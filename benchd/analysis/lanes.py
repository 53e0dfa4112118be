"""One portion's readings, phases and edges over time, and the band of good ones beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import msgspec

from benchd.analysis.reader import Reader
from benchd.analysis.replay import first_state_of
from benchd.analysis.timeline import Span, event_words
from benchd.config.bench import bench_values
from benchd.config.errors import Problems
from benchd.core import ledger
from benchd.core.clock_map import since_s
from benchd.core.facts import BenchFacts
from benchd.core.portion_record import reading
from benchd.io.journal_format import JournalError
from protocols import messages as m
from protocols.codes import PHASES, SIGNALS

LANES = ("feed_m", "thrust_n", "eye", "air_pa", "supply_v")
"""Readings of a trace: way of the feed since the portion began [m], thrust [N], eye [counts], air
above ambient [Pa], logic supply [V]."""

ALIGNED = ("push", "cut")
"""Phases at whose beginning traces are laid over one another."""

STEP_S = 0.05
"""Step of a band [s]: samples come 20 a second."""

_READ = (m.Sample, m.Phase, m.Edge, m.Ended)


class Trace(NamedTuple):
    """One portion over time; all times [s] are from its first event on.

    begins: a phase to its beginning. lanes: LANES to a reading for each time, None where nothing is
    fitted.
    """

    t_s: list[float]
    lanes: dict[str, list[float | None]]
    phases: list[tuple[float, str]]
    edges: list[tuple[float, str, int]]
    events: list[tuple[float, str]]
    link: list[tuple[float, bool]]

    def begins(self, phase: str) -> float | None:
        """When a phase began [s]; None when it never did."""
        return next((t_s for t_s, name in self.phases if name == phase), None)


def trace(reader: Reader, facts: BenchFacts, span: Span) -> Trace:
    """Return a portion over time.

    Raises: JournalError when no event of it is in the journal, or it cannot be read.
    """
    events = span.portion.events
    if not events:
        raise JournalError(
            f"No event of portion {span.portion.number} is in this journal, so there is nothing "
            "to draw: choose another portion."
        )
    zero_us = events[0].t_us

    def at_s(t_us: int) -> float:
        return round(since_s(t_us, zero_us), 6)

    end_s = max(at_s(event.t_us) for event in events)
    read: list[tuple[float, Any]] = [(at_s(one.t_us), one) for one in events]
    read += [(at_s(one.t_us), one) for one in _samples(reader, span)]
    read = sorted(
        (pair for pair in read if isinstance(pair[1], _READ) and 0 <= pair[0] <= end_s),
        key=lambda pair: pair[0],
    )
    zero = read[0][1].position if read else 0
    ordered = sorted(events, key=lambda one: at_s(one.t_us))
    return Trace(
        t_s=[t_s for t_s, _ in read],
        lanes={
            "feed_m": [facts.metres(one.position - zero) for _, one in read],
            "thrust_n": [reading(one.thrust, 0.1) for _, one in read],
            "eye": [reading(one.eye, 1.0) for _, one in read],
            "air_pa": [reading(one.air, 100.0) for _, one in read],
            "supply_v": [reading(one.supply, 0.001) for _, one in read],
        },
        phases=[(at_s(o.t_us), PHASES[o.phase]) for o in ordered if isinstance(o, m.Phase)],
        edges=[
            (at_s(o.t_us), SIGNALS[o.signal], o.level) for o in ordered if isinstance(o, m.Edge)
        ],
        events=[
            *((at_s(one.t_us), words) for one, words in _told(facts, ordered)),
            *((_host_s(span, t_ns, zero_us), text) for t_ns, _, text in span.link),
        ],
        link=[(_host_s(span, t_ns, zero_us), up) for t_ns, up, _ in span.link],
    )


def _told(facts: BenchFacts, events: Sequence[m.Event]) -> Iterator[tuple[m.Event, str]]:
    """Give each event in words, and where dough is seen again, how much strand went by without."""
    gone: int | None = None
    for one in events:
        words = event_words(facts, one)
        if isinstance(one, m.Edge) and SIGNALS[one.signal] == "dough":
            if one.level and gone is not None and one.position > gone:
                words += f", after a gap of {facts.strand_m(one.position - gone) * 1e3:.1f} mm"
            gone = None if one.level else one.position
        yield one, words


Levels = tuple[float, float]
"""What the eye reads without dough, and with it [counts]."""

TAUGHT = ("eye_empty", "eye_dough")
"""Where what is carried on holds a taught level, the mean of its readings first."""


def levels(reader: Reader, facts: BenchFacts) -> list[tuple[int, Levels | None]]:
    """Return the levels that the eye knew, each with the entry from which on: those taught at the
    bench, the card's until both are; None where it knew none."""
    values = bench_values(facts.text, Problems(facts.name))
    on_card = None
    if "eye.empty" in values and "eye.dough" in values:
        on_card = (float(values.whole("eye.empty")), float(values.whole("eye.dough")))
    carry = first_state_of(reader).carry
    taught: list[Any] = [getattr(carry, name) for name in TAUGHT]
    found = [(0, _known(taught) or on_card)]
    kinds = {ledger.INPUT, ledger.RECORDS["carry"]}
    for n, entry in reader.entries(kinds=kinds, told=('"eye_empty"',)):
        said = msgspec.json.decode(entry.text or "{}")
        changed = said.get("carry", said)
        taught = [changed.get(name, was) for name, was in zip(TAUGHT, taught, strict=True)]
        found.append((n, _known(taught) or on_card))
    return found


def _known(taught: Sequence[Any]) -> Levels | None:
    empty, dough = taught
    return (empty[0], dough[0]) if empty and dough else None


def _host_s(span: Span, t_ns: int, zero_us: int) -> float:
    return round((t_ns // 1000 - span.offset_us - zero_us) / 1e6, 6)


def _samples(reader: Reader, span: Span) -> Iterator[m.Sample]:
    entries = reader.entries(kinds={m.Sample.code}, after=span.first - 1, upto=span.last)
    for _, entry in entries:
        said = ledger.read_input(entry.kind, entry.values, entry.text)
        if isinstance(said, m.Sample):
            yield said


def band(one: Trace, others: Sequence[Trace], align: str) -> dict[str, Any] | None:
    """Return least and most of the good ones over the time of one portion, laid over one another at
    a moment of ALIGNED; None when it never came to that moment.

    Result: from_s, the first time of the band on the portion's own time line [s]; step_s [s]; and
    for each of LANES a pair for each step, None where no good one has a reading.
    """
    zero_s = one.begins(align)
    if zero_s is None or not one.t_s:
        return None
    start = -int(zero_s / STEP_S) - 1
    count = int((one.t_s[-1] - zero_s) / STEP_S) + 2 - start
    result: dict[str, Any] = {"from_s": zero_s + start * STEP_S, "step_s": STEP_S}
    pairs: dict[str, list[list[float] | None]] = {lane: [None] * count for lane in LANES}
    for other in others:
        other_s = other.begins(align)
        if other_s is None:
            continue
        for index, t_s in enumerate(other.t_s):
            # A reading counts for a step on either side: samples do not come in step.
            near = round((t_s - other_s) / STEP_S) - start
            for lane in LANES:
                value = other.lanes[lane][index]
                if value is None:
                    continue
                for place in range(max(near - 1, 0), min(near + 2, count)):
                    _widen(pairs[lane], place, value)
    return result | pairs


def _widen(pairs: list[list[float] | None], place: int, value: float) -> None:
    pair = pairs[place]
    if pair is None:
        pairs[place] = [value, value]
    else:
        pair[0], pair[1] = min(pair[0], value), max(pair[1], value)
