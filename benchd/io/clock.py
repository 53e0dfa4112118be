"""The clocks of this machine; no other module reads one.

What needs the time takes a Clock, so that tests and simulations can pass their own. This module
is one: `clock: Clock = benchd.io.clock`.
"""

from __future__ import annotations

import time
from typing import Protocol

# macOS has no such name; its CLOCK_MONOTONIC counts through sleep by itself.
_BOOTTIME = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


class Clock(Protocol):
    """Time as the daemon uses it."""

    def boottime_ns(self) -> int:
        """Nanoseconds since some fixed moment; never runs back, and counts through suspend."""
        ...

    def wall_us(self) -> int:
        """Microseconds since 1970-01-01 UTC; may jump, and so only labels things."""
        ...


def boottime_ns() -> int:
    """Nanoseconds since this machine started, suspend included; never runs back."""
    return time.clock_gettime_ns(_BOOTTIME)


def wall_us() -> int:
    """Microseconds since 1970-01-01 UTC, as this machine's wall clock has it."""
    return time.time_ns() // 1000
