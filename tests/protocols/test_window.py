"""The window of bytes under way, counted step by step."""

from __future__ import annotations

import pytest

from protocols.window import LATE_NS, STALL_NS, Window

BEAT_NS = 100_000_000


def window(*, sent: int, taken: int | None = None) -> Window:
    """A window with bytes that left at time 0, and the board's counter known or not."""
    made = Window()
    if taken is not None:
        made.report(taken, 0)
    made.add(sent, 0)
    return made


@pytest.mark.parametrize(
    ("first", "then", "left"),
    [
        (None, 500, 40),  # The first counter says where it stands, not what it took of ours.
        (0, 0, 40),
        (0, 13, 27),
        (0, 40, 0),
        (65530, 4, 30),  # The counter wraps.
        (65535, 0, 39),
        (100, 99, 40),  # A counter that jumps proves nothing.
        (0, 41, 40),
        (5000, 12, 40),
    ],
)
def test_the_counter_takes_bytes_off(first: int | None, then: int, left: int) -> None:
    made = window(sent=40, taken=first)
    made.report(then, 1)
    assert made.in_flight == left
    assert made.sent == 40


def test_a_proof_takes_off_all_that_was_sent_before() -> None:
    made = window(sent=20, taken=0)
    made.add(15, 1)
    made.prove(20)
    assert made.in_flight == 15
    made.prove(10)
    assert made.in_flight == 15


def test_two_beats_that_leave_bytes_out_write_them_off() -> None:
    made = window(sent=20, taken=0)
    made.beat(STALL_NS)
    assert made.in_flight == 20
    made.add(12, BEAT_NS)
    made.beat(BEAT_NS + 1)
    assert made.in_flight == 12


def test_a_beat_soon_after_the_bytes_says_nothing_about_them() -> None:
    made = window(sent=20, taken=0)
    made.beat(STALL_NS - 1)
    made.beat(STALL_NS - 1)
    assert made.in_flight == 20
    made.beat(STALL_NS)
    made.beat(BEAT_NS)
    assert made.in_flight == 0


def test_bytes_written_off_that_come_late_are_not_counted_for_others() -> None:
    made = window(sent=20, taken=0)
    made.beat(STALL_NS)
    made.beat(BEAT_NS)
    made.add(30, BEAT_NS)
    made.report(20, BEAT_NS)
    assert made.in_flight == 30
    made.report(50, BEAT_NS)
    assert made.in_flight == 0


@pytest.mark.parametrize(
    ("proven", "at_ns", "left"),
    [
        (0, BEAT_NS + LATE_NS - 1, 30),  # Late bytes pay first.
        (0, BEAT_NS + LATE_NS, 10),  # After a second they are lost indeed.
        (19, BEAT_NS, 30),  # A proof of less says nothing about them.
        (20, BEAT_NS, 10),  # A proof of all says that they are lost.
    ],
)
def test_what_was_written_off_is_settled_by_proof_or_time(
    proven: int, at_ns: int, left: int
) -> None:
    made = window(sent=20, taken=0)
    made.beat(STALL_NS)
    made.beat(BEAT_NS)
    made.add(30, BEAT_NS)
    made.prove(proven)
    made.report(20, at_ns)
    assert made.in_flight == left


def test_after_a_restart_the_counter_begins_again() -> None:
    made = window(sent=20, taken=60_000)
    made.restart()
    made.report(5, 1)
    assert made.in_flight == 20
    made.report(15, 2)
    assert made.in_flight == 10
