"""The wire between host and board in virtual time: latency, damage, and pulled cables."""

from __future__ import annotations

import random
from collections import deque
from dataclasses import dataclass


@dataclass(frozen=True)
class LinkFaults:
    """What the wire does to bytes; the defaults are a sound wire.

    A chunk is what one side sends at a time.
    """

    latency_us: tuple[int, int] = (200, 1_500)
    """Least and most time on the way [us], drawn evenly for each chunk; order is kept."""
    drop: float = 0.0
    """Chance that a byte is lost."""
    flip: float = 0.0
    """Chance that a bit of a byte is wrong."""
    duplicate: float = 0.0
    """Chance that a chunk comes twice."""
    noise: float = 0.0
    """Chance that a burst of 1 to 80 random bytes comes before a chunk."""
    unplug_every_s: float = 0.0
    """Mean time between two pulled cables [s]; 0: never."""
    unplugged_s: tuple[float, float] = (0.1, 8.0)
    """Least and most time until the cable is in again [s]."""

    @property
    def damages(self) -> bool:
        """Whether bytes can come otherwise than they were sent."""
        return bool(self.drop or self.flip or self.duplicate or self.noise)


class Way:
    """One direction of the wire; times in rig time [us]."""

    def __init__(self, faults: LinkFaults, rng: random.Random) -> None:
        self.faults = faults
        self._rng = rng
        self._under_way: deque[tuple[int, bytes]] = deque()

    @property
    def due_us(self) -> int | None:
        """When the next bytes arrive; None if none are on the way."""
        return self._under_way[0][0] if self._under_way else None

    def send(self, data: bytes, t_us: int) -> None:
        """Bytes leave now."""
        came = self._damaged(data) if self.faults.damages else data
        at_us = t_us + self._rng.randint(*self.faults.latency_us)
        if self._under_way:
            at_us = max(at_us, self._under_way[-1][0])
        if came:
            self._under_way.append((at_us, came))

    def arrive(self, t_us: int) -> bytes:
        """Take the bytes that have arrived by now."""
        came = b""
        while self._under_way and self._under_way[0][0] <= t_us:
            came += self._under_way.popleft()[1]
        return came

    def cut(self) -> None:
        """What is on the way is lost."""
        self._under_way.clear()

    def _damaged(self, data: bytes) -> bytes:
        chance, faults = self._rng, self.faults
        came = bytearray()
        if chance.random() < faults.noise:
            came += chance.randbytes(chance.randint(1, 80))
        for _ in range(2 if chance.random() < faults.duplicate else 1):
            for byte in data:
                if chance.random() < faults.drop:
                    continue
                if chance.random() < faults.flip:
                    byte ^= 1 << chance.randrange(8)
                came.append(byte)
        return bytes(came)
