"""End switches of the blade: where they go on and off, and how they bounce."""

from __future__ import annotations

from itertools import pairwise

from sim.plant.air_cutter import AirCutter
from sim.plant.end_switch import BOUNCE_STEP_S, EndSwitch
from sim.plant.spec import PlantSpec

STEP_S = BOUNCE_STEP_S


def test_it_goes_off_further_away_than_it_goes_on() -> None:
    switch = EndSwitch(0.003, 0.004, 0.0, 0.05)
    seen = []
    for away_mm in (5.0, 3.5, 2.9, 3.5, 3.9, 4.1, 3.5):
        switch.move(away_mm * 1e-3, 1.0)
        seen.append(switch.shut)
    assert seen == [False, False, True, True, True, False, False]


def test_its_contact_bounces_for_its_time_and_then_holds() -> None:
    switch = EndSwitch(0.003, 0.004, 0.001, 0.05)
    seen = []
    for _ in range(8):
        switch.move(0.002, STEP_S)
        seen.append((switch.shut, switch.bouncing))
    assert seen[:5] == [(True, True), (False, True), (True, True), (False, True), (True, False)]
    assert set(seen[4:]) == {(True, False)}


def test_a_stroke_bounces_at_each_end_and_asks_to_be_looked_at_meanwhile() -> None:
    # Common practice: contacts bounce for about 1 ms.
    cutter = AirCutter(PlantSpec())
    cutter.switch(True, 2e5, {})
    seen, asked = [(cutter.home, cutter.far)], 0
    for _ in range(2000):
        cutter.advance(STEP_S)
        asked += cutter.to_edge_s == STEP_S
        seen.append((cutter.home, cutter.far))
    for which in (0, 1):
        turns = sum(a[which] != b[which] for a, b in pairwise(seen))
        assert turns in (3, 5)
    assert seen[-1] == (False, True)
    assert 4 <= asked <= 20


def changes(cutter: AirCutter, longest_s: float, asking: bool) -> list[tuple[float, bool, bool]]:
    """When its contacts turned in a stroke and its return [s], looked at as often as wanted."""
    t_s, seen = 0.0, [(0.0, cutter.home, cutter.far)]
    for valve_on in (True, False):
        cutter.switch(valve_on, 2e5, {})
        end_s = t_s + 0.6
        while t_s < end_s - 1e-9:
            step_s = min(longest_s, cutter.to_edge_s if asking else longest_s, end_s - t_s)
            cutter.advance(step_s)
            t_s += step_s
            if (cutter.home, cutter.far) != seen[-1][1:]:
                seen.append((t_s, cutter.home, cutter.far))
    return seen


def test_looked_at_only_when_it_asks_it_turns_as_often_and_at_the_same_times() -> None:
    often = changes(AirCutter(PlantSpec()), STEP_S, False)
    asked = changes(AirCutter(PlantSpec()), 0.020, True)
    assert [one[1:] for one in asked] == [one[1:] for one in often]
    assert max(abs(a[0] - b[0]) for a, b in zip(asked, often, strict=True)) < 0.002
