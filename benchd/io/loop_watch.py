"""Notices that the event loop does not come round, and names what holds it.

An event loop that is held hears neither board nor stop key, and says nothing of it by itself. A
thread of its own knocks every KNOCK_S; when no answer comes within LATE_S it takes down where the
loop's thread is. It only looks: no lease is renewed and nothing is sent from it, so that a loop
that hangs lets the board stop.
"""

from __future__ import annotations

import asyncio
import contextlib
import selectors
import sys
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from benchd.io import clock

KNOCK_S = 0.05
LATE_S = 0.09
"""A block of more than 100 ms is named within 150 ms of its beginning."""


STOOD_S = 0.25
"""A shorter stand-still changes nothing at a bench whose board times its portions by itself."""

HELD_TOLD_MAX = 20
"""How often a held loop is told of in one run."""
BUSY_TOLD_EVERY_NS = 60 * 10**9


class HeldTold:
    """Tells the person what holds the loop, and keeps the stack in a folder for a report."""

    def __init__(self, folder: Path, say: Callable[[str], None]) -> None:
        self._folder = folder
        self._say = say
        self._times = 0
        self._busy_told_ns = -BUSY_TOLD_EVERY_NS

    def __call__(self, where: str, stack: str) -> None:
        """Take what `LoopWatch` found."""
        if not where:
            self._busy()
            return
        self._times += 1
        if self._times > HELD_TOLD_MAX:
            return
        path = self._folder / f"held-{clock.wall_us()}.txt"
        with contextlib.suppress(OSError):
            path.write_text(stack)
        self._say(
            f"The daemon did not come round for a tenth of a second, at {where}: the board stops "
            f"by itself if that goes on. Details are in {path}; please report it."
        )

    def _busy(self) -> None:
        now_ns = clock.boottime_ns()
        if now_ns - self._busy_told_ns < BUSY_TOLD_EVERY_NS:
            return
        self._busy_told_ns = now_ns
        self._say(
            "This machine was too busy to run the daemon for a tenth of a second: the board "
            "stops by itself if that goes on. Run less beside it."
        )


class LoopWatch:
    """Watches the running loop from `start` to `end`.

    on_late(where, stack): called from the watching thread once for each block: the innermost
    line, as "file:line function", and the whole stack as text. Empty are both when the loop only
    waits for the next thing to do: then nothing holds it, and the machine had no processor for it.
    on_over(seconds): called from that thread when the loop comes round again after STOOD_S and
    more, also where the whole process or machine slept, in which nothing held the loop.
    """

    def __init__(
        self, on_late: Callable[[str, str], None], on_over: Callable[[float], None]
    ) -> None:
        self._on_late = on_late
        self._on_over = on_over
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
        began_ns = clock.boottime_ns()
        while not self._ended.wait(KNOCK_S):
            try:
                self._knock()
            except RuntimeError:  # The loop is closed.
                return
            now_ns = clock.boottime_ns()
            stood_s = (now_ns - began_ns) / 1e9 - KNOCK_S
            if stood_s > STOOD_S:
                self._on_over(stood_s)
            began_ns = now_ns

    def _knock(self) -> None:
        """Ask the loop for a sign, and wait until it comes; RuntimeError where it is closed."""
        self._heard.clear()
        asked_s = time.monotonic()
        self._loop.call_soon_threadsafe(self._heard.set)
        if self._heard.wait(LATE_S) or time.monotonic() - asked_s > 2 * LATE_S:
            return
        frame = sys._current_frames().get(self._loop_thread)
        if frame is None or self._heard.is_set():
            return
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
