"""What the MQTT broker is told: the tree of topics, and what a message of each holds.

Topics are ROOT/BENCH/WORD; every payload is a SenML pack whose names begin with its topic. SI
units; what was not measured is left out. Every message says where the journal stood: its file and
row, and for records also the record before it, so that a reader sees a gap.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from protocols.senml import Field, pack
from protocols.status import BenchStatus

ONLINE = "online"
STATE = "state"
PORTION = "portion"
WEIGHT = "weight"
TRIP = "trip"

RETAINED = frozenset({ONLINE, STATE})
"""Words whose last message the broker keeps for those who come later."""

EYE_FULL = 1023
"""The eye is read in counts of 0 to 1023; SenML says it as a share of that."""


class Place(NamedTuple):
    """A row of a journal: the name of its file without the suffix, and the row's number."""

    journal: str
    row: int


class Head(NamedTuple):
    """The hash over a journal up to a row: kept elsewhere, it shows a tail that was cut off."""

    journal: str
    row: int
    hash: str


class Counts(NamedTuple):
    """How the records go out: how many wait for the broker, how many were dropped for others."""

    waiting: int = 0
    dropped: int = 0


def topic(root: str, bench: str, word: str) -> str:
    """Return the topic of a word."""
    return f"{root}/{bench}/{word}"


def online(base: str, at: Place, time_s: float | None, *, up: bool, why: str = "") -> bytes:
    """Return the message that a bench is there, or no longer.

    Parameters: base: its topic; time_s: [s since 1970 UTC], None for the will, which the broker
    sends later.
    """
    said = [Field("online", up), Field("why", why or None)]
    return pack(f"{base}/", time_s, [*said, *_place(at)])


def state(
    base: str,
    at: Place,
    time_s: float,
    status: BenchStatus,
    counts: Counts,
    head: Head | None = None,
) -> bytes:
    """Return the message of what the bench is at, at `time_s` [s since 1970 UTC].

    Parameters: base: its topic; at: the last record that went out; head: of the journal that is
    being written, None while there is none.
    """
    feed = [
        Field("waiting", counts.waiting, "count"),
        Field("dropped", counts.dropped, "count"),
    ]
    fields = [*_state_words(status), *_state_values(status), *_series(status), *feed, *_head(head)]
    return pack(f"{base}/", time_s, [*fields, *_place(at)])


def record(
    base: str, at: Place, after: Place | None, time_s: float, kind: str, data: Mapping[str, Any]
) -> bytes:
    """Return the message of a record of the journal.

    Parameters: base: its topic; at: its row; after: the record before it that also goes out, None
    for the first; time_s: when it was made [s since 1970 UTC]; kind: a key of `RECORDS`; data: the
    record as the journal has it.
    """
    fields = RECORDS[kind](data)
    return pack(f"{base}/", time_s, [*fields, *_place(at), *_place(after, "after-")])


def _place(at: Place | None, before: str = "") -> list[Field]:
    if at is None:
        return []
    return [Field(f"{before}journal", at.journal), Field(f"{before}row", at.row, "count")]


def _head(head: Head | None) -> list[Field]:
    if head is None:
        return []
    place = _place(Place(head.journal, head.row), "head/")
    return [*place, Field("head/hash", head.hash)]


def _state_words(status: BenchStatus) -> list[Field]:
    stops = " ".join(one.code for one in status.abnormals if one.rank >= 3)
    others = " ".join(one.code for one in status.abnormals if one.rank < 3)
    words = {
        "word": status.state,
        "phase": status.phase,
        "waits-for": status.waits_for,
        "energy/barrel": status.barrel,
        "energy/air": status.air,
        "energy/coils": status.coils,
        "not-watched": ", ".join(status.not_watched),
        "stops": stops,
        "cautions": others,
        "tube": status.tube,
        "dough": status.dough,
        "board": status.board,
    }
    return [Field(name, text or None) for name, text in words.items()]


def _state_values(status: BenchStatus) -> list[Field]:
    eye = status.eye_counts
    return [
        Field("position", status.position_m, "m"),
        Field("position-known", status.position_known),
        Field("tube-left", status.tube_left_m, "m"),
        Field("tube-left-portions", status.tube_left_portions, "count"),
        Field("aim", status.aim_kg, "kg"),
        Field("portion", status.portion, "count"),
        Field("weighed", status.n_weighed, "count"),
        Field("unweighed", len(status.unweighed), "count"),
        Field("mean", status.mean_kg, "kg"),
        Field("thrust", status.thrust_n, "N"),
        Field("air", status.air_pa, "Pa"),
        Field("supply", status.supply_v, "V"),
        Field("eye", None if eye is None else eye / EYE_FULL, "/"),
        Field("eye-sees", status.eye_sees),
        Field("link-age", status.link_age_s, "s"),
        Field("clock-error", status.clock_error_s, "s"),
        Field("lines-bad", status.lines_bad, "count"),
        Field("samples-lost", status.samples_lost, "count"),
        Field("journal-ok", status.journal_ok),
    ]


