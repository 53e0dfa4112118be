"""The journal in memory keeps the contract, and leaves time and failure to the simulation."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.io.contracts import MemoryRig, StoreContract
from tests.io.reports import sample


class TestMemoryStore(StoreContract):
    @pytest.fixture
    def new_rig(self) -> Callable[[], MemoryRig]:
        return MemoryRig

    def test_time_stands_still_until_it_is_settled(self) -> None:
        rig = MemoryRig()
        store = rig.make()
        store.append([sample(1)], urgent=True)
        assert store.committed == 0
        assert store.uncommitted() == [sample(1)]
        assert rig.reports.committed == []
        assert store.settle() == 1
        assert store.settle() == 1
        assert rig.reports.committed == [1]

    def test_a_planted_fault_stops_it_as_a_disk_would(self) -> None:
        rig = MemoryRig()
        store = rig.make()
        store.append([sample(1)])
        store.settle()
        store.append([sample(2)])
        store.fail("The disk is gone.")
        store.fail("Again.")
        assert store.settle() == 1
        assert rig.reports.faults == [store.fault] == ["The disk is gone."]
        assert store.uncommitted() == [sample(2)]
