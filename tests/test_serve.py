"""The daemon's edges: what a journal's own thread reports reaches the app as what it is."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from benchd import serve
from benchd.config import bench_card, read_card
from benchd.io import clock
from benchd.io.log import Log
from benchd.io.memory_store import MemoryStore

CARD = Path(serve.__file__).parent / "examples" / "bench.yaml"


@pytest.fixture
def stores(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[MemoryStore]:
    """Every journal that the daemon makes, in memory and settled by hand."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    made: list[MemoryStore] = []

    class Journals:
        @staticmethod
        def create(path: Path, *, wait: bool, **given: Any) -> MemoryStore:
            made.append(MemoryStore(**given))
            return made[-1]

    monkeypatch.setattr(serve, "JournalFile", Journals)
    return made


def test_a_late_commit_of_a_journal_that_stopped_is_not_the_new_one_being_back(
    stores: list[MemoryStore],
) -> None:
    """A slow disk may take a commit after so much waits behind it that the journal was given up."""
    said: list[str] = []
    shown: list[tuple[bool, bool]] = []

    async def heard(daemon: serve.Daemon) -> None:
        await asyncio.sleep(0)
        shown.append((daemon.app.state.journal_ok, any("goes on in" in text for text in said)))

    async def run() -> None:
        card = bench_card(read_card(CARD), CARD.name)
        daemon = serve.Daemon(card, Log(clock.wall_us), agreed=True)
        daemon.say = said.append
        daemon.open_app()
        old = stores[0]
        late = old._on_committed
        old.fail("Over 1000 entries wait to be written: the disk does not keep up.")
        await heard(daemon)
        late(1)
        await heard(daemon)
        daemon._journal_again()
        late(2)
        await heard(daemon)
        stores[1].settle()
        await heard(daemon)

    asyncio.run(run())
    assert shown == [(False, False), (False, False), (False, False), (True, True)]
