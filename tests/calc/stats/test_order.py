"""Trend, neighbours, moved and lost, against another library and by the law they rest on."""

from __future__ import annotations

import random
from itertools import pairwise

import numpy as np
import pytest
import scipy.special  # noqa: F401

from benchd.calc.stats.order import lag_one, line, split


def test_a_line_is_what_another_library_finds() -> None:
    from scipy.stats import linregress, t

    rng = random.Random(3)
    positions = [1, 2, 3, 5, 6, 7, 9, 10, 11, 12]
    values = [30 - 0.05 * at + rng.gauss(0, 0.2) for at in positions]
    ours, theirs = line(positions, values), linregress(positions, values)
    assert ours.slope.value == pytest.approx(theirs.slope)
    half = t.ppf(0.975, 8) * theirs.stderr
    assert ours.slope.high - ours.slope.value == pytest.approx(half)
    assert ours.proven == (theirs.pvalue < 0.01)
    assert sum(ours.residuals) == pytest.approx(0, abs=1e-9)


def test_a_line_takes_three_values_at_two_places() -> None:
    for positions in ([1, 2], [4, 4, 4]):
        with pytest.raises(ValueError, match="at least three"):
            line(positions, [1.0] * len(positions))


def test_neighbours_across_a_missing_portion_are_none() -> None:
    values = [1.0, -1.0, 1.0, -1.0]
    assert lag_one(values) == pytest.approx(-0.75)
    assert lag_one(values, [1, 2, 3, 4]) == pytest.approx(-0.75)
    assert lag_one(values, [1, 3, 5, 7]) == 0.0
    assert lag_one([2.0, 2.0, 2.0]) == 0.0


def made(seed: int, *, moved: float, lost: float, n: int) -> list[float]:
    """Weights by the law of the barrel: m = 30 + e(i) - e(i-1) + w(i)."""
    rng = np.random.default_rng(seed)
    e = rng.normal(0, moved, n + 1)
    return [30 + b - a + w for (a, b), w in zip(pairwise(e), rng.normal(0, lost, n), strict=True)]


def test_moved_and_lost_spread_are_told_apart() -> None:
    for seed in range(5):
        told = split(made(seed, moved=0.3, lost=0.1, n=2000))
        assert told.moved.value == pytest.approx(0.3, rel=0.1), seed
        assert told.lost.value < 0.2, seed
        assert told.alternating, seed
        told = split(made(seed, moved=0.0, lost=0.3, n=2000))
        assert told.lost.value == pytest.approx(0.3, rel=0.1), seed
        assert told.moved.value < 0.1, seed


def test_the_two_parts_make_up_the_whole() -> None:
    values = made(4, moved=0.3, lost=0.2, n=60)
    told = split(values)
    variance = np.var(values, ddof=1)
    assert 2 * told.moved.value**2 + told.lost.value**2 == pytest.approx(variance)
    for part in (told.moved, told.lost):
        assert part.low <= part.value <= part.high


@pytest.mark.slow
def test_unrelated_weights_are_called_alternating_one_time_in_twenty() -> None:
    for n in (12, 20, 40):
        called = sum(split(made(seed, moved=0, lost=1, n=n)).alternating for seed in range(3000))
        assert 0.03 < called / 3000 < 0.07, n


@pytest.mark.slow
def test_how_often_alternating_weights_are_seen_grows_with_their_number() -> None:
    """The power is part of the answer: below 40 weights it is called a hint."""
    seen = {
        n: np.mean([split(made(seed, moved=1, lost=0.7, n=n)).alternating for seed in range(1000)])
        for n in (20, 40, 80)
    }
    assert 0.3 < seen[20] < seen[40] < seen[80]
    assert seen[80] > 0.95
