"""What an export must know of a journal before its first row: times of day, lives of the board,
numbers of portions, and the bench card."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
import numpy as np

from benchd.analysis.blocks import blocks_of
from benchd.analysis.reader import JournalReader
from benchd.core import ledger
from benchd.core.clock_map import WRAP_US
from benchd.core.facts import BenchFacts
from benchd.core.inputs import Opened, WallClock
from benchd.core.state import State
from benchd.io.journal_format import JournalError, opened_us_of
from protocols import messages

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Whole = NDArray[np.int64]

WRAP_PORTIONS = 1 << 16
PRELUDE = frozenset({ledger.INPUT, messages.Bench.code, ledger.RECORDS["portion"]})
_TIME_OF_DAY = ('"input":"opened"', '"input":"wall-clock"')


class Prelude:
    """One walk over the few entries that give the others their meaning.

    Raises JournalError when the journal, or one of these entries, cannot be read.
    """

    def __init__(self, reader: JournalReader) -> None:
        self.facts: BenchFacts | None = None
        self._clock: list[tuple[int, int, int]] = []
        self._lives: list[tuple[int, int]] = []
        self._numbers: list[tuple[int, int]] = []
        self._start(reader)
        try:
            for block in blocks_of(reader, PRELUDE):
                for at, text in block.texts.items():
                    self._take(int(block.n[at]), int(block.t_ns[at]), int(block.kind[at]), text)
        except (msgspec.MsgspecError, KeyError, TypeError, ValueError) as error:
            raise JournalError(
                f"An entry of this journal cannot be read by this version ({error}); its tables "
                "can still be read as 'benchd guide journal' tells."
            ) from error
        self._clock_rows = np.array(self._clock, dtype=np.int64).reshape(-1, 3)
        self._number_rows = np.array(self._numbers, dtype=np.int64).reshape(-1, 2)

    def _start(self, reader: JournalReader) -> None:
        first = next(iter(reader.rows()), None)
        at_us = opened_us_of(reader.meta) or 0
        self._clock.append((0, first[1] if first else 0, at_us))
        number = 0
        if "state" in reader.meta:
            try:
                state = msgspec.json.decode(reader.meta["state"], type=State)
                self.facts, number = state.facts, state.carry.last_portion
            except msgspec.MsgspecError:
                pass  # The card also stands in the first entry.
        self._numbers.append((0, number))

    def _take(self, n: int, t_ns: int, kind: int, text: str) -> None:
        if kind == ledger.RECORDS["portion"]:
            self._numbers.append((n, int(msgspec.json.decode(text)["number"])))
        elif kind == messages.Bench.code:
            said = messages.decode(text.encode("ascii"))
            assert isinstance(said, messages.Bench)
            self._lives.append((n, said.uptime_s * 1_000_000))
        elif text.startswith(tuple(f"{{{words}" for words in _TIME_OF_DAY)):
            given = ledger.read_input(kind, (), text)
            if isinstance(given, Opened):
                self.facts = given.facts
                self._numbers.append((n, given.carry.last_portion))
            if isinstance(given, Opened | WallClock):
                self._clock.append((n, t_ns, given.wall_us))

    def wall_us(self, n: Whole, t_ns: Whole) -> Whole:
        """Time of day [us since 1970, UTC] of host times, each by the last time of day that was
        told before its entry."""
        at = np.searchsorted(self._clock_rows[:, 0], n, side="right") - 1
        told = self._clock_rows[at]
        wall: Whole = told[:, 2] + (t_ns - told[:, 1]) // 1000
        return wall

    def portions(self, n: Whole, low: Whole) -> Whole:
        """Full numbers of portions of which the board says the low 16 bits; 0 stays 0."""
        at = np.searchsorted(self._number_rows[:, 0], n, side="right") - 1
        near = self._number_rows[at, 1]
        half = WRAP_PORTIONS // 2
        full: Whole = near + (low - near + half) % WRAP_PORTIONS - half
        return np.where(low == 0, 0, full)

    def board_clock(self) -> BoardClock:
        """A clock that takes the wraps out of board times, from the first entry on."""
        return BoardClock(self._lives)


class BoardClock:
    """Board times without their wraps, each taken as the nearest to the one before.

    A greeting says how long the board has been up, which sets the count anew.
    """

    def __init__(self, lives: list[tuple[int, int]]) -> None:
        self._lives = list(reversed(lives))
        self._near_us: int | None = None

    def unwrap(self, n: Whole, t_us: Whole) -> Whole:
        """Board times [us since its start]; numbers of entries and times in the order heard."""
        parts: list[Whole] = []
        start = 0
        while start < len(n):
            while self._lives and self._lives[-1][0] < n[start]:
                self._near_us = self._lives.pop()[1]
            end = len(n)
            if self._lives:
                end = int(np.searchsorted(n, self._lives[-1][0]))
            parts.append(self._run(t_us[start:end]))
            start = end
        return np.concatenate(parts) if parts else t_us

    def _run(self, t_us: Whole) -> Whole:
        near = int(t_us[0]) if self._near_us is None else self._near_us
        half = WRAP_US >> 1
        before = np.concatenate(([near], t_us[:-1]))
        run: Whole = near + np.cumsum((t_us - before + half) % WRAP_US - half)
        self._near_us = int(run[-1])
        return run
