"""Entries of a journal, some ten thousand at a time, as arrays.

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

from benchd.analysis.export_times import BoardClock, Prelude
from benchd.analysis.reader import JournalReader, opened
from benchd.io.journal_format import VALUE_COUNT_MAX, JournalError, View
from protocols import messages as m
from protocols.limits import NOT_FITTED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Whole = NDArray[np.int64]
    Number = NDArray[np.float64]
    Yes = NDArray[np.bool_]

BLOCK = 20_000
"""Entries in memory at a time."""

NONE = -1
"""Stands for no board time."""

WANTED = ("t_us", "portion", "position", "eye", "thrust", "air", "supply")
BEGINS, ENDS = m.Phase.code, (m.Ended.code, m.Boot.code, m.Bench.code)

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

    def __len__(self) -> int:
        return len(self.n)

    def value(self, index: int) -> pa.Array:
        """One value of every entry; index 0 is the first."""
        if index not in self._values:
            self._values[index] = pa.array(_decoder.decode(self._raw[index]), pa.int64())
        return self._values[index]

    def of(self, kind: int, index: int) -> pa.Array:
        """One value of the entries of one kind."""
        return self.value(index).take(pa.array(self.places[kind]))


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


class Signals:
    """What the entries of a block say in SI, in arrays as long as the block.

    wall_us: time of day. board_us: board time without wraps, NONE where there is none. portion:
    full number, 0 for none. phase: of the portion or dry stroke under way, 0 at rest. Readings are
    SI, NaN where not fitted or not in the entry.
    """

    def __init__(self, block: Block) -> None:
        self.block = block
        self.wall_us: Whole = block.n
        self.board_us: Whole = block.n
        self.portion: Whole = block.n
        self.phase: Whole = block.n
        self.readings: dict[str, Number] = {}


class Blocks:
    """Blocks of a journal with their signals, in order."""

    def __init__(self, reader: JournalReader, prelude: Prelude) -> None:
        if prelude.facts is None:
            raise JournalError(
                "This journal holds no bench card, so nobody knows how far a step goes. Its tables "
                "can still be read as 'benchd guide journal' tells."
            )
        self._reader = reader
        self._prelude = prelude
        self._steps_per_m = prelude.facts.steps_per_m
        self._wanted = {view.kind: _wanted(view) for view in reader.views}
        self._phase_at = next(
            (view.columns.index("phase") for view in reader.views if _begins(view)), None
        )
        self._clock: BoardClock = prelude.board_clock()
        # The portion (its low bits) and phase that the last marking entry left.
        self._under_way = (0, 0)

    def read(self, kinds: frozenset[int] | None) -> Iterator[Signals]:
        """The entries of these kinds; None for all."""
        for block in blocks_of(self._reader, kinds):
            yield self._signals(block)

    def _signals(self, block: Block) -> Signals:
        signals = Signals(block)
        raw = {name: np.full(len(block), np.nan) for name in WANTED}
        for kind, places in block.places.items():
            for name, index in self._wanted.get(kind, ()):
                # Where a value is missing, pyarrow gives a number that is none.
                raw[name][places] = block.of(kind, index).to_numpy(zero_copy_only=False)
        signals.wall_us = self._prelude.wall_us(block.n, block.t_ns)
        signals.board_us = self._board_us(block.n, raw["t_us"])
        low = np.nan_to_num(raw["portion"]).astype(np.int64)
        low, signals.phase = self._fill(block, low)
        signals.portion = self._prelude.portions(block.n, low)
        signals.readings = {
            "position_m": raw["position"] / self._steps_per_m,
            "eye_counts": _fitted(raw["eye"]),
            "thrust_n": _fitted(raw["thrust"]) / 10,
            "air_pa": _fitted(raw["air"]) * 100,
            "supply_v": _fitted(raw["supply"]) / 1000,
        }
        return signals

    def _board_us(self, n: Whole, t_us: Number) -> Whole:
        has = ~np.isnan(t_us)
        board_us = np.full(len(n), NONE, dtype=np.int64)
        board_us[has] = self._clock.unwrap(n[has], t_us[has].astype(np.int64))
        return board_us

    def _fill(self, block: Block, low: Whole) -> tuple[Whole, Whole]:
        """Carry portion and phase on from the entry that began them; samples take both."""
        count = len(block)
        marks = np.full(count, NONE, dtype=np.int64)
        portion, phase = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
        for kind in ENDS:
            if kind in block.places:
                marks[block.places[kind]] = block.places[kind]
        began = block.places.get(BEGINS)
        if began is not None and self._phase_at is not None:
            marks[began] = began
            portion[began] = low[began]
            values = block.of(BEGINS, self._phase_at).fill_null(0)
            phase[began] = values.to_numpy(zero_copy_only=False)
        last = np.maximum.accumulate(marks)
        before, during = last == NONE, np.maximum(last, 0)
        portion = np.where(before, self._under_way[0], portion[during])
        phase = np.where(before, self._under_way[1], phase[during])
        self._under_way = (int(portion[-1]), int(phase[-1]))
        samples = block.places.get(m.Sample.code)
        if samples is not None:
            low[samples] = portion[samples]
        return low, phase


def _wanted(view: View) -> list[tuple[str, int]]:
    if not view.name.startswith("line_"):
        return []
    return [(name, index) for index, name in enumerate(view.columns) if name in WANTED]


def _begins(view: View) -> bool:
    return view.kind == BEGINS and "phase" in view.columns


def _fitted(values: Number) -> Number:
    return np.where(values == NOT_FITTED, np.nan, values)
