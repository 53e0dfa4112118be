"""A tiny daemon for tests of commands: a real Unix socket that answers JSON-RPC from a table."""

from __future__ import annotations

import contextlib
import json
import socket
import threading
from collections.abc import Callable
from typing import Any, NamedTuple

import msgspec

from tests.quiet_status import STATUS


class Refusal(NamedTuple):
    """What the daemon answers instead of a result."""

    code: int
    message: str
    data: Any = None


Answer = Any | Refusal | Callable[[dict[str, Any]], Any]


class FakeDaemon:
    """Answers by method; `asked` is what came, in order; `news` follows an answer to `follow`."""

    def __init__(self, path: str) -> None:
        self.answers: dict[str, Answer] = {"status": msgspec.to_builtins(STATUS)}
        self.news: list[tuple[str, Any]] = []
        self.hang_up_after_news = False
        self.silent: set[str] = set()
        """Methods that are never answered, as of something that goes on."""
        self.asked: list[tuple[str, dict[str, Any]]] = []
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listener.bind(path)
        self._listener.listen()
        self._open = [self._listener]
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """Close the socket and every connection."""
        for one in self._open:
            # Closing alone would not wake the thread that waits in it.
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def methods(self) -> list[str]:
        """Return what was asked, without what only looks."""
        return [method for method, _ in self.asked if method not in ("status", "plan", "follow")]

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            self._open.append(client)
            threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        with contextlib.suppress(OSError), client, client.makefile("rb") as lines:
            for line in lines:
                ask = json.loads(line)
                self.asked.append((ask["method"], ask["params"]))
                for said in self._answer(ask):
                    client.sendall(json.dumps({"jsonrpc": "2.0", **said}).encode() + b"\n")
                if ask["method"] == "follow" and self.hang_up_after_news:
                    return

    def _answer(self, ask: dict[str, Any]) -> list[dict[str, Any]]:
        method, params = ask["method"], ask["params"]
        if method in self.silent:
            return []
        if method == "follow":
            news = [{"method": topic, "params": data} for topic, data in self.news]
            return [{"id": ask["id"], "result": True}, *news]
        answer = self.answers.get(method, Refusal(-32601, f"There is no request '{method}'."))
        if callable(answer):
            answer = answer(params)
        if isinstance(answer, Refusal):
            return [{"id": ask["id"], "error": answer._asdict()}]
        return [{"id": ask["id"], "result": answer}]
