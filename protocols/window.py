"""How many bytes from the host the board may not have taken yet (SPEC.md, section 6)."""

from __future__ import annotations

STALL_NS = 30_000_000
"""A beat this long after the last bytes left must count them as taken, slow adapters included."""


class Window:
    """Counts the bytes that the board may not have taken yet (SPEC.md, section 6).

    Besides `taken`, an answer or an accepted lease proves that everything sent before it is off the
    wire; without that, a byte lost on the way would narrow the window for as long as leases keep
    the line busy.
    """

    def __init__(self) -> None:
        self._sent = 0
        self._taken = 0
        self._last_taken: int | None = None
        self._last_sent_ns = 0
        self._stalled_beats = 0

    @property
    def sent(self) -> int:
        """Bytes sent since the session began."""
        return self._sent

    @property
    def in_flight(self) -> int:
        """Bytes sent and not known to be taken."""
        return self._sent - self._taken

    def add(self, count: int, now_ns: int) -> None:
        """Note that `count` bytes leave now."""
        self._sent += count
        self._last_sent_ns = now_ns

    def restart(self) -> None:
        """Forget the board's counter, which starts again at its boot; what is out stays out."""
        self._last_taken = None
        self._stalled_beats = 0

    def prove(self, sent: int) -> None:
        """Note that the board has taken all of the first `sent` bytes that were not lost."""
        self._taken = max(self._taken, sent)

    def report(self, taken: int) -> bool:
        """Take the board's counter; return whether it moved."""
        last, self._last_taken = self._last_taken, taken
        if last is None:
            return False
        moved = (taken - last) % 65536
        # More than is out means that the counter jumped, by a restart that went unseen: it proves
        # nothing.
        if moved <= self.in_flight:
            self._taken += moved
        return moved != 0

    def beat(self, moved: bool, now_ns: int) -> None:
        """Count a beat; the second in a row without progress starts the count afresh."""
        if moved or not self.in_flight:
            self._stalled_beats = 0
        elif now_ns - self._last_sent_ns >= STALL_NS:
            self._stalled_beats += 1
            if self._stalled_beats == 2:
                self._taken = self._sent
                self._stalled_beats = 0
