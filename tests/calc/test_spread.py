"""Mean, spread and their intervals, against numbers published by others."""

from __future__ import annotations

import pytest
import scipy.stats  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.calc.spread import mean_interval, mean_sd, sd_interval


def test_the_interval_of_a_mean() -> None:
    """NIST/SEMATECH e-Handbook, 1.3.5.2: heat flow meter, data set ZARR13."""
    interval = mean_interval(195, mean=9.261460, sd=0.02278881)
    assert interval.low == pytest.approx(9.258242, abs=1e-6)
    assert interval.high == pytest.approx(9.264679, abs=1e-6)


def test_the_interval_of_a_spread() -> None:
    """NIST/SEMATECH e-Handbook, table 1.3.6.7.4: chi2 for 9 degrees is 2.700 and 19.023."""
    interval = sd_interval(10, sd=1.0)
    assert interval.low == pytest.approx((9 / 19.023) ** 0.5, abs=1e-4)
    assert interval.high == pytest.approx((9 / 2.700) ** 0.5, abs=2e-4)


def test_mean_and_spread_by_hand() -> None:
    assert mean_sd([1.0, 2.0, 3.0]) == (2.0, 1.0)
    with pytest.raises(ValueError, match="at least two"):
        mean_sd([1.0])
