"""One portion's time line in text: every phase, edge, trip and reading, beside the usual of its
neighbours. Nothing moves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from benchd.analysis.reader import JournalReader, Reader
from benchd.analysis.replay import first_state_of
from benchd.core import ledger
from benchd.core.clock_map import since_s
from benchd.core.facts import BenchFacts
from benchd.core.inputs import Opened
from benchd.core.words import trip_text
from benchd.io.journal_format import JournalError
from protocols import messages as m
from protocols.codes import INTERLOCK_BY_NUMBER, OUTCOMES, PHASES, SIGNALS
from protocols.limits import NOT_FITTED

NEIGHBOURS = 10
"""Portions on either side whose values make up the usual."""

ON_OFF: dict[str, tuple[str, str]] = {
    "guard": ("guard opened", "guard shut"),
    "stop": ("emergency stop pressed", "emergency stop released"),
    "home": ("cutter left home", "cutter home"),
    "far": ("cutter left the far end", "cutter at the far end"),
    "ends": ("end switch reached", "end switch free"),
    "valve": ("valve off", "valve on"),
    "drive": ("drive off", "drive on"),
    "dough": ("dough gone", "dough seen"),
}
"""What an edge of a pin means, off and on; others are said by their name."""

_EVENTS = frozenset(spec.cls.code for spec in m.MESSAGES.values() if issubclass(spec.cls, m.Event))
_WANTED = _EVENTS | {ledger.RECORDS[name] for name in ("portion", "weight", "link", "gap")}


class Portion(msgspec.Struct, frozen=True):
    """A portion in a journal: its record, its events, and its weight if it has one."""

    number: int
    record: dict[str, Any]
    events: tuple[m.Event, ...] = ()
    mass_kg: float | None = None


class Span(NamedTuple):
    """A portion, the entries of a journal that it lies between, and news of the link among them:
    the host time [ns], whether it is up, words."""

    portion: Portion
    first: int
    last: int
    offset_us: int
    link: tuple[tuple[int, bool, str], ...]


def spans(reader: Reader, *, after: int = 0, upto: int | None = None) -> list[Span]:
    """Return every portion of a journal that ended, in order.

    after, upto: only of the entries with numbers above the one, and up to the other.
    Raises: JournalError when the journal cannot be read.
    """
    found: list[Span] = []
    events: dict[int, list[m.Event]] = {}
    first: dict[int, int] = {}
    offset: dict[int, int] = {}
    weights: dict[int, float] = {}
    link: list[tuple[int, int, bool, str]] = []
    for n, entry in reader.entries(kinds=_WANTED, after=after, upto=upto):
        if entry.kind in _EVENTS:
            said: Any = ledger.read_input(entry.kind, entry.values, entry.text)
            low = getattr(said, "portion", 0)
            if low:
                late_us = entry.t_ns // 1000 - said.t_us
                events.setdefault(low, []).append(said)
                first.setdefault(low, n)
                # What was on its way for the shortest time tells the clocks' distance best.
                offset[low] = min(offset.get(low, late_us), late_us)
            continue
        data = msgspec.json.decode(entry.text or "{}")
        if entry.kind == ledger.RECORDS["weight"]:
            weights[data["portion"]] = data["mass_kg"]
        elif entry.kind == ledger.RECORDS["portion"]:
            low = data["number"] & 0xFFFF
            one = Portion(data["number"], data, tuple(events.pop(low, ())))
            start = first.pop(low, n)
            told = tuple(piece[1:] for piece in link if piece[0] >= start)
            found.append(Span(one, start, n, offset.pop(low, 0), told))
            link.clear()
        else:
            up = entry.kind == ledger.RECORDS["link"] and bool(data.get("up"))
            link.append((n, entry.t_ns, up, str(data.get("text") or "events were lost")))
    replace = msgspec.structs.replace
    return [
        span._replace(portion=replace(span.portion, mass_kg=weights.get(span.portion.number)))
        for span in found
    ]


def read_portions(reader: Reader) -> list[Portion]:
    """Return every portion of a journal in order, each with the events of its number.

    Raises: JournalError when the journal cannot be read.
    """
    return [span.portion for span in spans(reader)]


def facts_of(reader: Reader) -> BenchFacts:
    """Return the bench facts a journal was written with."""
    facts = first_state_of(reader).facts
    for _, entry in reader.entries(kinds={ledger.INPUT}, told=('"facts"',)):
        given = ledger.read_input(entry.kind, entry.values, entry.text)
        if isinstance(given, Opened):
            return given.facts
    return facts


def _grams(mass_kg: float) -> str:
    """Return a weight with all digits that a scale shows, and at least one decimal."""
    grams = round(mass_kg * 1000, 3)
    return f"{grams:.1f} g" if round(grams, 1) == grams else f"{grams:.9g} g"


def _shown(value: int, scale: float, unit: str, digits: int = 0) -> str:
    return "-" if value == NOT_FITTED else f"{value * scale:.{digits}f}{unit}"


def event_words(facts: BenchFacts, event: m.Event) -> str:
    """Return what an event says, for a person; its tag where a portion never holds such an event.

    Raises: LookupError for a code that this version does not know.
    """
    if isinstance(event, m.Phase):
        return f"{PHASES[event.phase]} begins"
    if isinstance(event, m.Edge):
        name = SIGNALS[event.signal]
        words = ON_OFF.get(name, (f"{name} off", f"{name} on"))
        return words[event.level]
    if isinstance(event, m.Trip):
        code = INTERLOCK_BY_NUMBER[event.interlock].code
        return f"{code}: {trip_text(facts, event.interlock, event.value, event.bound)}"
    if isinstance(event, m.Ended):
        return f"ended, {OUTCOMES[event.outcome]}"
    if isinstance(event, m.Tally):
        gap_mm = facts.strand_m(event.gap) * 1000
        return f"steps {event.made} of {event.asked}, longest gap {gap_mm:.1f} mm of strand"
    if isinstance(event, m.Extremes):
        return (
            f"eye least {_shown(event.eye_min, 1, '')}, thrust peak "
            f"{_shown(event.thrust_peak, 0.1, ' N')}, "
            f"at cut {_shown(event.thrust_cut, 0.1, ' N')}"
        )
    return event.tag


def event_lines(facts: BenchFacts, portion: Portion) -> Iterator[str]:
    """Give one line an event, times from the beginning of the push [s]."""
    starts = [
        event.t_us for event in portion.events if isinstance(event, m.Phase) and event.phase == 2
    ]
    if not portion.events:
        yield "  no events of this portion are in the journal"
        return
    zero_us = starts[0] if starts else portion.events[0].t_us
    yield f"  {'time':>9}  {'feed':>9}  {'eye':>4}  {'thrust':>6}  {'air':>8}   what"
    for event in portion.events:
        time_s = since_s(event.t_us, zero_us)
        cells = f"{'':>9}  {'':>4}  {'':>6}  {'':>8}"
        if isinstance(event, m.Phase | m.Edge | m.Ended):
            cells = (
                f"{facts.metres(event.position) * 1000:>6.1f} mm  {_shown(event.eye, 1, ''):>4}  "
                f"{_shown(event.thrust, 0.1, ' N'):>6}  {_shown(event.air, 0.001, ' bar', 1):>8}"
            )
        yield f"  {time_s:>+7.3f} s  {cells}   {event_words(facts, event)}"


def _signals(
    facts: BenchFacts, portion: Portion
) -> dict[str, tuple[float | None, str, float, int]]:
    """Return label to (value, unit, factor, digits) of what is compared with the neighbours."""
    record = portion.record
    rows: dict[str, tuple[float | None, str, float, int]] = {}
    for phase, value in record.get("phase_s", {}).items():
        rows[phase] = (value, "s", 1, 2)
    for name, label in (
        ("start_delay_s", "cutter start delay"),
        ("stroke_s", "cutter stroke"),
        ("return_s", "cutter return"),
    ):
        rows[label] = (record.get("cutter", {}).get(name), "ms", 1000, 0)
    rows["thrust peak"] = (record.get("thrust_n", {}).get("peak"), "N", 1, 0)
    rows["thrust at cut"] = (record.get("thrust_n", {}).get("at_cut"), "N", 1, 0)
    strand = facts.strand_m(1) / facts.metres(1)
    rows["longest gap, strand"] = (record.get("eye", {}).get("gap_m"), "mm", 1000 * strand, 1)
    rows["air least"] = (record.get("air_pa", {}).get("min"), "bar", 1e-5, 2)
    rows["supply least"] = (record.get("supply_v", {}).get("min"), "V", 1, 2)
    rows["weight"] = (portion.mass_kg, "g", 1000, 1)
    return rows


class Signal(NamedTuple):
    """What a portion gave; least, middle and most of the `of` neighbours that gave it too; all in
    this unit, shown with so many digits."""

    signal: str
    value: float | None
    usual: tuple[float, float, float] | None
    of: int
    unit: str
    digits: int

    @property
    def outside(self) -> bool:
        """Whether it lies beyond what three or more neighbours gave."""
        if self.value is None or self.usual is None or self.of < 3:
            return False
        return not self.usual[0] <= self.value <= self.usual[2]


def signals(facts: BenchFacts, portion: Portion, neighbours: Sequence[Portion]) -> Iterator[Signal]:
    """Give each signal that a portion or one of its neighbours has."""
    others = [_signals(facts, other) for other in neighbours]
    for label, (value, unit, factor, digits) in _signals(facts, portion).items():
        usual = sorted(
            given * factor
            for row in others
            if label in row and (given := row[label][0]) is not None
        )
        if value is None and not usual:
            continue
        three = (usual[0], usual[len(usual) // 2], usual[-1]) if usual else None
        shown = None if value is None else value * factor
        yield Signal(label, shown, three, len(usual), unit, digits)


def usual_lines(
    facts: BenchFacts, portion: Portion, neighbours: Sequence[Portion]
) -> Iterator[str]:
    """Give one line a signal: this portion, and least, middle and most of its neighbours."""
    many = f"{len(neighbours)} normal portion{'' if len(neighbours) == 1 else 's'} nearest to it"
    usual_of = f"usual (least - middle - most of the {many})" if neighbours else ""
    yield f"  {'signal':<20} {'this':>10}   {usual_of}".rstrip()
    if not neighbours:
        yield "  no normal portion stands near it in this journal, so nothing is called usual"
    for one in signals(facts, portion, neighbours):
        this = "-" if one.value is None else f"{one.value:.{one.digits}f} {one.unit}"
        band = "-"
        if one.usual is not None:
            band = " - ".join(f"{number:.{one.digits}f}" for number in one.usual) + f" {one.unit}"
        yield f"  {one.signal:<20} {this:>10}   {band}{'   outside' * one.outside}"


class Around(NamedTuple):
    """A portion of a journal, the bench, and the normal portions nearest to it."""

    facts: BenchFacts
    portion: Portion
    good: list[Portion]


def around(path: Path, number: int) -> Around:
    """Return a portion with its neighbours.

    Raises: JournalError when the journal cannot be read or has no such portion.
    """
    reader = JournalReader(path)
    portions = read_portions(reader)
    here = next((index for index, portion in enumerate(portions) if portion.number == number), None)
    if here is None:
        numbers = f"{portions[0].number} to {portions[-1].number}" if portions else "none"
        raise JournalError(f"There is no portion {number} in this journal: it has {numbers}.")
    near = portions[max(0, here - NEIGHBOURS) : here] + portions[here + 1 : here + 1 + NEIGHBOURS]
    good = [other for other in near if other.record["class"] == "normal"]
    return Around(facts_of(reader), portions[here], good)


def portion_lines(path: Path, number: int) -> Iterator[str]:
    """Give the whole text of one portion. Raises: as `around`."""
    facts, portion, good = around(path, number)
    record = portion.record
    mass = f"   {_grams(portion.mass_kg)}" if portion.mass_kg is not None else ""
    yield (
        f"REPLAY - nothing moves   bench {facts.name}   portion {number}   {record['class']}   "
        f"{record['outcome']}   tube {record.get('tube') or '-'}{mass}"
    )
    yield ""
    yield from event_lines(facts, portion)
    yield ""
    yield from usual_lines(facts, portion, good)


def portion_data(path: Path, number: int) -> dict[str, Any]:
    """Return the same for programs: the record, each event with its words, and the signals, SI but
    for these, which name their unit. Raises: as `around`."""
    facts, portion, good = around(path, number)
    events = [
        {"kind": event.tag, **msgspec.to_builtins(event), "what": event_words(facts, event)}
        for event in portion.events
    ]
    rows = [one._asdict() for one in signals(facts, portion, good)]
    return {"bench": facts.name, **_data(portion), "events": events, "signals": rows}


def _data(portion: Portion) -> dict[str, Any]:
    return {"portion": portion.record, "mass_kg": portion.mass_kg}


def series_data(path: Path) -> list[dict[str, Any]]:
    """Return each portion of a journal with its weight.

    Raises: JournalError when the journal cannot be read.
    """
    reader = JournalReader(path)
    bench = facts_of(reader).name
    return [{"bench": bench, **_data(portion)} for portion in read_portions(reader)]


def series_lines(path: Path) -> Iterator[str]:
    """Give one line a portion of a journal.

    Raises: JournalError when the journal cannot be read.
    """
    reader = JournalReader(path)
    portions = read_portions(reader)
    facts = facts_of(reader)
    yield f"REPLAY - nothing moves   bench {facts.name}   {len(portions)} portions"
    if portions:
        yield (
            f"  {'portion':>7}  {'class':<11} {'outcome':<9} {'stroke':>8}  {'push':>7}  "
            f"{'cut':>7}  {'weight':>8}"
        )
    for portion in portions:
        record = portion.record
        times = record.get("phase_s", {})
        push = f"{times['push']:.2f} s" if "push" in times else "-"
        cut = f"{times['cut']:.2f} s" if "cut" in times else "-"
        stroke = record.get("asked_m", {}).get("push")
        yield (
            f"  {portion.number:>7}  {record['class']:<11} {record['outcome']:<9} "
            f"{f'{stroke * 1000:.1f} mm' if stroke is not None else '-':>8}  {push:>7}  {cut:>7}  "
            f"{_grams(portion.mass_kg) if portion.mass_kg is not None else '-':>8}"
        )
