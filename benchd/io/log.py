"""What the daemon says of itself while it runs: sentences for a person, or one object a line.

Quiet unless something must be known. A thread of its own writes, because a terminal that is held
with Ctrl-S or a pipe that nobody reads would else hold the event loop, and with it the leases.
Neither parameters of requests nor anything from a card is ever logged, so no secret can be.
"""

from __future__ import annotations

import contextlib
import json
import os
import threading
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime

LINES_MAX = 1_000
"""Most lines that wait for a slow reader; what comes then is counted and left out."""
END_WITHIN_S = 0.5


class Log:
    """Lines to a descriptor, standard error if none is given.

    `say` is for what a person must know, `detail` for what helps to find a fault and is written
    with `verbose` only. Plain lines are the sentences themselves and `time event name=value`;
    with `as_json` each line is an object with `time`, `event` and what belongs to it.
    May be called from any thread; never waits and never raises.
    """

    def __init__(
        self,
        wall_us: Callable[[], int],
        *,
        as_json: bool = False,
        verbose: bool = False,
        fd: int = 2,
    ) -> None:
        self._wall_us = wall_us
        self._as_json = as_json
        self._verbose = verbose
        self._fd = fd
        self._lines: deque[bytes] = deque()
        self._left_out = 0
        self._open = True
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._write, name="log", daemon=True)
        self._thread.start()

    def say(self, text: str) -> None:
        """Write a sentence for a person."""
        self._add(self._object("said", {"text": text}) if self._as_json else text)

    def detail(self, event: str, **fields: object) -> None:
        """Write what happened, for who looks for a fault; only with `verbose`."""
        if not self._verbose:
            return
        if self._as_json:
            self._add(self._object(event, fields))
        else:
            shown = "".join(f" {name}={_shown(value)}" for name, value in fields.items())
            self._add(f"{self._time()} {event}{shown}")

    def close(self) -> None:
        """Write what waits, but not for long."""
        with self._changed:
            self._open = False
            self._changed.notify()
        self._thread.join(END_WITHIN_S)

    def _time(self) -> str:
        at = datetime.fromtimestamp(self._wall_us() / 1e6, UTC)
        return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def _object(self, event: str, fields: dict[str, object]) -> str:
        return json.dumps({"time": self._time(), "event": event, **fields}, default=str)

    def _add(self, line: str) -> None:
        data = line.replace("\n", " ").encode("utf-8", "replace") + b"\n"
        with self._changed:
            if len(self._lines) >= LINES_MAX:
                self._left_out += 1
            elif self._open:
                self._lines.append(data)
            self._changed.notify()

    def _write(self) -> None:
        # A terminal that was closed, or a reader that went away, takes nothing any more.
        with contextlib.suppress(OSError):
            while data := self._next():
                while data:
                    data = data[os.write(self._fd, data) :]

    def _next(self) -> bytes:
        """Wait for lines and take all; empty when the log is closed and all is written."""
        with self._changed:
            while self._open and not self._lines:
                self._changed.wait()
            data = b"".join(self._lines)
            self._lines.clear()
            left_out, self._left_out = self._left_out, 0
        if left_out:
            text = f"{left_out} lines of the log were left out, because nobody read them in time."
            said = self._object("said", {"text": text}) if self._as_json else text
            data += said.encode() + b"\n"
        return data


def _shown(value: object) -> str:
    text = str(value)
    return text if text and not set(text) & set(' "=\n\t') else json.dumps(text)
