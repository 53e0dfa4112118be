"""Judging and explaining large journals: how long it takes, how it grows, beside a bare scan.

The journal is that of a simulated bench over and over, each time later, with portions numbered on,
weights and signals that scatter, and one odd portion in 200.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any

import duckdb
import msgspec
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from benchd.analysis import archive, archive_format
from benchd.core import ledger
from benchd.io.journal_format import Row, views_of_meta
from benchd.io.migrations import migrate, view_sql
from protocols import messages as m
from tests.bench import export
from tests.bench.export import Run, run

ODD_ONE_IN = 200
SEED = 11
PORTION, WEIGHT, TUBE = (ledger.RECORDS[name] for name in ("portion", "weight", "tube"))
SCAN = """
import sys, duckdb
duckdb.sql("SET threads = 2")
duckdb.sql(f"SELECT kind, count(*), min(t_ns), max(t_ns), max(length(text)) FROM '{sys.argv[1]}' "
           "GROUP BY kind").fetchall()
"""


def made(folder: Path, entries: int) -> Path:
    """Return the archive of a closed journal with so many entries."""
    world = export._worked()
    meta = world.stores[-1].meta
    path = folder / f"20270115T080000.000000Z-{entries:08x}.journal"
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = OFF")
        migrate(connection)
        connection.execute("BEGIN")
        for view in views_of_meta(meta):
            connection.execute(view_sql(view))
        connection.executemany("INSERT INTO meta VALUES (?, ?)", sorted(meta.items()))
        rows = list(world.stores[-1].rows)
        export._fill(connection, meta, islice(_numbered(rows), entries))
        connection.execute("COMMIT")
    target = archive.archive(path).path
    path.unlink()
    return target


def _numbered(once: list[Row]) -> Iterator[Row]:
    """The rows over and over, with portions numbered on."""
    chance = random.Random(SEED)
    portions = sum(row[2] == PORTION for row in once)
    places = {
        spec.cls.code: spec.cls.__struct_fields__.index("portion")
        for spec in m.MESSAGES.values()
        if issubclass(spec.cls, m.Event) and "portion" in spec.cls.__struct_fields__
    }
    at, turn = 0, 0
    for row in export._rows(once):
        at += 1
        if at > len(once) - bool(turn):
            at, turn = 1, turn + 1
        values = list(row)
        place = places.get(row[2])
        if place is not None and values[3 + place]:
            values[3 + place] = (values[3 + place] + turn * portions) % 65_536
        elif row[2] in (PORTION, WEIGHT, TUBE):
            record = msgspec.json.decode(row[-1] or "{}", type=dict[str, Any])
            values[-1] = _renumbered(row[2], record, turn, portions, chance)
        yield tuple(values)


def _renumbered(
    kind: int, record: dict[str, Any], turn: int, portions: int, chance: random.Random
) -> str:
    if kind == TUBE:
        record["id"] = f"{record['id']}-{turn}"
    elif kind == WEIGHT:
        record["portion"] += turn * portions
        odd = 0.88 if record["portion"] % ODD_ONE_IN == 0 else 1.0
        record["mass_kg"] = round(0.030 * odd * (1 + chance.gauss(0, 0.012)), 4)
    else:
        record["number"] += turn * portions
        record["tube"] = f"{record['tube']}-{turn}"
        odd = 1.7 if record["number"] % ODD_ONE_IN == ODD_ONE_IN // 2 else 1.0
        record["cutter"]["stroke_s"] *= odd * (1 + chance.gauss(0, 0.01))
        for name in record["thrust_n"]:
            record["thrust_n"][name] *= 1 + chance.gauss(0, 0.02)
    return msgspec.json.encode(record).decode()


def judged(path: Path) -> Run:
    """Every portion judged."""
    return run("-m", "benchd", "judge", "--json", str(path))


def explained(path: Path) -> Run:
    """Every portion looked at, the odd ones explained."""
    return run("-m", "benchd", "why", "--json", str(path))


def one_explained(path: Path, number: int) -> Run:
    """One portion explained; near the front it takes longest, as it may be weighed again later."""
    return run("-m", "benchd", "why", "--json", "--portion", str(number), str(path))


def bare() -> Run:
    """An interpreter that does nothing."""
    return run("-c", "pass")


def scan(path: Path) -> Run:
    """The bare engine's scan of the same archive."""
    return run("-c", SCAN, str(path))


def repeated(source: Path, folder: Path, times: int) -> Path:
    """Return an archive that holds another so many times, each time later, with portions and tubes
    numbered on. Its head is not that of its entries, which a study does not ask for."""
    target = folder / f"20270115T080000.000000Z-{times:08d}.journal.parquet"
    with pq.ParquetFile(source) as file:
        words = {key: word for key, word in file.metadata.metadata.items() if key[:5] != b"ARROW"}
        count = file.metadata.num_rows
        words[b"entries"] = str(count * times).encode()
        ((portions, span_ns),) = duckdb.execute(
            "SELECT count(*) FILTER (kind = 'portion'), max(t_ns) - min(t_ns) FROM read_parquet(?)",
            [str(source)],
        ).fetchall()
        # Level 3 takes a third of the time, and is unpacked as fast.
        views = views_of_meta(archive_format.facts_of(source).meta)
        options = archive.packing(views, file.schema_arrow) | {"compression_level": 3}
        with pq.ParquetWriter(target, file.schema_arrow, **options) as writer:
            writer.add_key_value_metadata(words)
            for turn in range(times):
                for batch in file.iter_batches(archive.ROW_GROUP):
                    writer.write_table(_later(batch, turn, count, portions, span_ns + 10**8))
    return target


def _later(batch: pa.RecordBatch, turn: int, count: int, portions: int, span_ns: int) -> pa.Table:
    columns = {name: batch[name] for name in batch.schema.names}
    columns["n"] = pc.add(columns["n"], turn * count)
    columns["t_ns"] = pc.add(columns["t_ns"], turn * span_ns)
    texts = batch["text"].to_pylist()
    kinds = {"portion": PORTION, "weight": WEIGHT, "tube": TUBE}
    for at, name in enumerate(batch["kind"].to_pylist()):
        if turn and name in kinds:
            record = msgspec.json.decode(texts[at], type=dict[str, Any])
            numbered = {"portion": "number", "weight": "portion"}.get(name)
            if numbered:
                record[numbered] += turn * portions
            for key in {"id", "tube"} & record.keys():
                record[key] = f"{record[key]}.{turn}"
            texts[at] = msgspec.json.encode(record).decode()
    columns["text"] = pa.array(texts, pa.string())
    for name in columns:
        if name.startswith("line_") and name.endswith("_portion"):
            moved = pc.add(columns[name], turn * portions)
            wrapped = pc.bit_wise_and(moved, 0xFFFF)
            columns[name] = pc.if_else(pc.equal(columns[name], 0), columns[name], wrapped)
    return pa.table(list(columns.values()), schema=batch.schema)
