"""Two groups, against the handbook's worked examples and another library."""

from __future__ import annotations

import random
from math import sqrt

import pytest
import scipy.special  # noqa: F401

from benchd.calc.stats import compare as groups
from tests.calc.stats.published import HANDBOOK_TESTS


def test_means_of_unequal_spread_as_in_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 1.3.5.3: cars of two countries (AUTO83B)."""
    told = HANDBOOK_TESTS["two_sample_t_1_3_5_3"]
    (n_a, n_b), (mean_a, mean_b), (sd_a, sd_b) = told["n"], told["mean"], told["sd"]
    gap = groups.from_summary(n_a, mean_a, sd_a, n_b, mean_b, sd_b).difference
    error = sqrt(sd_a**2 / n_a + sd_b**2 / n_b)
    assert -gap.value / error == pytest.approx(told["t_unequal"], abs=1e-3)
    from scipy.stats import t

    assert (gap.high - gap.value) / error == pytest.approx(t.ppf(0.975, told["freedom_unequal"]))


def test_spreads_as_in_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 1.3.5.9: strength of ceramics (JAHANMI2), not different."""
    told = HANDBOOK_TESTS["two_variances_1_3_5_9"]
    (n, _), (mean_a, mean_b), (sd_a, sd_b) = told["n"], told["mean"], told["sd"]
    ratio = groups.from_summary(n, mean_a, sd_a, n, mean_b, sd_b).ratio
    assert 1 / ratio.value**2 == pytest.approx(told["f"], abs=1e-5)
    assert (ratio.value / ratio.low) ** 2 == pytest.approx(told["critical"][1], abs=1e-4)
    assert (ratio.value / ratio.high) ** 2 == pytest.approx(told["critical"][0], abs=1e-4)


def test_two_groups_as_another_library_compares_them() -> None:
    from scipy.stats import ttest_ind

    rng = random.Random(5)
    a = [rng.gauss(30, 0.3) for _ in range(11)]
    b = [rng.gauss(30.3, 0.6) for _ in range(14)]
    ours = groups.compare(a, b)
    theirs = ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
    assert (ours.difference.low, ours.difference.high) == pytest.approx((theirs.low, theirs.high))
    swapped = groups.compare(b, a)
    assert swapped.difference.value == pytest.approx(-ours.difference.value)
    assert swapped.ratio.low == pytest.approx(1 / ours.ratio.high)


@pytest.mark.parametrize(("n", "ratio"), [(10, 2.0), (20, 1.6), (30, 1.45)])
def test_what_ratio_of_spreads_so_many_can_show(n: int, ratio: float) -> None:
    """Common practice: figures for 10, 20 and 30 of each."""
    assert groups.least_ratio(n, n) == pytest.approx(ratio, abs=0.015)


@pytest.mark.slow
def test_the_least_difference_is_found_8_times_in_10() -> None:
    rng = random.Random(6)
    gap = groups.least_difference(15, 15, 1.0)
    found = 0
    for _ in range(2000):
        a = [rng.gauss(0, 1) for _ in range(15)]
        b = [rng.gauss(gap, 1) for _ in range(15)]
        found += groups.compare(a, b).differ
    assert 0.77 < found / 2000 < 0.83


def test_a_group_without_spread_is_not_compared() -> None:
    with pytest.raises(ValueError, match="no spread"):
        groups.compare([1.0, 1.0], [1.0, 2.0])
