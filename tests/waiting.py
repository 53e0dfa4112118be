"""How a test waits for what tells nobody that it has come: the one place that looks repeatedly.

What can be waited for itself (a socket, an event, the end of a process) is waited for so instead.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from typing import Any

WAIT_S = 60.0
"""Longest wait for anything: generous, since the machine may be busy."""
LOOK_S = 0.01


class NotInTime(AssertionError):
    """What was waited for did not come."""


def wait_until(true: Callable[[], Any], look_s: float = LOOK_S) -> None:
    """Wait until something is so. Raises: NotInTime."""
    end_s = time.monotonic() + WAIT_S
    while not true():
        if time.monotonic() > end_s:
            raise NotInTime(f"not within {WAIT_S} s")
        threading.Event().wait(look_s)


async def until(true: Callable[[], Any]) -> None:
    """Let the loop run until something is so. Raises: TimeoutError."""
    async with asyncio.timeout(WAIT_S):
        while not true():
            await asyncio.sleep(LOOK_S)


def between_presses(seconds: float) -> None:
    """Let as much time pass as between two presses of a key: that is what a test does, and waits
    for nothing."""
    threading.Event().wait(seconds)
