"""The statistics beside a second general library, statsmodels, whose authors are others than those
of scipy. Its import takes two seconds."""

from __future__ import annotations

import random
from statistics import fmean, stdev

import pytest

from benchd.calc.spread import mean_interval
from benchd.calc.stats import compare, odd, order, ranges

pytestmark = pytest.mark.slow
SIZES = (5, 10, 30)


def weights_g(seed: int, n: int, mean: float = 30.0, sd: float = 0.4) -> list[float]:
    rng = random.Random(seed)
    return [rng.gauss(mean, sd) for _ in range(n)]


@pytest.mark.parametrize("n", SIZES)
def test_the_interval_of_a_mean(seed: int, n: int) -> None:
    from statsmodels.stats.weightstats import DescrStatsW

    values = weights_g(seed, n)
    ours = mean_interval(n, mean=fmean(values), sd=stdev(values))
    assert (ours.low, ours.high) == pytest.approx(DescrStatsW(values).tconfint_mean(), rel=1e-9)


@pytest.mark.parametrize("n", SIZES)
def test_the_difference_of_two_groups(seed: int, n: int) -> None:
    from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

    a, b = weights_g(seed, n), weights_g(seed + 1, n + 3, 30.4, 0.9)
    theirs = CompareMeans(DescrStatsW(b), DescrStatsW(a)).tconfint_diff(usevar="unequal")
    ours = compare.compare(a, b).difference
    assert (ours.low, ours.high) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("n", SIZES)
def test_the_line_along_a_tube_and_the_next_single_value(seed: int, n: int) -> None:
    import numpy as np
    from statsmodels.regression.linear_model import OLS
    from statsmodels.tools import add_constant

    values = weights_g(seed, n)
    places = [k + k // 3 for k in range(n)]  # some portions are missing
    fit = OLS(values, add_constant(places)).fit()
    slope = order.line(places, values).slope
    low, high = fit.conf_int()[1]
    assert (slope.value, slope.low, slope.high) == pytest.approx(
        (fit.params[1], low, high), rel=1e-7
    )
    alone = OLS(values, np.ones(n)).fit().get_prediction(np.ones(1))
    mean, sd = float(np.mean(values)), float(np.std(values, ddof=1))
    ours = ranges.prediction(n, mean=mean, sd=sd)
    assert (ours.low, ours.high) == pytest.approx(tuple(alone.conf_int(obs=True)[0]), rel=1e-9)


@pytest.mark.parametrize("n", SIZES)
def test_how_neighbours_go_together(seed: int, n: int) -> None:
    from statsmodels.tsa.stattools import acf

    values = weights_g(seed, n)
    assert order.lag_one(values) == pytest.approx(acf(values, nlags=1, fft=False)[1], rel=1e-9)


@pytest.mark.parametrize(("hits", "n"), [(0, 5), (1, 10), (4, 20), (30, 30)])
def test_a_counted_share(hits: int, n: int) -> None:
    from statsmodels.stats.proportion import proportion_confint

    ours = ranges.share_of(hits, n)
    theirs = proportion_confint(hits, n, method="beta")
    assert (ours.low, ours.high) == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize("n", SIZES)
def test_how_far_a_value_is_from_the_middle(seed: int, n: int) -> None:
    import numpy as np
    from statsmodels.robust import mad

    values = weights_g(seed, n)
    theirs = (np.array(values) - np.median(values)) / mad(values)
    # The handbook rounds the factor to four digits.
    assert odd.robust_z(values) == pytest.approx(list(theirs), rel=1e-4, abs=1e-9)


@pytest.mark.parametrize("n", [10, 20, 40])
def test_the_difference_that_so_many_values_would_find(n: int) -> None:
    """Ours takes t twice, which is a little more careful than the exact power."""
    from statsmodels.stats.power import TTestIndPower

    theirs = TTestIndPower().solve_power(nobs1=n, alpha=0.05, power=0.8)
    ours = compare.least_difference(n, n, 1.0)
    assert theirs <= ours <= 1.03 * theirs
