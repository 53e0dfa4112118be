"""The smallest bench: no sensor but the eye, so a person looks before dough is pushed.

Goal: from a tube that was just put in to a portion, nothing is fed further than a small step, or
past an eye that knows nothing, on nobody's word. Method: the whole daemon on the simulated bench in
virtual time.
"""

from __future__ import annotations

import pytest

from sim.world import Refused
from tests.scenarios.conftest import MASA, tube_world, verified

pytestmark = pytest.mark.slow


def test_a_person_leads_the_smallest_bench_to_its_first_portion() -> None:
    world = tube_world(card="smallest.yaml")
    for method in ("approach", "prime"):
        with pytest.raises(Refused, match="never taught"):
            world.ask(method)
    assert world.rig.feed_m == 0.0
    world.ask("teach", what="empty")
    while not world.rig.readings().dough_at_nozzle:
        world.ask("jog", distance_m=0.005)
    world.ask("teach", what="dough")
    world.ask("arm")
    world.ask("fire")
    fed_m = world.rig.feed_m
    world.run_for(1)
    assert not world.app.status(world.now_ns).eye_sees
    with pytest.raises(Refused, match="no sensor measures it"):
        world.ask("prime")
    assert world.ask("approach")["moved_m"] == pytest.approx(0.002)
    assert world.rig.feed_m - fed_m == pytest.approx(0.002)
    world.ask("contact")
    assert world.ask("prime")["ending"] == "flowing"
    world.ask("arm")
    world.ask("fire")
    assert world.ask("portion", dough=MASA)["outcome"] == "complete"
    assert verified(world).same
