"""Rows of a journal, some ten thousand at a time, as arrays of SI values.

Everything here works on whole arrays: a row at a time would take a minute for what is asked in
seconds.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import islice
from operator import itemgetter
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from benchd.analysis.export_times import BoardClock, Prelude
from benchd.analysis.reader import JournalReader
from benchd.io.journal_format import JournalError, Row, View
from protocols import messages as m
from protocols.limits import NOT_FITTED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Whole = NDArray[np.int64]
    Number = NDArray[np.float64]

BLOCK = 20_000
"""Entries in memory at a time."""

VALUES_AT = 3
"""Place of the first value in a row."""

NONE = -1
"""Stands for no board time."""

WANTED = ("t_us", "portion", "position", "eye", "thrust", "air", "supply")
BEGINS, ENDS = m.Phase.code, frozenset({m.Ended.code, m.Boot.code, m.Bench.code})


class Block:
    """Arrays of equal length over rows that follow one another.

    wall_us: time of day. board_us: board time without wraps, NONE where there is none. portion:
    full number, 0 for none. phase: of the portion or dry stroke under way, 0 at rest. Readings are
    SI, NaN where not fitted or not in the row.
    """

    def __init__(self, rows: Sequence[Row], places: dict[int, list[int]]) -> None:
        self.rows = rows
        self.places = places
        self._columns: dict[int, list[tuple[Any, ...]]] = {}
        self._arrays: dict[tuple[int, int], pa.Array] = {}
        self.n: Whole = np.fromiter(map(itemgetter(0), rows), np.int64, len(rows))
        self.t_ns: Whole = np.fromiter(map(itemgetter(1), rows), np.int64, len(rows))
        self.wall_us = self.board_us = self.portion = self.phase = self.n
        self.readings: dict[str, Number] = {}

    def columns(self, kind: int) -> list[tuple[Any, ...]]:
        """The columns of the rows of one kind, as stored."""
        if kind not in self._columns:
            chosen = [self.rows[at] for at in self.places[kind]]
            self._columns[kind] = list(zip(*chosen, strict=True))
        return self._columns[kind]

    def array(self, kind: int, index: int) -> pa.Array:
        """One value of the rows of one kind, None as null."""
        if (kind, index) not in self._arrays:
            column = self.columns(kind)[VALUES_AT + index]
            self._arrays[kind, index] = pa.array(column, pa.int64())
        return self._arrays[kind, index]


def grouped(rows: Sequence[Row]) -> dict[int, list[int]]:
    """The places of the rows of each kind."""
    places: dict[int, list[int]] = defaultdict(list)
    for at, row in enumerate(rows):
        places[row[2]].append(at)
    return places


class Blocks:
    """Blocks of a journal, in order."""

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
            (VALUES_AT + view.columns.index("phase") for view in reader.views if _begins(view)),
            None,
        )
        self._clock: BoardClock = prelude.board_clock()
        # The portion (its low bits) and phase that the last marking entry left.
        self._under_way = (0, 0)

    def read(self, kinds: frozenset[int] | None) -> Iterator[Block]:
        """Blocks of the entries of these kinds; None for all."""
        rows = self._reader.rows(kinds=kinds)
        while chosen := list(islice(rows, BLOCK)):
            yield self._block(Block(chosen, grouped(chosen)))

    def _block(self, block: Block) -> Block:
        count = len(block.rows)
        raw = {name: np.full(count, np.nan) for name in WANTED}
        for kind in block.places:
            wanted = self._wanted.get(kind)
            if wanted:
                at = np.array(block.places[kind])
                for name, index in wanted:
                    # Where a value is missing, pyarrow gives a number that is none.
                    raw[name][at] = block.array(kind, index).to_numpy(zero_copy_only=False)
        block.wall_us = self._prelude.wall_us(block.n, block.t_ns)
        block.board_us = self._board_us(block.n, raw["t_us"])
        low = np.nan_to_num(raw["portion"]).astype(np.int64)
        low, block.phase = self._fill(block, low)
        block.portion = self._prelude.portions(block.n, low)
        block.readings = {
            "position_m": raw["position"] / self._steps_per_m,
            "eye_counts": _fitted(raw["eye"]),
            "thrust_n": _fitted(raw["thrust"]) / 10,
            "air_pa": _fitted(raw["air"]) * 100,
            "supply_v": _fitted(raw["supply"]) / 1000,
        }
        return block

    def _board_us(self, n: Whole, t_us: Number) -> Whole:
        has = ~np.isnan(t_us)
        board_us = np.full(len(n), NONE, dtype=np.int64)
        board_us[has] = self._clock.unwrap(n[has], t_us[has].astype(np.int64))
        return board_us

    def _fill(self, block: Block, low: Whole) -> tuple[Whole, Whole]:
        """Carry portion and phase on from the entry that began them; samples take both."""
        count = len(block.rows)
        marks = np.full(count, NONE, dtype=np.int64)
        portion, phase = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
        for kind in ENDS:
            marks[block.places.get(kind, [])] = block.places.get(kind, [])
        began = block.places.get(BEGINS, [])
        if began and self._phase_at is not None:
            marks[began] = began
            portion[began] = low[began]
            phase[began] = [block.rows[at][self._phase_at] or 0 for at in began]
        last = np.maximum.accumulate(marks)
        before, during = last == NONE, np.maximum(last, 0)
        portion = np.where(before, self._under_way[0], portion[during])
        phase = np.where(before, self._under_way[1], phase[during])
        if count:
            self._under_way = (int(portion[-1]), int(phase[-1]))
        samples = block.places.get(m.Sample.code, [])
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
