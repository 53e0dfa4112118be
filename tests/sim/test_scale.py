"""The scale: readability, noise, sameness by seed."""

from __future__ import annotations

import math
import random
import statistics

import pytest

from sim.scale import Scale


def test_shows_whole_steps_of_its_readability() -> None:
    scale = Scale(random.Random(3), 1e-4, 5e-5)
    for _ in range(200):
        shown = scale.read(0.0300321) / 1e-4
        assert shown == pytest.approx(round(shown), abs=1e-6)


def test_without_noise_it_rounds_to_the_nearest_step() -> None:
    scale = Scale(random.Random(3), 1e-3, 0.0)
    assert scale.read(0.02949) == pytest.approx(0.029)
    assert scale.read(0.02951) == pytest.approx(0.030)
    assert scale.read(-0.0004) == pytest.approx(0.0)


def test_spread_is_rounding_and_noise_added_in_squares() -> None:
    # u^2 = d^2/12 + repeatability^2: common practice.
    scale, masses = Scale(random.Random(3), 1e-4, 6e-5), random.Random(4)
    true = [0.030 + masses.uniform(-1e-3, 1e-3) for _ in range(6000)]
    errors = [scale.read(mass) - mass for mass in true]
    assert statistics.fmean(errors) == pytest.approx(0.0, abs=4e-6)
    assert statistics.pstdev(errors) == pytest.approx(math.hypot(1e-4 / 12**0.5, 6e-5), rel=0.04)


def test_same_seed_same_readings() -> None:
    one, other = Scale(random.Random(9), 1e-5, 1e-5), Scale(random.Random(9), 1e-5, 1e-5)
    assert [one.read(0.03) for _ in range(50)] == [other.read(0.03) for _ in range(50)]


@pytest.mark.parametrize(("readability", "noise"), [(0.0, 1e-5), (-1e-4, 0.0), (1e-4, -1e-5)])
def test_an_impossible_scale_is_refused(readability: float, noise: float) -> None:
    with pytest.raises(ValueError, match="must be above zero"):
        Scale(random.Random(1), readability, noise)


def test_zero_wanders_by_the_root_of_time_and_a_pan_reads_off_its_centre() -> None:
    # Common practice: 0.02 g in 10 min, 0.1 % off the centre.
    drifts = []
    for seed in range(400):
        scale = Scale(random.Random(seed), 1e-6, 0.0, wander_kg=2e-5)
        drifts.append(scale.read(0.030, 4 * 600.0) - 0.030)
    assert statistics.pstdev(drifts) == pytest.approx(4e-5, rel=0.15)
    scale = Scale(random.Random(1), 1e-6, 0.0, off_centre=1e-3)
    errors = [scale.read(0.030) - 0.030 for _ in range(2000)]
    assert statistics.pstdev(errors) == pytest.approx(3e-5 / 3**0.5, rel=0.1)
    assert max(abs(error) for error in errors) < 3.2e-5
