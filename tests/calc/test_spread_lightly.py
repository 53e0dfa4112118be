"""The light way to a spread's interval, held against scipy and a published table."""

from __future__ import annotations

import random

import pytest

from benchd.calc.spread import mean_sd, sd_interval
from benchd.calc.spread_lightly import chi_square, share_below, spread
from benchd.calc.stats import quantiles


@pytest.mark.parametrize(("share", "value"), [(0.025, 2.700), (0.975, 19.023)])
def test_the_published_critical_values(share: float, value: float) -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4, 9 degrees of freedom."""
    assert chi_square(share, 9) == pytest.approx(value, abs=5e-4)
    assert share_below(value, 9) == pytest.approx(share, abs=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize("freedom", [1, 2, 7, 30, 199])
@pytest.mark.parametrize("share", [0.025, 0.5, 0.975])
def test_quantiles_are_those_of_scipy(share: float, freedom: int) -> None:
    assert chi_square(share, freedom) == pytest.approx(
        quantiles.chi_square(share, freedom), rel=1e-9
    )


@pytest.mark.parametrize("n", [2, 8, 24, 200])
def test_a_spread_has_the_interval_of_the_heavy_way(n: int) -> None:
    chance = random.Random(n)
    values = [chance.gauss(0.03, 0.0005) for _ in range(n)]
    assert tuple(spread(values)) == pytest.approx(tuple(sd_interval(n, sd=mean_sd(values)[1])))


def test_one_value_has_no_spread() -> None:
    with pytest.raises(ValueError, match="at least two"):
        spread([0.03])
    assert share_below(0.0, 3) == 0.0
