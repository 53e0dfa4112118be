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

from benchd.analysis.export_blocks import NONE, VALUES_AT, Block, Blocks
from benchd.analysis.export_columns import EXPORTS, Column
from benchd.analysis.export_records import Weights, portion_row, weight_row
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
        for block in blocks.read(SAMPLE_KINDS):
            yield Batch(_samples(block, schema), int(block.n[-1]))
        return
    assert prelude.facts is not None  # Blocks saw to it.
    told = _Told(reader.views, LineWords(prelude.facts), words)
    for block in blocks.read(None if choice.everything else EVENT_KINDS):
        yield Batch(_events(block, told, schema), int(block.n[-1]))


def _moments(block: Block) -> list[pa.Array]:
    none = block.board_us == NONE
    return [
        pa.array(block.n),
        pa.array(block.t_ns),
        pa.array(block.wall_us).cast(TYPES["moment"]),
        pa.array(block.board_us * 1000, mask=none),
    ]


def _readings(block: Block) -> list[pa.Array]:
    return [
        pa.array(values, from_pandas=True).cast(TYPES["whole"])
        if name.endswith("_counts")
        else pa.array(values, from_pandas=True)
        for name, values in block.readings.items()
    ]


def _samples(block: Block, schema: pa.Schema) -> pa.RecordBatch:
    at = np.array(block.places.get(m.Sample.code, []), dtype=np.int64)
    # The number of a sample is the first value of its line.
    numbers = pa.array([row[VALUES_AT] for row in block.rows], TYPES["whole"])
    columns = [
        *_moments(block),
        numbers,
        pa.array(block.portion, mask=block.portion == 0),
        pa.array(PHASES).take(pa.array(block.phase, mask=block.phase == 0)),
        *_readings(block),
    ]
    return pa.RecordBatch.from_arrays(columns, schema=schema).take(pa.array(at))


def _events(block: Block, told: _Told, schema: pa.Schema) -> pa.RecordBatch:
    said = told.of(block)
    columns = [
        *_moments(block),
        said.kinds,
        pa.array(block.portion, mask=block.portion == 0),
        *_readings(block),
        said.texts,
        said.data,
    ]
    return pa.RecordBatch.from_arrays(columns, schema=schema)


class _Said(NamedTuple):
    """Kind, words and content of each row of a block."""

    kinds: pa.Array
    texts: pa.Array
    data: pa.Array


class _Told:
    """Names, words and contents of entries. Of a record it also puts portion and position in."""

    def __init__(self, views: Sequence[View], lines: LineWords, words: RecordWords) -> None:
        self._views = {view.kind: view for view in views}
        self._lines = lines
        self._words = words

    def of(self, block: Block) -> _Said:
        names: list[str] = []
        texts: list[pa.Array] = []
        data: list[pa.Array] = []
        order: list[int] = []
        codes = np.empty(len(block.rows), dtype=np.int32)
        for kind, places in block.places.items():
            view = self._views.get(kind) or View(str(kind), kind, ())
            codes[places] = len(names)
            names.append(view.name)
            order += places
            if view.columns:
                values = block.columns(kind)[VALUES_AT : VALUES_AT + len(view.columns)]
                texts.append(pa.array(self._numbers_words(view, values), TYPES["text"]))
                data.append(_json(view, block))
            else:
                found = [self._text(view, block, at) for at in places]
                texts.append(pa.array([text for text, _ in found], TYPES["text"]))
                data.append(pa.array([kept for _, kept in found], TYPES["json"]))
        # Made kind by kind, so put back into the order of the rows.
        back = np.empty(len(order), dtype=np.int64)
        back[order] = np.arange(len(order))
        return _Said(
            pa.array(names).take(pa.array(codes)),
            pa.concat_arrays(texts).take(pa.array(back)),
            pa.concat_arrays(data).take(pa.array(back)),
        )

    def _numbers_words(self, view: View, values: list[tuple[Any, ...]]) -> list[str]:
        spec = m.BY_CODE.get(view.kind)
        if spec is not None and spec.cls.__struct_fields__ == view.columns:
            return self._lines.of(view.kind, values)
        name = "lease returned" if view.kind == ledger.RENEW else view.name
        return [f"{name} {' '.join(map(str, row))}" for row in zip(*values, strict=True)]

    def _text(self, view: View, block: Block, at: int) -> tuple[str, str]:
        """Words and content of an entry that is text."""
        text = block.rows[at][-1] or ""
        data = _decoded(text)
        if data is None:
            words = self._lines.of_greeting(text) if view.kind == m.Bench.code else text
            return _one_line(words), msgspec.json.encode({"text": text}).decode()
        portion = data.get("portion") or data.get("number")
        if isinstance(portion, int) and 0 < portion < 2**63:
            block.portion[at] = portion
        position_m = data.get("position_m")
        if isinstance(position_m, int | float):
            block.readings["position_m"][at] = position_m
        if "\n" in text:
            text = msgspec.json.format(text, indent=-1)
        return _one_line(self._words(view.name, data)), text


def _json(view: View, block: Block) -> pa.Array:
    """Contents of lines as JSON, keys as in the view."""
    arrays = [block.array(view.kind, index) for index in range(len(view.columns))]
    parts: list[Any] = []
    for name, array in zip(view.columns, arrays, strict=True):
        parts += [f'{"," if parts else "{"}"{name}":', array.cast(pa.string()).fill_null("null")]
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
