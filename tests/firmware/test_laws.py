"""Laws that the firmware keeps whatever is sent to it, whatever its inputs do, and whenever."""

from __future__ import annotations

import random

import pytest

from tests.firmware.rough import Rough, Treatment
from tests.firmware.talk import ALL, SMALLEST

BENCHES = {
    "all": (ALL, 0),
    "smallest": (SMALLEST, 0),
    "no switches": (tuple(part for part in ALL if part not in ("home", "far")), 0),
    "valve driven home": (ALL, 1),
}


def _treat(seed: int, bench: str, count: int) -> Rough:
    rng = random.Random(f"{seed} {bench}")
    parts, valve_home = BENCHES[bench]
    talk = Rough(rng, *parts, valve_home=valve_home)
    treatment = Treatment(talk)
    talk.run(20)
    treatment.load()
    treatment.recover()
    for _ in range(count):
        try:
            treatment.some()
        except AssertionError as error:
            error.add_note(f"bench {bench}, last treatments {treatment.done[-8:]}")
            raise
    return talk


@pytest.mark.parametrize("bench", BENCHES)
def test_laws_hold_under_rough_treatment(seed: int, bench: str) -> None:
    _treat(seed, bench, 12)


@pytest.mark.slow
@pytest.mark.parametrize("bench", BENCHES)
def test_laws_hold_under_long_rough_treatment(seed: int, bench: str) -> None:
    talk = _treat(seed, bench, 600)
    # Laws are kept easily by a bench that does nothing: this one was busy.
    assert talk.pulses > 2_000
    assert talk.strokes > 2 or not talk.far
