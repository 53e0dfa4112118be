"""What a press of a key may do: the stop key, the age of keys and bursts, and keys that are held.

Pure: times come in as seconds of one monotonic clock. Most terminals send characters and no
release, so that a key only counts as held where the terminal reports releases or where its repeats
were shown to come steadily, and then for a moment after each.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from statistics import median

from protocols.limits import HELD_LEAST_S, HELD_MOST_S
from tui.view import ANSWER_S

STALE_S = 0.1
"""A key older than this when its turn comes was meant for an earlier moment, and is dropped."""

BURST_KEYS = 4
BURST_S = 0.02
"""So many keys within so long were not typed: they waited somewhere and came together."""

LOOK_S = 0.1
"""Time after which the thread that reads keys looks up at the latest."""

REPEAT_S = 0.12
"""Keys this close together are one key held: repeats come 11 to 40 a second (common practice)."""

DELAY_S = 1.1
"""A keyboard waits so long at most before it repeats a key that is held (250 to 1000 ms, common
practice), so that a second press within it may be no press."""

POWER_AFTER_S = 1.2
"""Least time from the first stop to the one that drops drive power: no key held gets there by its
first repeat."""

NUDGES_M = (0.0001, 0.0005, 0.002)
"""Ways of one nudge of the feed [m]."""


SPACES = ("space", "no_break_space", "narrow_no_break_space")


def is_stop(key: str) -> bool:
    """Return whether this key is the space bar, whatever is held down beside it.

    Terminals without the progressive keyboard protocol send Ctrl with it as NUL.
    """
    return key == "ctrl+@" or key.rpartition("+")[2] in SPACES


class StopKey:
    """Which stop a press of the stop key is: level 0 first, and level 1 (drive power off) for a
    second press once the board has answered and at least POWER_AFTER_S went by.

    A key held is one press, however often it repeats. Every press stops. Each level is answered by
    itself: the first once nothing moves, the second once the drive has no power either.
    """

    def __init__(self) -> None:
        self._first_s: float | None = None
        self._last_s = 0.0
        self.level = 0
        """Level of the stop that an answer is waited for."""
        self.answered = False
        """Whether the board has answered that stop."""
        self.missed = False
        """Whether it was told that no answer came in time."""

    def press(self, now_s: float, *, again: bool = False) -> int:
        """Return the level of the stop that this press sends; `again`: the terminal says that it is
        a repeat of the key held."""
        first_s, gap_s = self._first_s, now_s - self._last_s
        self._last_s = now_s
        if first_s is None:
            self._begin(now_s, 0)
            return 0
        late_enough = now_s - first_s >= POWER_AFTER_S and gap_s >= REPEAT_S and not again
        if not self.answered or not late_enough:
            return 0
        self._begin(now_s, 1)
        return 1

    def _begin(self, now_s: float, level: int) -> None:
        self._first_s, self.level = now_s, level
        self.answered = self.missed = False

    def unsent(self) -> None:
        """No daemon took the stop: nothing can be its answer, and the next one is the first."""
        self._first_s = None

    def unheard(self) -> None:
        """Nothing is heard of the board any more: what it has answered says nothing of now, and the
        next stop is the first. One that is not answered goes on waiting."""
        if self.answered:
            self._first_s = None

    def heard(self, *, moving: bool, powered: bool) -> bool:
        """A status came that is not old; True when it is the board's answer to a stop.

        What moves or has power after that was begun anew, and the next press is a first one again.
        """
        if self._first_s is None:
            return False
        if moving or (self.level == 1 and powered):
            self._first_s = None if self.answered else self._first_s
            return False
        first, self.answered = not self.answered, True
        return first

    def overdue(self, now_s: float) -> bool:
        """Whether a stop was sent that the board should have answered by now; told once."""
        if self._first_s is None or self.answered or self.missed:
            return False
        self.missed = now_s - self._first_s > ANSWER_S
        return self.missed


class Reads:
    """What is known of the keys of one read from the terminal before their turn comes."""

    def __init__(self) -> None:
        self._keys: deque[float] = deque(maxlen=BURST_KEYS)
        self._looked_s: float | None = None

    def looked(self, now_s: float) -> None:
        """The reading thread has read what was there, and waits for more."""
        self._looked_s = now_s

    def together(self, now_s: float, count: int) -> bool:
        """Return whether so many keys, read now, came together, with those read just before."""
        self._keys.extend([now_s] * count)
        return count > 0 and len(self._keys) == BURST_KEYS and now_s - self._keys[0] <= BURST_S

    def oldest_s(self, now_s: float) -> float:
        """Return when keys read now may have been pressed at the earliest: just now, unless the
        reading thread was kept from looking, or had not looked at all yet."""
        if self._looked_s is None:
            return now_s - 2 * STALE_S
        return now_s if now_s - self._looked_s <= LOOK_S + STALE_S else self._looked_s


class Held:
    """Which presses of a key are presses, and which are repeats of one key held."""

    def __init__(self) -> None:
        self._key, self._last_s = "", 0.0
        self._counted = False
        self.doubtful = False
        """Whether the newest was either: so long after a press a keyboard may begin to repeat."""

    def press(self, key: str, pressed_s: float, *, again: bool = False) -> bool:
        """Return whether this press is surely a repeat of the key held; `doubtful` where it may be.

        Repeats go on as fast as they come, so that a press after a doubtful one, and not as fast,
        is none. Parameters: key: which; pressed_s: when the key was read; again: the terminal says
        that it is a repeat.
        """
        same, gap_s = key == self._key, pressed_s - self._last_s
        repeat = again or (same and gap_s < REPEAT_S)
        self.doubtful = same and self._counted and not repeat and gap_s < DELAY_S
        self._key, self._last_s = key, pressed_s
        self._counted = not (repeat or self.doubtful)
        return repeat


REPEATS_LEAST = 3
"""Repeats of a key before the feed goes on by it: the first press is a nudge and no more."""

TEST_REPEATS = 12
UNEVEN = 2.0
"""The self-test: so many repeats in a row, none later than so many times the usual gap."""

LEASE_GAPS = 1.5
"""Each repeat counts for so many usual gaps (common practice for hold-to-run by repeats)."""


class Repeats:
    """The repeats of one key held down, by the times at which they were read."""

    def __init__(self, key: str, pressed_s: float) -> None:
        self.key = key
        self._times = deque([pressed_s], maxlen=TEST_REPEATS + 1)
        self.count = 0

    def add(self, pressed_s: float) -> None:
        """Take a repeat."""
        self._times.append(pressed_s)
        self.count += 1

    @property
    def last_s(self) -> float:
        """When the newest came [s]."""
        return self._times[-1]

    def gap_s(self) -> float:
        """Return the usual gap [s] without the first, which is the keyboard's delay; 0 before."""
        gaps = self._gaps()
        return median(gaps) if gaps else 0.0

    def lease_s(self) -> float:
        """Return how long the newest repeat counts [s]."""
        return min(max(LEASE_GAPS * self.gap_s(), HELD_LEAST_S), HELD_MOST_S)

    def steady(self) -> bool | None:
        """Return whether the repeats come steadily enough to hold a feed by; None while it takes
        more of them."""
        gaps = self._gaps()
        if self.count <= TEST_REPEATS:
            return None
        return max(gaps) <= min(UNEVEN * median(gaps), HELD_MOST_S)

    def _gaps(self) -> list[float]:
        times = list(self._times)
        if self.count < len(times):
            del times[0]  # What lies before the first repeat is the keyboard's delay.
        return [after - before for before, after in pairwise(times)]
