"""The simulated bench of a card stands where the card says, and moves as it says."""

from __future__ import annotations

import math
import random
import re
from dataclasses import replace

import pytest

from benchd.config import BenchCard, bench_card
from sim.faults import Faults
from sim.plant.bench_plant import Plant
from sim.plant.feed import Feed
from sim.plant.spec import PlantSpec
from sim.rig import Rig
from sim.rig_spec import LOAD_GAP_M, REAR_MARGIN_M, RigSpec, dough_of, rig_spec
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


def test_the_screw_of_the_card_decides_whether_it_runs_back() -> None:
    plain = rig_spec(example_card()).plant
    # By hand: Tr10x2 has a pitch diameter of 9 mm, and 2 / (pi 9) is below 0.15 / cos 15 degrees.
    assert plain.screw_diameter_m == pytest.approx(0.009)
    steep = ("lead: 2 mm  ", "lead: 4 mm  ")
    starts, back = ("starts: 1", "starts: 2"), ("keeps_position: yes", "keeps_position: no")
    gives = {}
    for thread in ("trapezoidal", "square"):
        card = changed(steep, starts, back, ("motor:\n", f"screw:\n  thread: {thread}\nmotor:\n"))
        spec = rig_spec(card).plant
        # 4 / (pi 9) is 0.1415: below 0.1553 with flanks of 15 degrees and below 0.15 without.
        feed = Feed(spec, 0.1)
        for _ in range(500):
            if feed.springing(1.0e5):
                feed.spring_back(0.01)
        gives[thread] = 0.1 - feed.position_m
        assert spec.screw_flank_rad == pytest.approx(math.radians(15.0 * (thread != "square")))
    assert gives == pytest.approx(dict.fromkeys(gives, PlantSpec().springback_m))
    eight = changed(("lead: 2 mm  ", "lead: 8 mm  "), ("starts: 1", "starts: 4"), back)
    feed = Feed(rig_spec(eight).plant, 0.1)
    for _ in range(500):
        feed.spring_back(0.01)
    assert 0.1 - feed.position_m > 5.0 * PlantSpec().springback_m
    assert rig_spec(example_card("smallest.yaml")).plant.screw_diameter_m == 0.007


MASA = (EXAMPLES / "masa.yaml").read_text("utf-8")
PASTE = "flow:\n  law: paste\npaste:\n  entry: 20 kPa\n  wall: 2 kPa\n  wall_rise: 9000\n"


def with_dough(more: str = "") -> PlantSpec:
    card = example_card()
    return rig_spec(card, dough_of(MASA + more, "masa.yaml", card)).plant


def test_a_dough_card_changes_what_it_gives_and_no_more() -> None:
    usual = rig_spec(example_card()).plant
    plain = with_dough()
    assert plain.density_kg_m3 == pytest.approx(1150.0)
    assert replace(plain, density_kg_m3=usual.density_kg_m3) == usual
    assert with_dough("swell: 1.2\nair: 5 %\n") == replace(plain, swell=1.2, air_fraction=0.05)
    assert with_dough("film: 40 mm\n") == replace(plain, film_m=0.04)


def test_a_dough_card_gives_the_form_of_its_flow() -> None:
    paste = with_dough(PASTE).paste
    assert paste is not None
    assert (paste.land_m, paste.entry_pa, paste.wall_pa, paste.wall_rise, paste.wall_index) == (
        pytest.approx((0.02, 2e4, 2e3, 9000.0, 0.4))
    )
    # By hand: 30 kPa of entry over a land of 20 mm in 24 mm are 9 kPa of stress at its wall.
    stiff = with_dough("flow:\n  law: bingham\n  yield: 800 Pa\n  consistency: 90\n")
    assert stiff.yield_stress_pa == pytest.approx(800.0 + 30e3 * 0.024 / 4.0 / 0.02)
    assert (stiff.flow_exponent, stiff.consistency_pa_sn, stiff.nozzle_length_m) == (
        1.0,
        90.0,
        0.02,
    )


def test_a_paste_that_would_flow_at_any_speed_is_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="entry_rise"):
        with_dough(PASTE.replace("  wall_rise: 9000\n", ""))