def _series(status: BenchStatus) -> list[Field]:
    series = status.series
    if series is None:
        return []
    return [
        Field("series/made", series.made, "count"),
        Field("series/of", series.count, "count"),
        Field("series/every", series.every_s, "s"),
        Field("series/paused", series.paused),
        Field("series/why", series.pause_reason or None),
    ]


class Taken(NamedTuple):
    """A value of a record that goes out: its name, where it stands, its unit, its scale to it."""

    name: str
    path: tuple[str, ...]
    unit: str = ""
    scale: float = 1.0


PORTION_VALUES: tuple[Taken, ...] = (
    Taken("number", ("number",), "count"),
    Taken("class", ("class",)),
    Taken("outcome", ("outcome",)),
    Taken("tube", ("tube",)),
    Taken("index", ("index",), "count"),
    Taken("group", ("group",), "count"),
    Taken("dough", ("dough",)),
    Taken("aim", ("aim_kg",), "kg"),
    Taken("position", ("position_m",), "m"),
    Taken("gap", ("eye", "gap_m"), "m"),
    Taken("thrust/start", ("thrust_n", "start"), "N"),
    Taken("thrust/peak", ("thrust_n", "peak"), "N"),
    Taken("thrust/at-cut", ("thrust_n", "at_cut"), "N"),
    Taken("eye/least", ("eye", "min"), "/", 1 / EYE_FULL),
    Taken("eye/mean", ("eye", "mean"), "/", 1 / EYE_FULL),
    Taken("eye/at-cut", ("eye", "at_cut"), "/", 1 / EYE_FULL),
    Taken("air/least", ("air_pa", "min"), "Pa"),
    Taken("air/at-cut", ("air_pa", "at_cut"), "Pa"),
    Taken("supply/least", ("supply_v", "min"), "V"),
    Taken("cutter/start-delay", ("cutter", "start_delay_s"), "s"),
    Taken("cutter/stroke", ("cutter", "stroke_s"), "s"),
    Taken("cutter/return-delay", ("cutter", "return_delay_s"), "s"),
    Taken("cutter/return", ("cutter", "return_s"), "s"),
    Taken("temperature", ("temperature_c",), "Cel"),
    Taken("clock-error", ("clock_error_s",), "s"),
)

WEIGHT_VALUES: tuple[Taken, ...] = (
    Taken("portion", ("portion",), "count"),
    Taken("mass", ("mass_kg",), "kg"),
    Taken("readability", ("readability_kg",), "kg"),
    Taken("look", ("look",)),
    Taken("threw", ("threw_m",), "m"),
)

TRIP_VALUES: tuple[Taken, ...] = (
    Taken("interlock", ("interlock",)),
    Taken("up", ("up",)),
    Taken("text", ("text",)),
)


def _take(table: Sequence[Taken], data: Mapping[str, Any]) -> list[Field]:
    """The values of a table that a record has; journals of other versions may lack some."""
    return [_taken(row, data) for row in table]


def _taken(row: Taken, data: Mapping[str, Any]) -> Field:
    value: Any = data
    for step in row.path:
        value = value.get(step) if isinstance(value, Mapping) else None
    if value is None or value == "":
        return Field(row.name, None)
    return Field(row.name, value * row.scale if row.scale != 1 else value, row.unit)


def _portion(data: Mapping[str, Any]) -> list[Field]:
    phases = [
        Field(f"phase/{phase}", time_s, "s") for phase, time_s in data.get("phase_s", {}).items()
    ]
    pushed = [
        Field(f"asked/{name.replace('_', '-')}", asked_m, "m")
        for name, asked_m in data.get("asked_m", {}).items()
    ]
    return [*_take(PORTION_VALUES, data), *pushed, *phases]


RECORDS: dict[str, Callable[[Mapping[str, Any]], list[Field]]] = {
    PORTION: _portion,
    WEIGHT: lambda data: _take(WEIGHT_VALUES, data),
    TRIP: lambda data: _take(TRIP_VALUES, data),
}
"""Kinds of record that go out, each under a topic of its own name, and what of them."""

WORDS = (ONLINE, STATE, *RECORDS)
"""Every topic's last word."""
