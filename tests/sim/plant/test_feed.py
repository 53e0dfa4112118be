"""The plunger: hard stops, end switches, and a released drive that gives way."""

from __future__ import annotations

import pytest

from sim.plant.feed import Feed
from sim.plant.spec import PlantSpec

SPEC = PlantSpec()
FRONT_M = SPEC.barrel_m - SPEC.heel_m


def test_end_switches_and_hard_stops() -> None:
    feed = Feed(SPEC, 0.005)
    assert not feed.at_end
    feed.travel(-0.005)
    assert feed.at_end
    feed.travel(-0.010)
    assert feed.position_m == -SPEC.end_margin_m
    feed.travel(FRONT_M + SPEC.end_margin_m - 1e-6)
    assert not feed.at_end
    feed.travel(1.0)
    assert feed.at_end
    assert feed.position_m == pytest.approx(FRONT_M + SPEC.end_margin_m)


def test_springs_back_by_its_way_in_its_time_and_once() -> None:
    feed = Feed(SPEC, 0.100)
    time_s = 0.0
    while feed.springing(50_000.0):
        feed.spring_back(0.005)
        time_s += 0.005
    assert 0.100 - feed.position_m == pytest.approx(SPEC.springback_m)
    assert time_s == pytest.approx(SPEC.springback_s, abs=0.006)
    feed.sprung_m = 0.0
    assert feed.springing(50_000.0)


def test_seal_friction_holds_a_small_pressure() -> None:
    assert not Feed(SPEC, 0.1).springing(0.9 * SPEC.seal_n / SPEC.bore_area_m2)
    assert Feed(SPEC, 0.1).springing(1.1 * SPEC.seal_n / SPEC.bore_area_m2)
