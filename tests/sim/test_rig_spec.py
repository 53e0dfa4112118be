"""The simulated bench of a card stands where the card says, and moves as it says."""

from __future__ import annotations

import random
import re

import pytest

from benchd.config import BenchCard, bench_card
from sim.faults import Faults
from sim.plant.bench_plant import Plant
from sim.rig import Rig
from sim.rig_spec import LOAD_GAP_M, REAR_MARGIN_M, RigSpec, rig_spec
from tests.sim.wire_host import EXAMPLES, example_card

TEXT = (EXAMPLES / "bench.yaml").read_text()


def changed(*pairs: tuple[str, str]) -> BenchCard:
    """The example card with other values: pairs of a pattern and what stands there instead."""
    text = TEXT
    for pattern, new in pairs:
        text, count = re.subn(pattern, new, text)
        assert count == 1, pattern
    return bench_card(text, "changed.yaml")


def stroke_s(spec: RigSpec) -> tuple[float, float]:
    """Times from the valve until the far switch, and from there until the home switch."""
    plant = Plant(spec.plant, random.Random(1), Faults())
    times = []
    for valve_on in (True, False):
        count = 0
        while not (plant.readings().far if valve_on else plant.readings().home):
            plant.advance(0.001, steps=0, drive_on=False, valve_on=valve_on, portion=0)
            count += 1
        times.append(count / 1000)
    return times[0], times[1]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["bench.yaml", "smallest.yaml"])
def test_strokes_take_about_the_usual_times_of_the_card(name: str) -> None:
    card = example_card(name)
    cut_s, return_s = stroke_s(rig_spec(card))
    limits = card.facts.limits
    assert 0.85 * limits["cut_ms"] < cut_s * 1e3 < limits["cut_ms"]
    assert 0.85 * limits["return_ms"] < return_s * 1e3 < limits["return_ms"]


def test_slow_cutter_on_the_card_is_a_slow_cutter() -> None:
    usual, slow = (
        stroke_s(rig_spec(card))
        for card in (example_card(), changed(("cut_time: 330 ms", "cut_time: 660 ms")))
    )
    assert slow[0] == pytest.approx(2 * usual[0], rel=0.02)
    assert slow[1] == pytest.approx(usual[1], rel=0.02)


def test_the_whole_travel_is_clear_of_the_end_switches() -> None:
    card = example_card()
    spec = rig_spec(card).plant
    plant = Plant(spec, random.Random(1), Faults())
    way = card.facts.limits["travel_max"] - card.facts.limits["travel_min"]
    assert not plant.readings().feed_end
    for _ in range(way // 40):
        plant.advance(0.01, steps=40, drive_on=True, valve_on=False, portion=0)
    assert not plant.readings().feed_end
    plant.advance(0.1, steps=1_000, drive_on=True, valve_on=False, portion=0)
    assert plant.readings().feed_end


def test_the_plunger_starts_a_few_millimetres_before_a_full_tube() -> None:
    card = example_card()
    spec = rig_spec(card).plant
    assert spec.load_gap_m == LOAD_GAP_M
    assert spec.tube_m == pytest.approx(card.facts.travel_m + REAR_MARGIN_M - LOAD_GAP_M)
    assert Rig(rig_spec(example_card()), 1).feed_m == 0.0


def test_a_short_barrel_still_takes_a_tube() -> None:
    card = changed((r"travel: \d+ mm", "travel: 14 mm"), (r"heel: \d+ mm", "heel: 12 mm"))
    spec = rig_spec(card).plant
    assert spec.heel_m < spec.tube_m
    Rig(rig_spec(card), 1)


def test_air_fits_the_limits_of_the_card() -> None:
    assert rig_spec(example_card()).plant.air_pa == 2.0e5
    high = changed(("air_min: 1.5 bar", "air_min: 4 bar"), ("air_max: 3 bar", "air_max: 6 bar"))
    assert rig_spec(high).plant.air_pa == pytest.approx(5.0e5)


def test_wiring_follows_the_card() -> None:
    spec = rig_spec(
        changed(("direction: normal ", "direction: reversed "), ("rest: home ", "rest: far "))
    )
    assert spec.forward_is_low
    assert spec.valve_home == 1
    assert spec.thrust_full_n == 500.0
    assert spec.air_full_pa == pytest.approx(10.0e5)
    assert "guard" not in rig_spec(example_card("smallest.yaml")).fitted


def test_the_seal_drags_less_than_what_means_contact() -> None:
    card = changed(("  ease: 1.5 mm", "  ease: 1.5 mm\n  contact: 12 N"))
    assert rig_spec(card).plant.seal_n == pytest.approx(6.0)
