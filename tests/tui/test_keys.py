"""What a press of a key may do."""

from __future__ import annotations

import pytest

from tui.keys import STALE_S, Held, Reads, StopKey, is_stop

AT_REST = {"moving": False, "powered": True}
OFF = {"moving": False, "powered": False}
MOVING = {"moving": True, "powered": True}


def test_a_second_stop_drops_power_after_the_answer_and_a_while() -> None:
    key = StopKey()
    assert key.press(10.0) == 0
    key.heard(**AT_REST)
    assert key.press(11.25) == 1


def test_a_second_stop_too_soon_is_a_plain_stop() -> None:
    key = StopKey()
    key.press(10.0)
    key.heard(**AT_REST)
    assert key.press(11.1) == 0
    assert key.press(11.5) == 1


def test_without_the_boards_answer_no_stop_drops_power() -> None:
    key = StopKey()
    key.press(10.0)
    assert key.press(15.0) == 0
    key.heard(**MOVING)
    assert key.press(16.0) == 0
    key.unheard()
    assert key.press(17.0) == 0


def test_a_repeat_that_the_terminal_tells_of_never_drops_power() -> None:
    key = StopKey()
    key.press(10.0)
    assert key.heard(**AT_REST)
    assert key.press(11.3, again=True) == 0
    assert key.press(12.3) == 1


@pytest.mark.parametrize("delay_s", [0.25, 0.5, 1.0])
def test_a_stop_key_held_never_drops_power(delay_s: float) -> None:
    """Keyboards wait up to a second before their first repeat (common practice)."""
    key = StopKey()
    key.press(10.0)
    key.heard(**AT_REST)
    levels = [key.press(10.0 + delay_s + 0.09 * repeat) for repeat in range(30)]
    assert set(levels) == {0}
    assert key.press(15.0) == 1


def test_once_something_moves_again_the_next_stop_is_a_first_one() -> None:
    key = StopKey()
    key.press(10.0)
    key.heard(**AT_REST)
    key.heard(**MOVING)
    assert key.press(21.0) == 0
    key.heard(**AT_REST)
    assert key.press(22.5) == 1


def test_the_answer_to_a_stop_is_told_once() -> None:
    key = StopKey()
    assert not key.heard(**AT_REST)
    key.press(10.0)
    assert not key.heard(**MOVING)
    assert key.heard(**AT_REST)
    assert not key.heard(**AT_REST)


def test_a_stop_without_an_answer_is_overdue_once() -> None:
    key = StopKey()
    assert not key.overdue(10.0)
    key.press(10.0)
    key.heard(**MOVING)
    assert not key.overdue(11.4)
    assert key.overdue(11.6)
    assert not key.overdue(12.0)
    assert key.missed


def test_power_off_has_an_answer_of_its_own_and_is_overdue_without_it() -> None:
    """The board that answered the first stop may have been unplugged since."""
    key = StopKey()
    key.press(10.0)
    assert key.heard(**AT_REST)
    assert key.press(12.0) == 1
    assert not key.answered
    assert not key.heard(**AT_REST), "the drive has its power still"
    assert key.overdue(13.6)
    assert key.heard(**OFF)
    key.heard(**AT_REST)
    assert key.press(20.0) == 0, "power was put on anew"


def test_an_answer_of_a_board_that_is_unheard_since_says_nothing_of_the_next_stop() -> None:
    key = StopKey()
    key.press(10.0)
    key.heard(**AT_REST)
    key.unheard()
    assert key.press(400.0) == 0
    key.unheard()
    assert key.overdue(401.6)
    assert key.press(403.0) == 0
    assert key.missed, "and whoever presses once more is told so again"
    assert key.heard(**AT_REST)


@pytest.mark.parametrize(
    ("key", "stops"),
    [
        *((key, True) for key in ("space", "shift+space", "ctrl+space", "alt+ctrl+shift+space")),
        *((key, True) for key in ("ctrl+@", "no_break_space", "shift+no_break_space")),
        *((key, False) for key in ("backspace", "ctrl+backspace", "at", "2", "enter")),
    ],
)
def test_the_space_bar_stops_whatever_is_held_down_beside_it(key: str, stops: bool) -> None:
    assert is_stop(key) is stops


def held_of(held: Held, key: str, *times_s: float) -> list[str]:
    """What each press of a key comes to."""
    return [
        "repeat" if held.press(key, t_s) else "doubtful" if held.doubtful else "press"
        for t_s in times_s
    ]


def test_single_presses_are_not_held() -> None:
    assert held_of(Held(), "right", 1.0, 2.2, 3.4) == ["press"] * 3


@pytest.mark.parametrize("delay_s", [0.25, 0.5, 1.0])
def test_a_key_held_is_one_press(delay_s: float) -> None:
    held = Held()
    repeats = [1.0 + delay_s + 0.05 * n for n in range(20)]
    assert held_of(held, "right", 1.0, *repeats) == ["press", "doubtful"] + ["repeat"] * 19
    assert held_of(held, "left", 3.0) == ["press"]
    assert held.press("left", 5.0, again=True), "the terminal says so"


def test_a_press_that_is_no_repeat_after_a_doubtful_one_counts() -> None:
    """A key that were held would have been repeated sooner."""
    assert held_of(Held(), "right", 1.0, 1.3, 1.6) == ["press", "doubtful", "press"]


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
    assert not key.heard(**AT_REST)
    assert not key.overdue(20.0)
    assert key.press(21.0) == 0
