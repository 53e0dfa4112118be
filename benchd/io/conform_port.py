"""A real port as the cases of `protocols.conform` see it: real time, and no hand on the board."""

from __future__ import annotations

import asyncio
from types import TracebackType

from benchd.io.clock import boottime_ns
from benchd.io.serial_link import Link, LinkError, open_link

_LEAST_S = 0.0005


class PortPeer:
    """The board on a port, to be used in a `with` statement.

    Raises LinkError with one sentence when the port cannot be used, or hangs up.
    """

    hands = None

    def __init__(self, port: str, baud: int) -> None:
        self._port, self._baud = port, baud
        self._loop = asyncio.new_event_loop()
        self._bytes = b""
        self._closed = ""
        self._late_ms = 0.0

    def __enter__(self) -> PortPeer:
        try:
            self._link = self._loop.run_until_complete(self._open())
        except LinkError:
            self._loop.close()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._link.close()
        self._loop.close()

    async def _open(self) -> Link:
        return open_link(self._port, self._baud, on_bytes=self._on_bytes, on_closed=self._on_closed)

    def _on_bytes(self, data: bytes, _t_ns: int) -> None:
        self._bytes += data
        self._loop.stop()

    def _on_closed(self, sentence: str) -> None:
        self._closed = sentence
        self._loop.stop()

    @property
    def now_us(self) -> int:
        """Time since this computer started [us]."""
        return boottime_ns() // 1000

    def send(self, data: bytes) -> None:
        """Bytes leave for the board."""
        self._link.write(data)

    def listen(self, ms: float) -> bytes:
        """Return bytes as soon as some came; b"" when none did within so many ms.

        Raises: LinkError once the port is gone.
        """
        seconds = max(ms / 1000, _LEAST_S)
        due_ns = boottime_ns() + round(seconds * 1e9)
        if not self._bytes and not self._closed:
            timer = self._loop.call_later(seconds, self._loop.stop)
            self._loop.run_forever()
            timer.cancel()
        self._late_ms = max(self._late_ms, (boottime_ns() - due_ns) / 1e6)
        if self._closed:
            raise LinkError(self._closed)
        came, self._bytes = self._bytes, b""
        return came

    def late_ms(self) -> float:
        """Return by how much this end was late to listen, at most, since this was last asked."""
        late_ms, self._late_ms = self._late_ms, 0.0
        return late_ms
