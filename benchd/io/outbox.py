"""Bytes on their way to the board that the port has not taken yet."""

from __future__ import annotations

from collections import deque

OUTBOX_BYTES_MAX = 4096
"""Most unsent bytes. A session keeps 60 bytes under way, so a full outbox is a dead port."""

URGENT_BYTES_MAX = 512
"""Room beyond that for urgent lines alone."""


class Outbox:
    """A bounded queue of lines; urgent ones pass the others, but never cut a line in two."""

    def __init__(self) -> None:
        self._begun = b""
        self._urgent: deque[bytes] = deque()
        self._normal: deque[bytes] = deque()
        self._bytes = 0

    def __len__(self) -> int:
        return self._bytes

    def add(self, data: bytes, urgent: bool) -> bool:
        """Queue whole lines; return False, and take nothing, when there is no room for all."""
        room = OUTBOX_BYTES_MAX + (URGENT_BYTES_MAX if urgent else 0)
        if self._bytes + len(data) > room:
            return False
        self._bytes += len(data)
        (self._urgent if urgent else self._normal).extend(data.splitlines(keepends=True))
        return True

    def head(self) -> bytes:
        """Return the bytes to write next: the rest of a line that was begun, or whole lines."""
        if not self._begun:
            queue = self._urgent or self._normal
            self._begun = queue.popleft() if queue else b""
        return self._begun

    def taken(self, count: int) -> None:
        """Note that the port took the first `count` bytes of `head`."""
        self._begun = self._begun[count:]
        self._bytes -= count
