"""Bytes on their way to the board that the port has not taken yet."""

from __future__ import annotations

from collections import deque

OUTBOX_BYTES_MAX = 4096
"""Most unsent bytes. A session keeps 60 bytes under way, so a full outbox is a dead port."""


class Outbox:
    """A bounded queue of lines.

    An urgent line drops every line that waits: those were meant for a bench that was not stopped,
    and must not reach it afterwards. A line that the port has begun to take is finished first.
    """

    def __init__(self) -> None:
        self._begun = b""
        self._lines: deque[bytes] = deque()
        self._bytes = 0

    def __len__(self) -> int:
        return self._bytes

    def add(self, data: bytes, urgent: bool) -> bool:
        """Queue whole lines; return False, and take nothing, when there is no room for all."""
        if urgent:
            self._lines.clear()
            self._bytes = len(self._begun)
        if self._bytes + len(data) > OUTBOX_BYTES_MAX:
            return False
        self._bytes += len(data)
        self._lines.extend(data.splitlines(keepends=True))
        return True

    def head(self) -> bytes:
        """Return the bytes to write next: a line, or the rest of one that was begun."""
        if self._lines and not self._begun:
            return self._lines[0]
        return self._begun

    def taken(self, count: int) -> None:
        """Note that the port took the first `count` bytes of `head`."""
        if not self._begun:
            self._begun = self._lines.popleft()
        self._begun = self._begun[count:]
        self._bytes -= count
