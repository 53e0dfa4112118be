"""Tables into files: CSV after RFC 4180, JSON Lines, Parquet; whole files or none.

A file gets its name only when it is complete, so that whatever bears the name is a whole export.
What is no plain file (a pipe, a device) is written as it is.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any, Protocol

import msgspec
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet

from benchd.io.journal_format import JournalError

ROW_GROUP = 100_000
"""Rows of a Parquet file that are held in memory and written as one group."""

_NEWLINE_STAND_IN = "\x00"
"""Stands for a line end inside a text while the ends of records are set: no journal holds it."""


class Writer(Protocol):
    """Takes tables one after the other."""

    def write(self, table: pa.RecordBatch) -> None:
        """Take some rows."""

    def close(self) -> None:
        """Write what is still held."""


class Csv:
    """CSV after RFC 4180: CRLF after each record, texts quoted, nothing between two commas where
    there is no value."""

    def __init__(self, file: IO[bytes], schema: pa.Schema, json_columns: frozenset[str]) -> None:
        self._file = file
        self._schema = schema
        self._on_one_line = json_columns
        self._put(pa.RecordBatch.from_pylist([], schema=schema), header=True)

    def write(self, table: pa.RecordBatch) -> None:
        """Take some rows."""
        self._put(table, header=False)

    def close(self) -> None:
        """Nothing is held back."""

    def _put(self, table: pa.RecordBatch, *, header: bool) -> None:
        columns = []
        table = _with_iso_times(table)
        for name, column in zip(self._schema.names, table.columns, strict=True):
            if pa.types.is_string(column.type) and name not in self._on_one_line:
                column = pc.replace_substring(column, "\n", _NEWLINE_STAND_IN)
            columns.append(column)
        sink = pa.BufferOutputStream()
        plain = pa.RecordBatch.from_arrays(columns, names=self._schema.names)
        pyarrow.csv.write_csv(plain, sink, pyarrow.csv.WriteOptions(include_header=header))
        lines = sink.getvalue().to_pybytes().replace(b"\n", b"\r\n")
        self._file.write(lines.replace(_NEWLINE_STAND_IN.encode(), b"\n"))


class JsonLines:
    """JSON Lines: UTF-8, one object a line, every key in every line, null where there is no
    value."""

    def __init__(self, file: IO[bytes], schema: pa.Schema, json_columns: frozenset[str]) -> None:
        self._file = file
        self._json = json_columns

    def write(self, table: pa.RecordBatch) -> None:
        """Take some rows."""
        parts: list[Any] = []
        for name, column in zip(table.schema.names, table.columns, strict=True):
            parts += [f'{"," if parts else "{"}"{name}":', self._as_json(name, column)]
        lines = pc.binary_join_element_wise(*parts, "}\n", "")
        self._file.write(_joined(lines))

    def close(self) -> None:
        """Nothing is held back."""

    def _as_json(self, name: str, column: pa.Array) -> pa.Array:
        if name not in self._json:
            if pa.types.is_timestamp(column.type):
                column = pc.binary_join_element_wise('"', _iso(column), '"', "")
            elif pa.types.is_string(column.type):
                # Each text once, since most come again and again.
                known = column.dictionary_encode()
                texts = [
                    msgspec.json.encode(text).decode() for text in known.dictionary.to_pylist()
                ]
                column = pa.array(texts, pa.string()).take(known.indices)
            else:
                column = column.cast(pa.string())
        return column.fill_null("null")


class Parquet:
    """Parquet with zstd, in row groups of bounded size."""

    def __init__(self, file: IO[bytes], schema: pa.Schema) -> None:
        self._writer = pyarrow.parquet.ParquetWriter(file, schema, compression="zstd")
        self._held: list[pa.RecordBatch] = []
        self._rows = 0

    def write(self, table: pa.RecordBatch) -> None:
        """Take some rows."""
        self._held.append(table)
        self._rows += len(table)
        if self._rows >= ROW_GROUP:
            self._flush()

    def close(self) -> None:
        """Write what is held, and the foot of the file."""
        self._flush()
        self._writer.close()

    def _flush(self) -> None:
        if self._rows:
            self._writer.write_table(pa.Table.from_batches(self._held), row_group_size=ROW_GROUP)
        self._held, self._rows = [], 0


def writer_of(form: str, file: IO[bytes], schema: pa.Schema, json: frozenset[str]) -> Writer:
    """The writer of a form: "csv", "jsonl" or "parquet". `json`: columns whose text is JSON."""
    if form == "csv":
        return Csv(file, schema, json)
    return Parquet(file, schema) if form == "parquet" else JsonLines(file, schema, json)


@contextmanager
def whole_file(path: Path, *, overwrite: bool = False) -> Iterator[IO[bytes]]:
    """A file to write that appears under its name when all went well, and else not at all.

    Raises JournalError, with one sentence, when it is there already and `overwrite` is not set, or
    when it cannot be written.
    """
    if path.exists() and not path.is_file():
        if path.is_dir():
            raise JournalError(f"{path} is a folder: name a file in it.")
        with _said(path), path.open("wb") as file:
            yield file
        return
    if path.exists() and not overwrite:
        raise JournalError(f"{path} is there already: add --overwrite to replace it.")
    part = path.with_name(f".{path.name}.part-{os.getpid()}")
    try:
        with _said(path):
            with part.open("xb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise


@contextmanager
def _said(path: Path) -> Iterator[None]:
    """Errors of the disk as a sentence."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise JournalError(
            f"{path} could not be written ({error.strerror or error}): nothing is left of it. "
            "Free some space, or name another place."
        ) from error


def _with_iso_times(table: pa.RecordBatch) -> pa.RecordBatch:
    """The same table with moments as text."""
    columns = [
        _iso(column) if pa.types.is_timestamp(column.type) else column for column in table.columns
    ]
    return pa.RecordBatch.from_arrays(columns, names=table.schema.names)


def _iso(moments: pa.Array) -> pa.Array:
    """Moments as ISO 8601 with microseconds and Z, as in 2026-11-25T18:04:43.397536Z."""
    text = moments.cast(pa.timestamp("us")).cast(pa.string())
    return pc.binary_join_element_wise(pc.utf8_replace_slice(text, 10, 11, "T"), "Z", "")


def _joined(texts: pa.Array) -> memoryview:
    """All texts of an array without a missing one, one after the other, without a copy."""
    _, ends, signs = texts.buffers()
    offsets = np.frombuffer(ends, dtype=np.int32)[texts.offset : texts.offset + len(texts) + 1]
    return memoryview(signs if signs is not None else b"")[offsets[0] : offsets[-1]]
