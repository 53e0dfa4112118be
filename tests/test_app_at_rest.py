"""What the app lets wait for its commit: what nobody waits for, while nothing moves."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from benchd.io.journal_format import Entry
from protocols import messages as m
from tests.test_app import READINGS, Desk, moved


def test_only_what_nobody_waits_for_at_rest_may_be_committed_later(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    desk = Desk().up()
    rested: list[bool] = []
    take = desk.store.append

    def append(entries: list[Entry], urgent: bool = False, resting: bool = False) -> int:
        rested.append(resting)
        return take(entries, urgent, resting)

    monkeypatch.setattr(desk.store, "append", append)
    sample = m.Sample(1, 60_200_000, 0, *READINGS)
    desk.hear(desk.taking(2), sample)
    assert rested == [True, True]
    rested.clear()
    desk.hear(replace(desk.taking(3), mode=2), sample)  # It moves.
    desk.hear(moved(1), desk.taking(4))
    desk.ask(1, "note", text="seen")
    assert rested == [False, False, False, True, False]
