"""The screens' connection to a bench's daemon: JSON-RPC 2.0, one object a line, over its socket.

Two connections: one asks and hears the news, and whoever controls the bench from here does so by
it; the other only ever says stop, from any thread and without waiting for an event loop.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
import threading
from collections.abc import Callable
from typing import Any

from tui import said

AGAIN_S = 0.5
"""Time between two tries to reach a daemon that is away."""

ANSWER_BYTES_MAX = 16 * 1024 * 1024
"""A longer line from a daemon is none of ours."""

AWAY = 0
"""Code of an error that is no answer: the connection went while it was waited for."""


class Refused(Exception):
    """The daemon did not do it; `code` and `data` as it gave them, the text for the person."""

    def __init__(self, code: int, message: str, data: Any = None) -> None:
        super().__init__(message)
        self.code = code
        self.data = data


def ask_line(number: int, method: str, params: dict[str, Any]) -> bytes:
    """Return a request as it goes over the socket."""
    ask = {"jsonrpc": "2.0", "id": number, "method": method, "params": params}
    return json.dumps(ask).encode() + b"\n"


class Stopper:
    """Says stop over a connection of its own."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._socket: socket.socket | None = None

    def stop(self, level: int) -> bool:
        """Send a stop; False when no daemon takes it. Safe in any thread."""
        line = ask_line(1, "stop", {"level": level})
        with self._lock:
            # A connection that broke unnoticed is found out by the first try.
            return self._try(line) or self._try(line)

    def open(self) -> bool:
        """Connect ahead of the first stop; False when no daemon listens."""
        with self._lock:
            return self._connected() is not None

    def close(self) -> None:
        """Close the connection."""
        with self._lock:
            self._drop()

    def _connected(self) -> socket.socket | None:
        if self._socket is None:
            one = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            try:
                # A connect to a Unix socket is done at once, or not at all.
                one.setblocking(False)
                one.connect(self._path)
            except OSError:
                one.close()
                return None
            self._socket = one
        return self._socket

    def _try(self, line: bytes) -> bool:
        one = self._connected()
        if one is None:
            return False
        try:
            self._forget_answers(one)
            one.sendall(line)
        except OSError:
            self._drop()
            return False
        return True

    def _forget_answers(self, one: socket.socket) -> None:
        """Read what was answered before: the board's answer is seen in the status.

        Raises: ConnectionResetError when the daemon has hung up.
        """
        with contextlib.suppress(BlockingIOError):
            while True:
                if not one.recv(65_536):
                    raise ConnectionResetError

    def _drop(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None


class Link:
    """Asks and hears the news; a daemon that goes away is looked for until it is back.

    `on_news(topic, data)` for each piece of news; `on_change(up)` when the daemon is reached or
    lost.
    """

    def __init__(
        self,
        path: str,
        on_news: Callable[[str, Any], None],
        on_change: Callable[[bool], None],
    ) -> None:
        self._path = path
        self._on_news = on_news
        self._on_change = on_change
        self._writer: asyncio.StreamWriter | None = None
        self._number = 0
        self._asked: dict[int, asyncio.Future[Any]] = {}

    async def run(self) -> None:
        """Stay connected until cancelled."""
        try:
            while True:
                with contextlib.suppress(OSError, ValueError, asyncio.IncompleteReadError):
                    await self._life()
                await asyncio.sleep(AGAIN_S)
        finally:
            self._end_life()

    async def ask(self, method: str, params: dict[str, Any] | None = None) -> Any:
        """Ask, wait for the answer and return its result.

        Raises: Refused, with code AWAY when no answer can come any more.
        """
        writer = self._writer
        if writer is None:
            raise Refused(AWAY, said.UNASKED)
        self._number += 1
        answer: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self._asked[self._number] = answer
        writer.write(ask_line(self._number, method, params or {}))
        return await answer

    async def _life(self) -> None:
        reader, writer = await asyncio.open_unix_connection(self._path, limit=ANSWER_BYTES_MAX)
        self._writer = writer
        try:
            self._on_change(True)
            writer.write(ask_line(0, "follow", {}))
            while line := await reader.readline():
                self._take(json.loads(line))
        finally:
            self._end_life()

    def _take(self, said: dict[str, Any]) -> None:
        if "method" in said:
            self._on_news(said["method"], said.get("params"))
            return
        answer = self._asked.pop(said.get("id") or 0, None)
        if answer is None or answer.done():
            return
        if "error" in said:
            error = said["error"]
            answer.set_exception(Refused(error["code"], error["message"], error.get("data")))
        else:
            answer.set_result(said.get("result"))

    def _end_life(self) -> None:
        writer, self._writer = self._writer, None
        if writer is None:
            return
        writer.close()
        asked, self._asked = self._asked, {}
        for answer in asked.values():
            if not answer.done():
                answer.set_exception(
                    Refused(AWAY, "The daemon hung up: what was asked may or may not be done.")
                )
        self._on_change(False)
