"""Prediction, tolerance and shares, against published values and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.calc.spread import mean_interval, mean_sd, sd_interval
from benchd.calc.stats.order import lag_one
from benchd.calc.stats.ranges import prediction, share_of, tolerance, tolerance_factor
from tests.calc.stats.published import CERTIFIED, HANDBOOK_TESTS, strd

TOLERANCES = {
    "Lew": 1e-12,
    "Mavro": 1e-12,
    "Michelso": 1e-11,
    "NumAcc1": 1e-12,
    "NumAcc2": 1e-12,
    "NumAcc3": 1e-9,
}
"""Relative; of NumAcc3 the input cannot be held more exactly in 64 bits."""


@pytest.mark.parametrize("name", TOLERANCES)
def test_mean_spread_and_lag_of_the_certified_sets(name: str) -> None:
    """NIST Statistical Reference Datasets, univariate summary statistics."""
    values, told = strd(name), CERTIFIED[name]
    assert len(values) == told["n"]
    mean, sd = mean_sd(values)
    assert mean == pytest.approx(float(told["mean"]), rel=TOLERANCES[name])
    assert sd == pytest.approx(float(told["sd"]), rel=TOLERANCES[name])
    assert lag_one(values) == pytest.approx(float(told["lag1"]), rel=max(1e-10, TOLERANCES[name]))


def test_the_tolerance_factor_of_the_handbook() -> None:
    told = HANDBOOK_TESTS["tolerance_7_2_6_3"]
    factor = tolerance_factor(told["n"], share=told["share"], confidence=told["confidence"])
    assert factor == pytest.approx(told["k2"], abs=5e-4)


@pytest.mark.parametrize(("n", "k"), [(10, 3.38), (20, 2.75), (30, 2.55), (50, 2.38)])
def test_two_sided_95_95_factors(n: int, k: float) -> None:
    """Two-sided 95/95 factors as common tables give them to two digits."""
    assert tolerance_factor(n) == pytest.approx(k, abs=0.006)


def test_a_share_of_few_has_a_wide_interval() -> None:
    """Compare scipy.stats.binomtest's exact interval, an implementation of its own."""
    from scipy.stats import binomtest

    for hits, n in ((0, 8), (4, 20), (19, 20), (25, 25)):
        ours, theirs = share_of(hits, n), binomtest(hits, n).proportion_ci(0.95, "exact")
        assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    with pytest.raises(ValueError, match="no share"):
        share_of(5, 4)


DRAWS = 20_000


@pytest.mark.slow
@pytest.mark.parametrize("n", [5, 10, 30])
def test_of_100_intervals_95_hold_the_true_value(n: int) -> None:
    rng = np.random.default_rng(7_000 + n)
    values = rng.normal(30.0, 0.4, (DRAWS, n))
    means, sds = values.mean(axis=1), values.std(axis=1, ddof=1)
    # Each interval scales with the mean and the spread, so one of ours gives all of them.
    for half, off in (
        (mean_interval(n, mean=0.0, sd=1.0).high, np.abs(means - 30.0)),
        (prediction(n, mean=0.0, sd=1.0).high, np.abs(means - rng.normal(30.0, 0.4, DRAWS))),
    ):
        assert 0.935 < np.mean(off <= half * sds) < 0.965
    _, low, high = sd_interval(n, sd=1.0)
    assert 0.935 < np.mean((low * sds <= 0.4) & (high * sds >= 0.4)) < 0.965


@pytest.mark.slow
@pytest.mark.parametrize("n", [5, 10, 30])
def test_of_100_tolerance_ranges_95_hold_as_many_portions_as_they_say(n: int) -> None:
    rng = np.random.default_rng(8_000 + n)
    from scipy.special import ndtr

    values = rng.normal(0.0, 1.0, (DRAWS, n))
    means, sds = values.mean(axis=1), values.std(axis=1, ddof=1)
    half = tolerance(n, mean=0.0, sd=1.0).high * sds
    held = ndtr(means + half) - ndtr(means - half)
    assert 0.935 < np.mean(held >= 0.95) < 0.965


ALTERNATING = {
    "mean": {5: 0.998, 10: 1.0, 30: 1.0},
    "spread": {5: 0.910, 10: 0.902, 30: 0.898},
    "next one": {5: 0.965, 10: 0.954, 30: 0.950},
    "95 of 100": {5: 0.965, 10: 0.954, 30: 0.941},
}
"""Share of intervals that hold the true value where all of the spread is moved mass, so that lag-1
is -0.5: as it was seen at 5, 10 and 30 weights."""


@pytest.mark.slow
@pytest.mark.parametrize("n", [5, 10, 30])
def test_how_often_intervals_hold_where_neighbours_alternate(n: int) -> None:
    """Not the nominal 95 %: moved mass cancels in the mean, which the t interval does not know, and
    the spread of so many alternating weights is less well known than of independent ones."""
    from scipy.special import ndtr

    noise = np.random.default_rng(9).normal(0.0, 1.0, (DRAWS, n + 2))
    values = (noise[:, 1:] - noise[:, :-1]) / np.sqrt(2)
    following, values = values[:, n], values[:, :n]
    means, sds = values.mean(axis=1), values.std(axis=1, ddof=1)
    _, low, high = sd_interval(n, sd=1.0)
    half = tolerance(n, mean=0.0, sd=1.0).high * sds
    held = {
        "mean": np.abs(means) <= mean_interval(n, mean=0.0, sd=1.0).high * sds,
        "spread": (low * sds <= 1) & (high * sds >= 1),
        "next one": np.abs(following - means) <= prediction(n, mean=0.0, sd=1.0).high * sds,
        "95 of 100": ndtr(means + half) - ndtr(means - half) >= 0.95,
    }
    for name, seen in ALTERNATING.items():
        assert np.mean(held[name]) == pytest.approx(seen[n], abs=0.007), name
