"""What the entries of a block say in SI: board and day times, portions, phases, readings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from benchd.analysis.blocks import Block, blocks_of
from benchd.analysis.export_times import BoardClock, Prelude
from benchd.analysis.reader import JournalReader
from benchd.io.journal_format import JournalError, View
from protocols import messages as m
from protocols.limits import NOT_FITTED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Whole = NDArray[np.int64]
    Number = NDArray[np.float64]
    Yes = NDArray[np.bool_]

NONE = -1
"""Stands for no board time."""

WANTED = ("t_us", "portion", "position", "eye", "thrust", "air", "supply")
BEGINS, ENDS = m.Phase.code, (m.Ended.code, m.Boot.code, m.Bench.code)


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
