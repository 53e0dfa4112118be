"""Archiving a closed journal as Parquet; verified against the journal before it gets its name."""

from __future__ import annotations

from collections.abc import Callable
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet

from benchd.analysis import archive_format as form
from benchd.analysis.blocks import Block, blocks_of
from benchd.analysis.export_files import whole_file
from benchd.analysis.integrity import check
from benchd.analysis.reader import JournalReader, JournalState
from benchd.io.journal_disk import beside, is_being_written
from benchd.io.journal_format import (
    JOURNAL_SUFFIX,
    OPEN_MARK_SUFFIX,
    JournalError,
    View,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

ROW_GROUP = 65_536
"""Entries in memory at a time, and in one row group."""

COMPRESSION_LEVEL = 12
"""Higher levels take twice the time for a fiftieth less."""

_WHOLE = pa.int64()
_HEAD_COLUMNS = (
    ("n", _WHOLE),
    ("t_ns", _WHOLE),
    ("kind", pa.string()),
    ("code", _WHOLE),
    ("commit_after_us", _WHOLE),
    ("text", pa.string()),
)
Progress = Callable[[int], object]


def archive(
    path: Path, target: Path | None = None, progress: Progress = lambda n: None
) -> form.ArchiveFacts:
    """Make the archive of one closed journal, beside it or at `target`.

    Before it gets its name it is read back whole, and every seal must come out as in the journal.
    progress: is told how many entries are done, first written, then read back. Raises JournalError
    when the journal is being written, is not as it was written, or the archive is there already or
    cannot be written.
    """
    refuse_open(path)
    report = check(path)
    if not report.clean:
        raise JournalError(f"{path.name} is not archived: {report.findings[0]}")
    target = target or path.with_name(f"{form.journal_name(path)}.parquet")
    reader = JournalReader(path)
    with whole_file(target) as file:
        _write(reader, file, progress)
        file.flush()
        _verify(reader, Path(file.name), progress)
    return form.facts_of(target)


def refuse_open(path: Path) -> None:
    """Raise JournalError when a daemon writes this journal."""
    if is_being_written(path):
        raise JournalError(
            f"{path.name} is being written by the daemon of its bench: it can be archived once "
            "that has ended."
        )


def remove(path: Path) -> None:
    """Delete a journal that was archived, with what lies beside it.

    Raises JournalError when it is the newest of its folder, since the next run of the daemon goes
    on from it, or when it cannot be deleted.
    """
    refuse_newest(path)
    try:
        for suffix in ("-wal", "-shm", OPEN_MARK_SUFFIX):
            beside(path, suffix).unlink(missing_ok=True)
        path.unlink()
    except OSError as error:
        raise JournalError(
            f"The archive is made, but {path.name} could not be deleted ({error.strerror})."
        ) from error


def refuse_newest(path: Path) -> None:
    """Raise JournalError when the next run of a daemon would go on from this journal."""
    journals = sorted(path.parent.glob(f"*{JOURNAL_SUFFIX}"))
    if journals and journals[-1].name == path.name:
        raise JournalError(
            f"{path.name} is the newest journal of its bench: the next run takes portion numbers, "
            "proof and taught levels from it. Archive it without --remove, or a later time."
        )


def schema_of(views: tuple[View, ...]) -> pa.Schema:
    """The columns of an archive."""
    names = [name for columns in form.column_names(views).values() for name in columns]
    return pa.schema([*_HEAD_COLUMNS, *((name, _WHOLE) for name in (*names, *form.VALUES))])


def _encodings(views: tuple[View, ...], schema: pa.Schema) -> dict[str, str]:
    noisy = {f"{view.name}_{name}" for view in views for name in view.columns if name in form.NOISY}
    noisy.add("commit_after_us")
    return {
        name: "BYTE_STREAM_SPLIT" if name in noisy else "DELTA_BINARY_PACKED"
        for name in schema.names
        if name not in ("kind", "text")
    } | {"text": "PLAIN"}


def packing(views: tuple[View, ...], schema: pa.Schema) -> dict[str, Any]:
    """How the columns of an archive are packed, as the writer's options."""
    return {
        "compression": "zstd",
        "compression_level": COMPRESSION_LEVEL,
        "use_dictionary": ["kind"],
        # Least and most of each of a hundred columns in each row group would be a fiftieth of the
        # file; these are what a query is narrowed by, and what shows that no value is nameless.
        "write_statistics": ["n", "t_ns", "kind", *form.VALUES],
        "column_encoding": _encodings(views, schema),
        # Text packs better the more of it one page holds.
        "data_page_size": 4 * 2**20,
        "store_schema": False,
    }


def _words(reader: JournalReader) -> dict[str, str]:
    """What the archive says of itself and of its journal, beside the rows."""
    seals = reader.seals_at_end(1)
    first = next(iter(reader.seals()))
    state = reader.state()
    times = form.CommitTimes()
    for seal in reader.seals():
        times.add(seal)
    words = {
        form.VERSION: str(form.ARCHIVE_VERSION),
        form.HEAD: seals[0].hash.hex(),
        form.ENTRIES: str(seals[0].last),
        form.COMMITS: str(seals[0].n),
        form.STATE: state,
        form.FIRST_US: str(first.wall_us),
        form.TIMES: times.digest(),
        **{form.META_PREFIX + key: value for key, value in reader.meta.items()},
    }
    if state is JournalState.CLOSED:
        words[form.CLOSED_US] = str(seals[0].wall_us)
    return words


def _write(reader: JournalReader, file: Any, progress: Progress) -> None:
    views = reader.views
    schema = schema_of(views)
    with pyarrow.parquet.ParquetWriter(file, schema, **packing(views, schema)) as writer:
        writer.add_key_value_metadata(_words(reader))
        commits = _Commits(reader)
        for block in blocks_of(reader, size=ROW_GROUP):
            writer.write_table(_table(block, views, commits, schema), row_group_size=ROW_GROUP)
            progress(int(block.n[-1]))


class _Commits:
    """When each commit ended, as the archive tells it."""

    def __init__(self, reader: JournalReader) -> None:
        self._seals = (seal for seal in reader.seals() if seal.last > 0)
        self._next = next(self._seals, None)
        self._clock = form.CommitClock(reader.meta)

    def column(self, block: Block) -> list[int | None]:
        """For each row, how long after its first entry the commit that ends with it ended [us]."""
        found: list[int | None] = [None] * len(block)
        pairs = zip(block.n.tolist(), block.t_ns.tolist(), strict=True)
        for at, (n, t_ns) in enumerate(pairs):
            self._clock.see(t_ns)
            if self._next is not None and self._next.last == n:
                found[at] = self._clock.end_after_us(self._next.wall_us)
                self._next = next(self._seals, None)
        return found


def _table(block: Block, views: tuple[View, ...], commits: _Commits, schema: pa.Schema) -> pa.Table:
    columns: dict[str, pa.Array] = dict.fromkeys(schema.names, pa.nulls(len(block), _WHOLE))
    columns["n"], columns["t_ns"] = pa.array(block.n), pa.array(block.t_ns)
    columns["commit_after_us"] = pa.array(commits.column(block), _WHOLE)
    texts = [block.texts.get(at) for at in range(len(block))]
    columns["text"] = pa.array(texts, pa.string())
    names = {view.kind: view.name for view in views}
    kinds = block.kind.tolist()
    columns["kind"] = pa.array([names.get(kind) for kind in kinds], pa.string())
    if not names.keys() >= block.places.keys():
        columns["code"] = pa.array([None if kind in names else kind for kind in kinds], _WHOLE)
    spread = form.column_names(views)
    for index, spare in enumerate(form.VALUES):
        value = block.value(index)
        unnamed = np.ones(len(block), dtype=bool)
        for kind in block.places:
            named = spread.get(kind, ())
            if index < len(named):
                columns[named[index]] = _only(value, block.kind == kind)
                unnamed &= block.kind != kind
        if value.null_count < len(block):
            columns[spare] = _only(value, unnamed)
    return pa.Table.from_arrays([columns[name] for name in schema.names], schema=schema)


def _only(values: pa.Array, where: NDArray[np.bool_]) -> pa.Array:
    return pc.if_else(pa.array(where), values, pa.scalar(None, _WHOLE))


def _verify(reader: JournalReader, path: Path, progress: Progress) -> None:
    """Read the archive back; every seal it gives must be the journal's own."""
    made = (seal for part in form.parts(path) for seal in _told(part, progress))
    for seal, again in zip_longest(reader.seals(), made):
        if seal != again:
            raise JournalError(
                f"{reader.path.name} is not archived: read back, the archive differs at commit "
                f"{(seal or again).n}. Check the disk."
            )


def _told(part: form.Part, progress: Progress) -> list[Any]:
    if part.rows:
        progress(part.rows[-1][0])
    return part.seals
