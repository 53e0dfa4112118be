"""What tests of readers share: one journal of a simulated bench at work, and its world."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.world import World
from tests.analysis.bench_journal import at_work, written


@pytest.fixture(scope="session")
def world() -> World:
    """A bench that made four portions."""
    return at_work()


@pytest.fixture(scope="session")
def bench_journal(world: World, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its journal as a closed file. Nobody may change it."""
    name = "20270115T080000.000000Z-0000000b.journal"
    return written(tmp_path_factory.mktemp("bench") / name, world)
