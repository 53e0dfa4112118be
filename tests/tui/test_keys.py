"""What a press of a key may do."""

from __future__ import annotations

from tui.keys import STALE_S, Held, Reads, StopKey


def test_a_second_stop_drops_power_after_the_answer_and_a_second() -> None:
    key = StopKey()
    assert key.press(10.0) == 0
    key.heard(moving=False, old=False)
    assert key.press(11.0) == 1


def test_a_second_stop_before_a_second_is_a_plain_stop() -> None:
    key = StopKey()
    key.press(10.0)
    key.heard(moving=False, old=False)
    assert key.press(10.99) == 0
    assert key.press(11.5) == 1


def test_without_the_boards_answer_no_stop_drops_power() -> None:
    key = StopKey()
    key.press(10.0)
    assert key.press(15.0) == 0
    key.heard(moving=True, old=False)
    assert key.press(16.0) == 0
    key.heard(moving=False, old=True)
    assert key.press(17.0) == 0


def test_a_repeat_that_the_terminal_tells_of_never_drops_power() -> None:
    """Also where the keyboard waits for a second before its first repeat."""
    key = StopKey()
    key.press(10.0)
    assert key.heard(moving=False, old=False)
    assert key.press(11.1, again=True) == 0
    assert key.press(12.3) == 1


def test_a_stop_key_held_never_drops_power() -> None:
    key = StopKey()
    key.press(10.0)
    key.heard(moving=False, old=False)
    levels = [key.press(10.5 + 0.09 * repeat) for repeat in range(30)]
    assert set(levels) == {0}
    assert key.press(14.0) == 1


def test_once_something_moves_again_the_next_stop_is_a_first_one() -> None:
    key = StopKey()
    key.press(10.0)
    key.heard(moving=False, old=False)
    key.heard(moving=True, old=False)
    assert key.press(21.0) == 0
    key.heard(moving=False, old=False)
    assert key.press(22.5) == 1


def test_the_answer_to_a_stop_is_told_once() -> None:
    key = StopKey()
    assert not key.heard(moving=False, old=False)
    key.press(10.0)
    assert not key.heard(moving=True, old=False)
    assert key.heard(moving=False, old=False)
    assert not key.heard(moving=False, old=False)


def test_a_stop_without_an_answer_is_overdue_once() -> None:
    key = StopKey()
    assert not key.overdue(10.0)
    key.press(10.0)
    key.heard(moving=True, old=False)
    assert not key.overdue(11.4)
    assert key.overdue(11.6)
    assert not key.overdue(12.0)


def test_single_presses_are_not_held() -> None:
    held = Held()
    assert not any(held.press("right", t) for t in (1.0, 1.3, 1.6, 1.9, 2.2))


def test_a_key_held_is_one_press() -> None:
    held = Held()
    assert not held.press("right", 1.0)
    assert all(held.press("right", 1.0 + 0.05 * n) for n in range(1, 20))
    assert not held.press("left", 2.0)
    assert held.press("left", 3.0, again=True), "the terminal says so"


def test_keys_of_one_read_or_of_reads_close_together_came_together() -> None:
    assert Reads().together(1.0, 4)
    reads = Reads()
    assert [reads.together(1.0 + 0.005 * n, 1) for n in range(5)] == [False] * 3 + [True] * 2


def test_keys_that_somebody_types_or_holds_did_not_come_together() -> None:
    """Repeats come at most 40 a second (common practice)."""
    reads = Reads()
    assert not any(reads.together(1.0 + 0.025 * n, 1) for n in range(40))
    assert not Reads().together(1.0, 3)
    assert not Reads().together(1.0, 0)


def test_keys_that_waited_while_nobody_looked_may_be_as_old_as_that() -> None:
    reads = Reads()
    assert 10.0 - reads.oldest_s(10.0) > STALE_S, "before the terminal was looked at"
    reads.looked(10.0)
    assert reads.oldest_s(10.1) == 10.1
    assert reads.oldest_s(10.6) == 10.0


def test_a_stop_that_was_not_sent_is_neither_answered_nor_a_first_one() -> None:
    """No daemon took it; once one is back, the next press is the first to stop anything."""
    key = StopKey()
    assert key.press(10.0) == 0
    key.unsent()
    assert not key.heard(moving=False, old=False)
    assert not key.overdue(20.0)
    assert key.press(21.0) == 0
