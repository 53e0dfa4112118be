"""Weights that come all at once, at a bench that made the portions, and in the journal of it."""

from __future__ import annotations

import pytest

from tests.scenarios.conftest import MASA, journalled, ready_world, verified

pytestmark = pytest.mark.slow


def test_weights_taken_elsewhere_are_records_like_others_and_are_decided_again_the_same() -> None:
    world = ready_world(seed=3)
    world.ask("series", dough=MASA, count=3, every_s=8.0)
    weights = [{"portion": n, "mass_kg": 0.0300 + n / 1e4, "text": f"3{n}"} for n in (1, 2, 3)]
    assert world.ask("weigh_many", weights=weights) == {"taken": [1, 2, 3], "known": 0, "left": 0}
    assert world.ask("weigh_many", weights=weights)["known"] == 3
    assert verified(world).same
    kept = journalled(world, "weight")
    assert [(one["portion"], one["text"]) for one in kept] == [(1, "31"), (2, "32"), (3, "33")]
