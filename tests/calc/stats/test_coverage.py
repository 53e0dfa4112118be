"""How often intervals hold the true value: those of two groups, of a trend, of a share, of
capability, and what neighbours tell. Mean, spread, prediction and tolerance are in test_ranges.

Each stands beside what it does where neighbours alternate, all of the spread being moved mass.
"""

from __future__ import annotations

from math import comb, sqrt

import numpy as np
import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)
from numpy.typing import NDArray

from benchd.calc.spread import sd_interval
from benchd.calc.stats.capability import capability
from benchd.calc.stats.compare import from_summary
from benchd.calc.stats.order import line, split
from benchd.calc.stats.ranges import share_of
from benchd.calc.stats.scale import without_scale

Rows = NDArray[np.float64]

DRAWS = 20_000

SEEN_ROOM = 0.007
"""Room about a share that was seen: more than four of its standard errors."""


def weights(rng: np.random.Generator, n: int, *, alternating: bool) -> Rows:
    """Rows of n values with mean 0 and spread 1, independent or with a lag-1 of -0.5."""
    if not alternating:
        return rng.normal(0.0, 1.0, (DRAWS, n))
    noise = rng.normal(0.0, 1.0, (DRAWS, n + 1))
    return (noise[:, 1:] - noise[:, :-1]) / sqrt(2)


def mean_and_sd(rows: Rows) -> tuple[list[float], list[float]]:
    return rows.mean(axis=1).tolist(), rows.std(axis=1, ddof=1).tolist()


def holds(share: float, seen: float | None) -> None:
    """The share is 93.5 to 96.5 of 100, or as it was seen where that is stated."""
    if seen is None:
        assert 0.935 < share < 0.965
    else:
        assert share == pytest.approx(seen, abs=SEEN_ROOM)


# What alternating weights do to each interval, at 5, 10 and 30 of them.
DIFFERENCE = {5: 0.9997, 10: 1.0, 30: 1.0}
RATIO = {5: 0.938, 10: 0.922, 30: 0.903}
TREND = {5: 0.984, 10: 0.999, 30: 1.0}
SPREAD = {5: 0.911, 10: 0.906, 30: 0.900}
PLACED = {5: 0.954, 10: 0.943, 30: 0.934}

both = pytest.mark.parametrize("alternating", [False, True])
few_to_many = pytest.mark.parametrize("n", [5, 10, 30])


@pytest.mark.slow
@both
@few_to_many
def test_of_100_comparisons_95_hold_difference_and_ratio(n: int, alternating: bool) -> None:
    """The second group has twice the spread, which Welch's interval allows for."""
    rng = np.random.default_rng(10_000 + n)
    a = mean_and_sd(30.0 + 0.4 * weights(rng, n, alternating=alternating))
    b = mean_and_sd(30.5 + 0.8 * weights(rng, n, alternating=alternating))
    told = [
        from_summary(n, mean_a, sd_a, n, mean_b, sd_b)
        for mean_a, sd_a, mean_b, sd_b in zip(*a, *b, strict=True)
    ]
    difference = float(np.mean([one.difference.low <= 0.5 <= one.difference.high for one in told]))
    ratio = float(np.mean([one.ratio.low <= 2 <= one.ratio.high for one in told]))
    holds(difference, DIFFERENCE[n] if alternating else None)
    holds(ratio, RATIO[n] if alternating else None)


@pytest.mark.slow
@both
@few_to_many
def test_of_100_trends_95_hold_the_true_one(n: int, alternating: bool) -> None:
    """And of 100 spreads about such a line."""
    rng = np.random.default_rng(11_000 + n)
    x = np.arange(n) - (n - 1) / 2
    values = 30.0 + 0.03 * x + 0.4 * weights(rng, n, alternating=alternating)
    slopes = values @ x / (x @ x)
    residuals = values - values.mean(axis=1, keepdims=True) - slopes[:, None] * x
    sds = np.sqrt((residuals**2).sum(axis=1) / (n - 2))
    # The half width grows with the residuals, so one of ours gives all of them.
    one = line(list(range(n)), values[0].tolist())
    half = (one.slope.high - one.slope.value) / sds[0] * sds
    assert one.slope.value == pytest.approx(slopes[0])
    holds(float(np.mean(np.abs(slopes - 0.03) <= half)), TREND[n] if alternating else None)
    if not alternating:
        _, low, high = sd_interval(n - 1, sd=1.0)
        holds(float(np.mean((low * sds <= 0.4) & (high * sds >= 0.4))), None)


