"""Alarms and a held key in a whole world: what was decided of them is decided again by replay.

Method: the daemon on the simulated bench in virtual time; its journal is replayed.
"""

from __future__ import annotations

import pytest

from sim.world import Refused
from tests.scenarios.conftest import tube_world, verified

pytestmark = pytest.mark.slow


def test_a_held_key_and_a_shelved_alarm_replay_as_they_were() -> None:
    world = tube_world()
    fed_m = world.rig.feed_m
    with pytest.raises(Refused, match="let go"):
        world.ask("jog_held", distance_m=0.01, lease_s=0.15)
    world.run_for(1)
    assert 0 < world.rig.feed_m - fed_m < 0.001
    assert not [one for one in world.app.status(world.now_ns).abnormals if one.code == "IL-18"]
    world.ask("set", values={"air_pa": 1.8e5})
    shelf = {"interlock": 17, "for_s": 5.0, "name": "ana", "reason": "the air is set"}
    world.ask("shelve", **shelf)
    world.run_for(1)

    def standing() -> list[str]:
        abnormals = world.app.status(world.now_ns).abnormals
        return [one.standing for one in abnormals if one.code == "IL-17"]

    assert standing() == ["shelved"]
    world.run_for(5)
    assert standing() == ["raised"]
    assert world.ask("seen")["seen"] == []
    assert verified(world).same
