"""Entries of a journal, some ten thousand at a time, as columns.

SQLite gives each column of a block as one JSON text, which is read at once: as rows, the same took
twice as long when it was measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import numpy as np
import pyarrow as pa

from benchd.analysis.reader import JournalReader, opened
from benchd.io.journal_format import VALUE_COUNT_MAX

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Whole = NDArray[np.int64]

BLOCK = 20_000
"""Entries in memory at a time."""

_COLUMNS = ("n", "t_ns", "kind", *(f"v{i}" for i in range(1, VALUE_COUNT_MAX + 1)))
_decoder = msgspec.json.Decoder(list[int | None])


class Block:
    """Entries that follow one another, as stored: a column each.

    texts: those of the entries that have one, by their place in the block. places: of the entries
    of each kind.
    """

    def __init__(self, columns: tuple[str, ...], texts: list[tuple[int, str]]) -> None:
        self.n, self.t_ns, self.kind = (_whole(column) for column in columns[:3])
        at = np.searchsorted(self.n, np.array([n for n, _ in texts], dtype=np.int64))
        self.texts = dict(zip(at.tolist(), (text for _, text in texts), strict=True))
        self.places: dict[int, Whole] = {
            int(kind): np.flatnonzero(self.kind == kind) for kind in np.unique(self.kind)
        }
        self._raw = columns[3:]
        self._values: dict[int, pa.Array] = {}
        self._of: dict[tuple[int, int], pa.Array] = {}

    def __len__(self) -> int:
        return len(self.n)

    def value(self, index: int) -> pa.Array:
        """One value of every entry; index 0 is the first."""
        if index not in self._values:
            self._values[index] = pa.array(_decoder.decode(self._raw[index]), pa.int64())
        return self._values[index]

    def of(self, kind: int, index: int) -> pa.Array:
        """One value of the entries of one kind."""
        if (kind, index) not in self._of:
            self._of[kind, index] = self.value(index).take(pa.array(self.places[kind]))
        return self._of[kind, index]


def _whole(column: str) -> Whole:
    return np.array(_decoder.decode(column), dtype=np.int64)


def blocks_of(
    reader: JournalReader, kinds: frozenset[int] | None = None, size: int = BLOCK
) -> Iterator[Block]:
    """The entries of these kinds (None for all) in order, up to `size` entries at a time.

    Ends with the last entry that was there when the call was made. The file is held only while a
    block is fetched, which happens while the block before is worked on: SQLite needs no lock of
    the interpreter meanwhile. Raises JournalError when it cannot be read.
    """
    which = "" if kinds is None else f" AND kind IN ({', '.join(map(str, sorted(kinds)))})"
    last = reader.last()
    with ThreadPoolExecutor(1) as ahead:
        fetched = ahead.submit(_fetch, reader.path, which, 0, last, size).result()
        while fetched is not None:
            columns, texts, until = fetched
            following = ahead.submit(_fetch, reader.path, which, until, last, size)
            yield Block(columns, texts)
            fetched = following.result()


def _fetch(
    path: Path, which: str, after: int, last: int, size: int
) -> tuple[tuple[str, ...], list[tuple[int, str]], int] | None:
    """Columns and texts of the next entries, and the number of the last; None when there is none.

    which: a further condition, as SQL.
    """
    chosen = f"SELECT * FROM entry WHERE n > ? AND n <= ?{which} ORDER BY n LIMIT ?"
    columns = ", ".join(f"json_group_array({name})" for name in _COLUMNS)
    texts = f"SELECT n, text FROM entry WHERE n > ? AND n <= ?{which} AND text IS NOT NULL"
    with opened(path) as connection:
        found = connection.execute(f"SELECT {columns}, max(n) FROM ({chosen})", (after, last, size))
        *block, until = found.fetchone()
        if until is None:
            return None
        rows = connection.execute(f"{texts} ORDER BY n", (after, until)).fetchall()
    return tuple(block), rows, until
