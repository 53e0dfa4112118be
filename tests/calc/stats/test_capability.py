"""Capability and the scale's share, against the handbook and by law."""

from __future__ import annotations

import random
from math import sqrt

import numpy as np
import pytest
import scipy.special  # noqa: F401

from benchd.calc.spread import mean_sd
from benchd.calc.stats.capability import capability, withheld
from benchd.calc.stats.scale import scale_sd, without_scale
from tests.calc.stats.published import HANDBOOK


def test_capability_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 6.1.6."""
    told = HANDBOOK["capability_6_1_6"]
    ours = capability(50, mean=told["mean"], sd=told["s"], low=told["lsl"], high=told["usl"])
    assert ours.room.value == pytest.approx(told["cp"], abs=5e-5)
    assert ours.placed.value == pytest.approx(told["cpk"], abs=5e-5)
    assert ours.placed.low < ours.placed.value < ours.placed.high
    # Beyond two spreads on one side, six on the other: 0.0228 (standard normal).
    assert ours.outside == pytest.approx(0.02275 + 0.00003, abs=1e-5)


def test_it_is_withheld_for_few_weights_or_one_tube() -> None:
    assert withheld(24, 2) == "1 more weight"
    assert withheld(25, 1) == "a second tube"
    assert withheld(20, 1) == "5 more weights and a second tube"
    assert withheld(25, 2) == ""


@pytest.mark.slow
def test_of_100_intervals_of_capability_about_95_hold_the_true_one() -> None:
    rng = random.Random(8)
    held = 0
    for _ in range(4000):
        mean, sd = mean_sd([rng.gauss(0, 1) for _ in range(30)])
        held += 1 if capability(30, mean=mean, sd=sd, low=-3, high=5).placed.low <= 1.0 else 0
    # The lower end alone: 97.5 %, less what its normal approximation misses.
    assert 0.955 < held / 4000 < 0.99


@pytest.mark.slow
@pytest.mark.parametrize("n", [5, 10, 30])
def test_of_100_intervals_without_the_scale_and_of_room_95_hold_the_true_one(n: int) -> None:
    """Process 0.4, scale 0.2; both intervals follow from the spread that is seen, one by one."""
    rng = np.random.default_rng(9_000 + n)
    seen_sd = sqrt(0.4**2 + 0.2**2)
    sds = rng.normal(30.0, seen_sd, (20_000, n)).std(axis=1, ddof=1)
    left = np.array([without_scale(n, sd=sd, scale=0.2).process for sd in sds.tolist()])
    assert 0.935 < np.mean((left[:, 1] <= 0.4) & (left[:, 2] >= 0.4)) < 0.965
    one = capability(n, mean=30.0, sd=1.0, low=28.5, high=31.5).room
    room = 3.0 / (6 * seen_sd)
    assert 0.935 < np.mean((one.low / sds <= room) & (one.high / sds >= room)) < 0.965


def test_the_scale_is_taken_off_in_squares() -> None:
    assert without_scale(20, sd=5.0, scale=3.0).process.value == pytest.approx(4.0)
    assert not without_scale(20, sd=5.0, scale=3.0).limited
    coarse = without_scale(20, sd=0.3, scale=0.3)
    assert coarse.limited
    assert coarse.process.low == 0.0


def test_a_scale_of_1_g_cannot_judge_20_g_portions() -> None:
    """Common practice: rounding to 1 g alone is 1.4 % of 20 g, rounding to 0.1 g 0.14 %."""
    assert scale_sd(1.0, 0.0) / 20 == pytest.approx(0.0144, abs=5e-5)
    assert scale_sd(0.1, 0.0) / 20 == pytest.approx(0.00144, abs=5e-6)
    assert scale_sd(0.1) > scale_sd(0.1, 0.0)
