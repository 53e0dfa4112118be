"""Asking the daemon from a command, without an event loop: starts in a few milliseconds."""

from __future__ import annotations

import json
import socket
from collections.abc import Callable, Iterator, Sequence
from select import select
from typing import Any

from benchd.io.paths import PathError, socket_path
from benchd.io.request_errors import NoDaemon, Refused

ANSWER_BYTES_MAX = 16 * 1024 * 1024
"""A longer line from a daemon is none of ours."""


class Client:
    """One connection to a bench's daemon. While it is open this client may be in control.

    `timeout_s` is the longest silence before NoDaemon is raised; None waits for ever. `path` is
    where the socket lies, if not in its usual place. `on_wait(method, seconds)` is called about
    once a second while an answer is waited for.

    Raises: NoDaemon when no daemon listens.
    """

    def __init__(
        self,
        bench: str,
        timeout_s: float | None = 10.0,
        path: str | None = None,
        on_wait: Callable[[str, float], None] | None = None,
    ) -> None:
        self._bench = bench
        self._on_wait = on_wait
        self._timeout_s = timeout_s
        self._buffer = b""
        self._id = 0
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._socket.settimeout(timeout_s)
            self._socket.connect(socket_path(bench) if path is None else path)
        except (OSError, PathError) as error:
            self._socket.close()
            raise NoDaemon(self._why(error)) from None

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection; a jog of this client stops then."""
        self._socket.close()

    def call(self, method: str, params: dict[str, Any] | None = None) -> Any:
        """Ask, wait for the answer, and return its result; news that come meanwhile are left out.

        Raises: Refused, NoDaemon.
        """
        self._id += 1
        ask = {"jsonrpc": "2.0", "id": self._id, "method": method, "params": params or {}}
        try:
            self._socket.sendall(json.dumps(ask).encode() + b"\n")
            while True:
                said = self._read(method)
                if said.get("id") == self._id and "method" not in said:
                    break
        except OSError as error:
            raise NoDaemon(self._why(error)) from None
        if "error" in said:
            error_said = said["error"]
            raise Refused(error_said["code"], error_said["message"], error_said.get("data"))
        return said["result"]

    def follow(self, topics: Sequence[str] = ()) -> Iterator[tuple[str, Any]]:
        """Yield (topic, data) as news come; without `topics`, of all. Ends when the daemon does.

        Raises: Refused, NoDaemon when it does not answer; a silence afterwards may last.
        """
        self.call("follow", {"topics": list(topics)} if topics else {})
        self._socket.settimeout(None)
        return self._news()

    def _news(self) -> Iterator[tuple[str, Any]]:
        while True:
            try:
                said = self._read()
            except OSError:
                return
            if "method" in said:
                yield said["method"], said.get("params")

    def _wait(self, method: str) -> None:
        """Wait until there is something to read, and tell each second."""
        seconds = 0.0
        while self._on_wait is not None and not select([self._socket], [], [], 1.0)[0]:
            seconds += 1.0
            if self._timeout_s is not None and seconds >= self._timeout_s:
                raise TimeoutError
            self._on_wait(method, seconds)

    def _read(self, method: str = "") -> dict[str, Any]:
        while b"\n" not in self._buffer:
            if method:
                self._wait(method)
            data = self._socket.recv(65_536)
            if not data or len(self._buffer) > ANSWER_BYTES_MAX:
                raise ConnectionResetError
            self._buffer += data
        line, _, self._buffer = self._buffer.partition(b"\n")
        try:
            said = json.loads(line)
        except ValueError:
            raise ConnectionResetError from None
        if not isinstance(said, dict):
            raise ConnectionResetError
        return said

    def _why(self, error: Exception) -> str:
        name = self._bench
        if isinstance(error, PathError):
            return str(error)
        if isinstance(error, FileNotFoundError | ConnectionRefusedError):
            return f"No daemon for bench {name} is running: start it with 'benchd serve'."
        if isinstance(error, PermissionError):
            return f"The daemon of bench {name} belongs to another user: ask that user for access."
        if isinstance(error, TimeoutError):
            return (
                f"The daemon of bench {name} did not answer within {self._timeout_s:g} s: what "
                "was asked may or may not be done; look at the bench, then at its daemon."
            )
        return (
            f"The daemon of bench {name} closed the connection: what was asked may or may not be "
            "done; look at the bench, then at its daemon."
        )


def call(
    bench: str, method: str, params: dict[str, Any] | None = None, timeout_s: float | None = 10.0
) -> Any:
    """Ask a bench's daemon one thing and return the result.

    Raises: Refused, NoDaemon.
    """
    with Client(bench, timeout_s) as client:
        return client.call(method, params)
