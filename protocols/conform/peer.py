"""What a case needs of the other end: a board that bytes go to and come from, and its pins and
power where something can reach them."""

from __future__ import annotations

from typing import Protocol

INPUTS, RESET, WRAP = "inputs", "reset", "wrap"
"""What hands may be able to do: change the board's inputs, restart it, and bring its clock to just
before it wraps."""


class Hands(Protocol):
    """What can be done to a board beside speaking to it."""

    @property
    def can(self) -> frozenset[str]:
        """Which of INPUTS, RESET and WRAP."""
        ...

    def pins(self, **levels: bool) -> None:
        """Set contacts, and the drop eye, by their names in codes.SIGNALS, all at the same
        moment."""
        ...

    def readings(
        self, eye: int = 100, thrust: int = 102, air: int = 286, supply_mv: int = 5000
    ) -> None:
        """Set what the converter reads [counts] and the logic supply [mV]."""
        ...

    def reset(self, cause: str) -> None:
        """Restart the board, for a cause of codes.CAUSES."""
        ...

    def near_wrap(self) -> None:
        """Restart the board with a clock that wraps within 10 s."""
        ...


class Peer(Protocol):
    """A board, on the wire alone. Time is that of the peer: virtual for a simulated board."""

    @property
    def hands(self) -> Hands | None:
        """What reaches the board otherwise; None where nothing does."""
        ...

    @property
    def now_us(self) -> int:
        """Time [us] from any start."""
        ...

    def send(self, data: bytes) -> None:
        """Bytes leave for the board."""
        ...

    def listen(self, ms: float) -> bytes:
        """Return bytes as soon as some came; b"" when none did within so many ms."""
        ...

    def late_ms(self) -> float:
        """Return by how much this end was late to listen, at most, since this was last asked."""
        ...
