"""Simulated boards as the cases see them: in this process and in virtual time."""

from __future__ import annotations

from collections.abc import Callable

from protocols.codes import CAUSES, SIGNALS
from protocols.conform.peer import INPUTS, RESET, WRAP
from sim.board import SAFE_PINS, Board
from sim.machine import STOP_LINE, Machine

WRAPS_IN_US = 8_000_000


class BoardPeer:
    """A board of `sim`. One that can be made with a clock of any time can wrap it too."""

    def __init__(self, board: Machine, wrapping: Callable[[], Machine] | None = None) -> None:
        self.board = board
        self._wrapping = wrapping
        self._pins = SAFE_PINS
        self.can = frozenset({INPUTS, RESET} | ({WRAP} if wrapping else set()))
        self.readings()

    @property
    def hands(self) -> BoardPeer:
        return self

    @property
    def now_us(self) -> int:
        return self.board.now_us

    def send(self, data: bytes) -> None:
        self.board.rx(data)

    def listen(self, ms: float) -> bytes:
        # At least one tick, so that time always goes on.
        end_us = self.now_us + max(round(ms * 1000), 1)
        while not (came := self.board.tx()) and self.now_us < end_us:
            self.board.run_until(end_us, STOP_LINE)
        return came

    def late_ms(self) -> float:
        return 0.0

    def pins(self, **levels: bool) -> None:
        for name, on in levels.items():
            bit = 1 << SIGNALS.index(name)
            self._pins = self._pins | bit if on else self._pins & ~bit
        self._show()

    def readings(
        self, eye: int = 100, thrust: int = 102, air: int = 286, supply_mv: int = 5000
    ) -> None:
        self._readings = (eye, thrust, air), supply_mv
        self._show()

    def _show(self) -> None:
        self.board.set_inputs(self._pins, *self._readings)

    def reset(self, cause: str) -> None:
        self.board.reset(CAUSES.index(cause))

    def near_wrap(self) -> None:
        assert self._wrapping is not None
        self.board = self._wrapping()
        self._show()


class Recorded(BoardPeer):
    """A board of whose line everything is kept, both ways."""

    def __init__(self, board: Machine, wrapping: Callable[[], Machine] | None = None) -> None:
        super().__init__(board, wrapping)
        self.sent = self.heard = b""

    def send(self, data: bytes) -> None:
        self.sent += data
        super().send(data)

    def listen(self, ms: float) -> bytes:
        came = super().listen(ms)
        self.heard += came
        return came


def wrapping_board() -> Board:
    """The core compiled for this machine, its clock about to wrap."""
    return Board(board_us=2**32 - WRAPS_IN_US)


def host_board() -> BoardPeer:
    """The core compiled for this machine."""
    return BoardPeer(Board(), wrapping_board)
