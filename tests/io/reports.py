"""What a store reports, kept so that a test can wait for it; light, for programs of their own."""

from __future__ import annotations

import threading
from collections.abc import Callable

from benchd.io.journal_format import Entry

META = {"bench": "north", "spec": "1", "card": "größe: 30 g"}
VIEWS = [("sample", 1, ["seq", "thrust_mn", "eye_uv"]), ("cut", 2, ["portion"])]
OPENED_US = 1_764_000_000_000_000
WAIT_S_MAX = 30.0


def sample(i: int) -> Entry:
    """An entry like those of a running bench."""
    return Entry(10**13 + i * 5_000_000, 1, (i, 40_000 + i % 700, i % 5_000))


class Reports:
    """What a store reported, from whichever thread."""

    def __init__(self) -> None:
        self.committed: list[int] = []
        self.faults: list[str] = []
        self._changed = threading.Condition()

    def on_committed(self, last: int) -> None:
        with self._changed:
            self.committed.append(last)
            self._changed.notify_all()

    def on_fault(self, sentence: str) -> None:
        with self._changed:
            self.faults.append(sentence)
            self._changed.notify_all()

    def wait_for(self, condition: Callable[[], object]) -> None:
        """Wait until a report makes the condition true, or a fault makes it hopeless."""
        with self._changed:
            done = self._changed.wait_for(lambda: condition() or self.faults, WAIT_S_MAX)
        if not done:
            raise AssertionError(f"nothing happened; reported so far: {self.committed[-3:]}")
