"""How a request to a daemon fails; apart from the client, since commands that ask none need no
socket."""

from __future__ import annotations

from typing import Any


class Refused(Exception):
    """The daemon understood and did not do it."""

    def __init__(self, code: int, message: str, data: Any = None) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.data = data


class NoDaemon(Exception):
    """Nobody answers; the text says in one sentence why and what to do."""
