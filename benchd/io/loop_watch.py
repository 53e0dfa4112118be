"""Notices that the event loop does not come round, and names what holds it.

An event loop that is held hears neither board nor stop key, and says nothing of it by itself. A
thread of its own knocks every KNOCK_S; when no answer comes within LATE_S it takes down where the
loop's thread is. It only looks: no lease is renewed and nothing is sent from it, so that a loop
that hangs lets the board stop.
"""

from __future__ import annotations

import asyncio
import selectors
import sys
import threading
import time
import traceback
from collections.abc import Callable

KNOCK_S = 0.05
LATE_S = 0.09
"""A block of more than 100 ms is named within 150 ms of its beginning."""


class LoopWatch:
    """Watches the running loop from `start` to `end`.

    on_late(where, stack): called from the watching thread once for each block: the innermost
    line, as "file:line function", and the whole stack as text. Empty are both when the loop only
    waits for the next thing to do: then nothing holds it, and the machine had no processor for it.
    """

    def __init__(self, on_late: Callable[[str, str], None]) -> None:
        self._on_late = on_late
        self._loop = asyncio.get_running_loop()
        self._loop_thread = threading.get_ident()
        self._ended = threading.Event()
        self._heard = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="loop watch", daemon=True)

    def start(self) -> None:
        """Begin to watch."""
        self._thread.start()

    def end(self) -> None:
        """Watch no more; does not wait."""
        self._ended.set()

    def _watch(self) -> None:
        while not self._ended.wait(KNOCK_S):
            self._heard.clear()
            asked_s = time.monotonic()
            try:
                self._loop.call_soon_threadsafe(self._heard.set)
            except RuntimeError:  # The loop is closed.
                return
            if self._heard.wait(LATE_S) or time.monotonic() - asked_s > 2 * LATE_S:
                continue  # Also when this whole process slept: then nothing held the loop.
            frame = sys._current_frames().get(self._loop_thread)
            if frame is None or self._heard.is_set():
                continue
            stack = traceback.extract_stack(frame)
            del frame
            inner = stack[-1]
            if inner.filename == selectors.__file__:
                self._on_late("", "")
            else:
                where = f"{inner.filename}:{inner.lineno} {inner.name}"
                self._on_late(where, "".join(stack.format()))
            while not (self._heard.wait(KNOCK_S) or self._ended.is_set()):
                pass
