"""A journal as tables for other programs: batches of columns, with bounded memory.

The columns stand in export_columns. Nothing here writes: see export_files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

import msgspec
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from benchd.analysis.export_columns import EXPORTS, Column
from benchd.analysis.export_records import Weights, portion_row, weight_row
from benchd.analysis.export_signals import NONE, Blocks, Signals
from benchd.analysis.export_times import Prelude
from benchd.analysis.export_words import LineWords
from benchd.analysis.reader import JournalReader
from benchd.core import ledger
from benchd.io.journal_format import View
from protocols import messages as m
from protocols.codes import PHASES

RecordWords = Callable[[str, dict[str, Any]], str]
"""Kind and content of a record to a sentence for a person."""

TYPES: dict[str, pa.DataType] = {
    "whole": pa.int64(),
    "number": pa.float64(),
    "text": pa.string(),
    "json": pa.string(),
    "yes-no": pa.bool_(),
    "moment": pa.timestamp("us", tz="UTC"),
}
RECORDS_AT_ONCE = 5_000

EVENT_KINDS = frozenset(
    {spec.cls.code for spec in m.MESSAGES.values() if issubclass(spec.cls, m.Event)}
    | {m.No.code}
    | {code for name, code in ledger.RECORDS.items() if name != "carry"}
)
"""What happened, without the steady traffic: readings, beats, leases, what was told and sent."""

SAMPLE_KINDS = frozenset({m.Sample.code, m.Phase.code, m.Ended.code, m.Boot.code, m.Bench.code})


class Batch(NamedTuple):
    """Some rows of a table, and the number of the last entry that they were made from."""

    table: pa.RecordBatch
    last: int


class Choice(NamedTuple):
    """What is asked for. portion: only rows of this one. everything: of events, every entry."""

    what: str
    portion: int | None = None
    everything: bool = False


def schema_of(what: str) -> pa.Schema:
    """The columns of an export; each carries its meaning."""
    return pa.schema(
        [
            pa.field(column.name, TYPES[column.type], metadata={"meaning": column.meaning})
            for column in EXPORTS[what]
        ]
    )


def batches(reader: JournalReader, choice: Choice, words: RecordWords) -> Iterator[Batch]:
    """The rows asked for, in the order of the journal.

    Raises JournalError, here or later, when the journal cannot be read.
    """
    prelude = Prelude(reader)
    if choice.what in ("events", "samples"):
        found = _signals(reader, prelude, choice, words)
    else:
        found = _records(reader, prelude, choice.what)
    for batch in found:
        table = batch.table
        if choice.portion is not None:
            table = table.filter(pc.equal(table["portion"], choice.portion))
        yield Batch(table, batch.last)


def _signals(
    reader: JournalReader, prelude: Prelude, choice: Choice, words: RecordWords
) -> Iterator[Batch]:
    schema = schema_of(choice.what)
    blocks = Blocks(reader, prelude)
    if choice.what == "samples":
        for signals in blocks.read(SAMPLE_KINDS):
            if m.Sample.code in signals.block.places:
                yield Batch(_samples(signals, schema), int(signals.block.n[-1]))
        return
    assert prelude.facts is not None  # Blocks saw to it.
    told = _Told(reader.views, LineWords(prelude.facts), words)
    for signals in blocks.read(None if choice.everything else EVENT_KINDS):
        yield Batch(_events(signals, told, schema), int(signals.block.n[-1]))


def _moments(signals: Signals) -> list[pa.Array]:
    return [
        pa.array(signals.block.n),
        pa.array(signals.block.t_ns),
        pa.array(signals.wall_us).cast(TYPES["moment"]),
        pa.array(signals.board_us * 1000, mask=signals.board_us == NONE),
    ]


def _readings(signals: Signals) -> list[pa.Array]:
    return [
        pa.array(values, from_pandas=True).cast(TYPES["whole"])
        if name.endswith("_counts")
        else pa.array(values, from_pandas=True)
        for name, values in signals.readings.items()
    ]


def _samples(signals: Signals, schema: pa.Schema) -> pa.RecordBatch:
    columns = [
        *_moments(signals),
        signals.block.value(0),  # The number of a sample is the first value of its line.
        pa.array(signals.portion, mask=signals.portion == 0),
        pa.array(PHASES).take(pa.array(signals.phase, mask=signals.phase == 0)),
        *_readings(signals),
    ]
    at = pa.array(signals.block.places[m.Sample.code])
    return pa.RecordBatch.from_arrays(columns, schema=schema).take(at)


def _events(signals: Signals, told: _Told, schema: pa.Schema) -> pa.RecordBatch:
    said = told.of(signals)
    columns = [
        *_moments(signals),
        said.kinds,
        pa.array(signals.portion, mask=signals.portion == 0),
        *_readings(signals),
        said.texts,
        said.data,
    ]
    return pa.RecordBatch.from_arrays(columns, schema=schema)


class _Said(NamedTuple):
    """Kind, words and content of each entry of a block."""

    kinds: pa.Array
    texts: pa.Array
    data: pa.Array


class _Told:
    """Names, words and contents of entries. Of a record it also puts portion and position in."""

    def __init__(self, views: Sequence[View], lines: LineWords, words: RecordWords) -> None:
        self._views = {view.kind: view for view in views}
        self._lines = lines
        self._words = words

    def of(self, signals: Signals) -> _Said:
        block = signals.block
        names: list[str] = []
        texts: list[pa.Array] = []
        data: list[pa.Array] = []
        codes = np.empty(len(block), dtype=np.int32)
        for kind, places in block.places.items():
            view = self._views.get(kind) or View(str(kind), kind, ())
            codes[places] = len(names)
            names.append(view.name)
            if view.columns:
                values = [block.of(kind, index) for index in range(len(view.columns))]
                texts.append(pa.array(self._numbers_words(view, values), TYPES["text"]))
                data.append(_json(view, values))
            else:
                found = [self._text(view, signals, at) for at in places.tolist()]
                texts.append(pa.array([text for text, _ in found], TYPES["text"]))
                data.append(pa.array([kept for _, kept in found], TYPES["json"]))
        # Made kind by kind, so put back into the order of the entries.
        back = np.empty(len(block), dtype=np.int64)
        back[np.concatenate(list(block.places.values()))] = np.arange(len(block))
        return _Said(
            pa.array(names).take(pa.array(codes)),
            pa.concat_arrays(texts).take(pa.array(back)),
            pa.concat_arrays(data).take(pa.array(back)),
        )

    def _numbers_words(self, view: View, values: list[pa.Array]) -> list[str]:
        spec = m.BY_CODE.get(view.kind)
        if spec is not None and spec.cls.__struct_fields__ == view.columns:
            return self._lines.of(view.kind, values)
        if view.kind == ledger.RENEW:
            return ["lease returned"] * len(values[0])
        rows = zip(*(column.to_pylist() for column in values), strict=True)
        return [f"{view.name} {' '.join(map(str, row))}" for row in rows]

    def _text(self, view: View, signals: Signals, at: int) -> tuple[str, str]:
        """Words and content of an entry that is text."""
        text = signals.block.texts.get(at, "")
        data = _decoded(text)
        if data is None:
            words = self._lines.of_greeting(text) if view.kind == m.Bench.code else text
            return _one_line(words), msgspec.json.encode({"text": text}).decode()
        portion = data.get("portion") or data.get("number")
        if isinstance(portion, int) and 0 < portion < 2**63:
            signals.portion[at] = portion
        position_m = data.get("position_m")
        if isinstance(position_m, int | float):
            signals.readings["position_m"][at] = position_m
        if "\n" in text:
            text = msgspec.json.format(text, indent=-1)
        return _one_line(self._words(view.name, data)), text


def _json(view: View, values: list[pa.Array]) -> pa.Array:
    """Contents of lines as JSON, keys as in the view."""
    parts: list[Any] = []
    for name, column in zip(view.columns, values, strict=True):
        parts += [f'{"," if parts else "{"}"{name}":', column.cast(pa.string()).fill_null("null")]
    return pc.binary_join_element_wise(*parts, "}", "")


def _decoded(text: str) -> dict[str, Any] | None:
    try:
        data = msgspec.json.decode(text)
    except (msgspec.DecodeError, UnicodeError, RecursionError):
        return None
    return data if isinstance(data, dict) else None


def _one_line(text: str) -> str:
    return text if text.isprintable() else " ".join(text.split())


def _records(reader: JournalReader, prelude: Prelude, what: str) -> Iterator[Batch]:
    """Portions or weights: few, so each is made as one row."""
    schema = schema_of(what)
    weights = Weights(reader) if what == "portions" else None
    kind = ledger.RECORDS["portion" if what == "portions" else "weight"]
    rows: list[dict[str, Any]] = []
    for n, entry in reader.entries(kinds={kind}):
        data = _decoded(entry.text or "") or {}
        row = portion_row(data, weights) if weights is not None else weight_row(data)
        rows.append({"n": n, "t_ns": entry.t_ns, **row})
        if len(rows) >= RECORDS_AT_ONCE:
            yield _batch(rows, prelude, schema, EXPORTS[what])
            rows = []
    if rows:
        yield _batch(rows, prelude, schema, EXPORTS[what])


def _batch(
    rows: list[dict[str, Any]], prelude: Prelude, schema: pa.Schema, columns: Sequence[Column]
) -> Batch:
    n = np.array([row["n"] for row in rows], dtype=np.int64)
    for name in ("t_ns", "began_ns"):
        t_ns = np.array([row.get(name) or row["t_ns"] for row in rows], dtype=np.int64)
        wall_us = prelude.wall_us(n, t_ns).tolist()
        moment = "time_utc" if name == "t_ns" else "began_utc"
        for row, at_us in zip(rows, wall_us, strict=True):
            row[moment] = at_us if row.get(name) is not None else None
    arrays = [
        pa.array([row.get(column.name) for row in rows], TYPES[column.type])
        if column.type != "moment"
        else pa.array([row[column.name] for row in rows], pa.int64()).cast(TYPES["moment"])
        for column in columns
    ]
    return Batch(pa.RecordBatch.from_arrays(arrays, schema=schema), int(n[-1]))
