"""The eye: levels, noise, ripple, dirt, smear."""

from __future__ import annotations

import random
import statistics

from sim.plant.eye import Eye, reflection
from sim.plant.spec import PlantSpec

SPEC = PlantSpec()


def levels(eye: Eye, *, dough: bool, moving: bool = False) -> tuple[float, float]:
    """Mean and standard deviation [counts] of 4000 readings."""
    rng = random.Random(5)
    seen = [eye.counts(dough, moving, rng.gauss(0.0, 1.0)) for _ in range(4000)]
    return statistics.fmean(seen), statistics.pstdev(seen)


def test_levels_and_noise_are_those_of_the_spec() -> None:
    empty, empty_sd = levels(Eye(SPEC), dough=False)
    dough, dough_sd = levels(Eye(SPEC), dough=True)
    assert abs(empty - SPEC.eye_empty) < 0.5
    assert abs(dough - SPEC.eye_dough) < 0.5
    assert 5.5 < empty_sd < 6.5
    assert 5.5 < dough_sd < 6.5


def test_moving_dough_ripples_and_a_smear_does_not() -> None:
    eye = Eye(SPEC)
    assert levels(eye, dough=True, moving=True)[1] > 1.4 * levels(eye, dough=True)[1]
    eye.smear = 1.0
    empty, sd = levels(eye, dough=False)
    assert abs(empty - SPEC.eye_dough) < 0.5
    assert sd < 6.5
    assert levels(eye, dough=True, moving=True)[1] < 6.5


def test_dirt_shifts_both_levels_toward_each_other() -> None:
    eye = Eye(SPEC)
    eye.dirt = 0.5
    assert levels(eye, dough=False)[0] > SPEC.eye_empty + 50.0
    assert levels(eye, dough=True)[0] < SPEC.eye_dough - 50.0


def test_counts_stay_within_the_converter() -> None:
    eye = Eye(PlantSpec(eye_empty=2.0, eye_dough=1020.0))
    assert eye.counts(False, False, -9.0) == 0
    assert eye.counts(True, False, 9.0) == 1023


def test_level_peaks_at_a_distance() -> None:
    # Common practice: past its peak a reflecting eye's level falls with distance.
    assert reflection(0.002, 0.002) == 1.0
    seen = [reflection(z * 1e-3, 0.002) for z in (0.0, 0.5, 1.0, 1.9, 2.1, 5.0, 30.0)]
    assert seen[0] == 0.0
    assert seen[:4] == sorted(seen[:4])
    assert seen[4:] == sorted(seen[4:], reverse=True)
    assert seen[-1] < 1e-6


def test_a_lamp_lifts_and_unsettles() -> None:
    lit = Eye(SPEC)
    lit.lamp = 0.3
    mean, sd = levels(lit, dough=False)
    assert mean > SPEC.eye_empty + 0.25 * (SPEC.eye_dough - SPEC.eye_empty)
    assert sd > 1.5 * SPEC.eye_noise
