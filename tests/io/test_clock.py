"""The clocks are those of this machine, in the units they say."""

from __future__ import annotations

import datetime
import time

from benchd.io import clock


def test_the_module_is_a_clock() -> None:
    it: clock.Clock = clock
    assert it.boottime_ns() > 0


def test_boot_time_never_runs_back_and_counts_what_monotonic_counts() -> None:
    before_ns = time.monotonic_ns()
    times = [clock.boottime_ns() for _ in range(1000)]
    assert times == sorted(times)
    # Suspend adds to boot time alone, so it is ahead, never behind.
    assert times[0] >= before_ns


def test_wall_time_is_in_microseconds_of_utc() -> None:
    before = datetime.datetime.fromtimestamp(clock.wall_us() / 1e6, datetime.UTC)
    assert before.year >= 2024
    assert abs(clock.wall_us() - time.clock_gettime_ns(time.CLOCK_REALTIME) // 1000) < 1_000_000
