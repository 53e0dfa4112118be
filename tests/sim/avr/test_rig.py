"""The simulated bench with the machine code as its board: the same host, plant and pieces."""

from __future__ import annotations

import pytest

from protocols.codes import MOVE_ENDINGS, OUTCOMES
from protocols.messages import Bench, Tally, Trip
from sim.avr.board import AvrBoard
from sim.faults import Faults
from sim.rig import Rig
from sim.rig_spec import rig_spec
from tests.sim.test_rig import make, move, prime, wake
from tests.sim.wire_host import WireHost

pytestmark = pytest.mark.slow


def avr_host(seed: int, *faults: str) -> WireHost:
    """A host at a rig whose board is the 8-bit one."""
    host = WireHost(seed=seed)
    host.rig = Rig(rig_spec(host.card), seed, Faults.parse(faults), board=AvrBoard(boot=5))
    return host


def test_portions_fall_as_with_the_core_on_this_machine(seed: int) -> None:
    host = avr_host(seed)
    wake(host)
    assert [m.board for m in host.heard if isinstance(m, Bench)] == ["328p"]
    prime(host)
    fallen = len(host.rig.pieces())
    for number in (1, 2):
        assert OUTCOMES[make(host, number).outcome] == "complete"
    host.run(0.5)
    assert [piece.portion for piece in host.rig.pieces()[fallen:]] == [1, 2]
    assert all(0.0255 < piece.mass_kg < 0.0345 for piece in host.rig.pieces()[fallen + 1 :])
    assert all(tally.made == tally.asked > 0 for tally in host.heard if isinstance(tally, Tally))
    assert not host.bad
    assert not [m for m in host.heard if isinstance(m, Trip)]


def test_an_opened_guard_stops_it(seed: int) -> None:
    host = avr_host(seed)
    wake(host)
    host.rig.press("guard", False)
    host.run(0.2)
    host.rig.press("guard", True)
    assert [m.interlock for m in host.heard if isinstance(m, Trip)] == [2]
    host.rig.reset("watchdog")
    assert host.next(Bench).cause == "watchdog"


def test_a_jog_goes_its_way(seed: int) -> None:
    host = avr_host(seed)
    wake(host)
    assert MOVE_ENDINGS[move(host, "jog", 0.002).reason] == "reached"
    assert host.rig.feed_m == pytest.approx(0.002, abs=1e-5)
