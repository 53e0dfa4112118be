"""The host of the firmware's tests, speaking to the machine code."""

from __future__ import annotations

from typing import Any

from sim.avr.board import AvrBoard
from tests.firmware.talk import Talk


class AvrTalk(Talk):
    """As Talk; the 8-bit board has no clock that could be set."""

    board: AvrBoard  # type: ignore[assignment]

    def power_up(self, board_us: int) -> Any:
        """The board to speak to."""
        assert board_us == 0
        return AvrBoard()
