"""How many bytes from the host the board may not have taken yet (SPEC.md, section 6)."""

from __future__ import annotations

from collections import deque

STALL_NS = 30_000_000
"""A beat this long after bytes left must count them as taken, slow adapters included."""

LATE_NS = 1_000_000_000
"""Bytes written off as lost that were not taken within this time are lost indeed."""


class Window:
    """Counts the bytes that the board may not have taken yet.

    `taken` of the board says how many it took. Bytes lost on the way would stay in the count for
    ever; they leave it when an answer or an accepted lease proves that what was sent before is off
    the wire, or when two beats in a row still leave them out.
    """

    def __init__(self) -> None:
        self._sent = 0
        self._taken = 0
        self._last_taken: int | None = None
        self._lines: deque[tuple[int, int]] = deque()
        self._owed = 0
        self._written_off = 0
        self._written_off_end = 0
        self._written_off_ns = 0

    @property
    def sent(self) -> int:
        """Bytes sent since the session began."""
        return self._sent

    @property
    def in_flight(self) -> int:
        """Bytes sent and not known to be taken or lost."""
        return self._sent - self._taken

    def add(self, count: int, now_ns: int) -> None:
        """Note that `count` bytes leave now."""
        self._sent += count
        self._lines.append((self._sent, now_ns))

    def restart(self) -> None:
        """Forget the board's counter, which starts again at its boot; what is out stays out."""
        self._last_taken = None

    def prove(self, sent: int) -> None:
        """Note that the board has taken all of the first `sent` bytes that were not lost."""
        self._taken = max(self._taken, sent)
        if sent >= self._written_off_end:
            self._written_off = 0

    def report(self, taken: int, now_ns: int) -> None:
        """Take the board's counter, modulo 65536. To be called before `prove` and `beat`."""
        last, self._last_taken = self._last_taken, taken
        if last is None:
            return
        moved = (taken - last) % 65536
        # Bytes written off as lost may have been late; they are not in the count any more.
        if now_ns - self._written_off_ns >= LATE_NS:
            self._written_off = 0
        late = min(moved, self._written_off)
        self._written_off -= late
        moved -= late
        # More than is out means that the counter jumped, by a restart that went unseen: it proves
        # nothing.
        if moved <= self.in_flight:
            self._taken += moved

    def beat(self, now_ns: int) -> None:
        """Note that a beat came: write off what it and the beat before both leave out."""
        if self._taken < self._owed:
            self._written_off += self._owed - self._taken
            self._written_off_ns = now_ns
            self._written_off_end = self._taken = self._owed
        while self._lines and self._lines[0][1] <= now_ns - STALL_NS:
            self._owed, _ = self._lines.popleft()