@pytest.mark.slow
@both
@few_to_many
def test_of_100_capabilities_95_hold_room_and_place(n: int, alternating: bool) -> None:
    """Limits off the middle, so that one end decides; the true values are 8/6 and 1."""
    rng = np.random.default_rng(13_000 + n)
    rows = zip(*mean_and_sd(weights(rng, n, alternating=alternating)), strict=True)
    told = [capability(n, mean=mean, sd=sd, low=-3.0, high=5.0) for mean, sd in rows]
    room = float(np.mean([one.room.low <= 8 / 6 <= one.room.high for one in told]))
    placed = float(np.mean([one.placed.low <= 1.0 <= one.placed.high for one in told]))
    holds(room, SPREAD[n] if alternating else None)
    holds(placed, PLACED[n] if alternating else None)


@pytest.mark.slow
@both
@few_to_many
def test_of_100_shares_of_the_mean_and_spreads_without_the_scale_95_hold(
    n: int, alternating: bool
) -> None:
    """Process 0.4, scale 0.2 of a mean of 30."""
    rng = np.random.default_rng(9_000 + n)
    seen_sd = sqrt(0.4**2 + 0.2**2)
    values = 30.0 + seen_sd * weights(rng, n, alternating=alternating)
    means, sds = mean_and_sd(values)
    left = [without_scale(n, sd=sd, scale=0.2).process for sd in sds]
    scaleless = float(np.mean([one.low <= 0.4 <= one.high for one in left]))
    _, low, high = sd_interval(n, sd=1.0)
    cvs = np.array(sds) / np.array(means)
    cv = float(np.mean((low * cvs <= seen_sd / 30) & (high * cvs >= seen_sd / 30)))
    for share in (scaleless, cv):
        holds(share, SPREAD[n] if alternating else None)


@pytest.mark.parametrize("n", [5, 10, 30, 100])
def test_the_interval_of_a_share_holds_it_95_times_in_100_or_more(n: int) -> None:
    """By the exact sum over all counts: an interval of counts errs to the wide side."""
    told = [share_of(k, n) for k in range(n + 1)]
    for share in np.linspace(0.02, 0.98, 49).tolist():
        chance = [comb(n, k) * share**k * (1 - share) ** (n - k) for k in range(n + 1)]
        held = sum(p for p, one in zip(chance, told, strict=True) if one.low <= share <= one.high)
        assert held >= 0.95, (n, share)


SPLIT = {
    # Independent, and all of it lost; one part each; all of it moved.
    (8, 0.0, 1.0): (None, 0.982, 0.973),
    (10, 0.0, 1.0): (None, 0.981, 0.973),
    (30, 0.0, 1.0): (None, 0.978, 0.972),
    (40, 0.0, 1.0): (None, 0.977, 0.974),
    (8, 1.0, 1.0): (0.928, 0.973, 0.992),
    (10, 1.0, 1.0): (0.940, 0.977, 0.994),
    (30, 1.0, 1.0): (0.968, 0.984, 0.997),
    (40, 1.0, 1.0): (0.972, 0.986, 0.997),
    (8, 1.0, 0.0): (0.905, 0.961, 0.905),
    (10, 1.0, 0.0): (0.928, 0.962, 0.928),
    (30, 1.0, 0.0): (0.978, 0.957, 0.978),
    (40, 1.0, 0.0): (0.982, 0.954, 0.982),
}
"""Of lag-1, moved and lost spread, from 8 weights on, where they are first told: the standard error
of lag-1 is that of independent weights, and those of moved and lost spread err to the wide side."""


@pytest.mark.slow
@pytest.mark.parametrize(("n", "moved", "lost"), SPLIT)
def test_how_often_the_intervals_of_what_neighbours_tell_hold_it(
    n: int, moved: float, lost: float
) -> None:
    rng = np.random.default_rng(12_000 + n)
    noise, own = rng.normal(0.0, moved, (DRAWS, n + 1)), rng.normal(0.0, lost, (DRAWS, n))
    true = (-(moved**2) / (lost**2 + 2 * moved**2), moved, lost)
    held = [0, 0, 0]
    for row in (own + noise[:, 1:] - noise[:, :-1]).tolist():
        told = split(row)
        for at, (one, value) in enumerate(zip(told[:3], true, strict=True)):
            held[at] += one.low <= value <= one.high
    for count, seen in zip(held, SPLIT[n, moved, lost], strict=True):
        holds(count / DRAWS, seen)
