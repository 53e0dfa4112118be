"""The light way to quantiles of Student's t, held against scipy and a published table."""

from __future__ import annotations

import pytest

from benchd.calc.stats import quantiles
from benchd.calc.student_lightly import share_above, student
from benchd.diagnose.matched import LEAST, MOST, null_limit


@pytest.mark.parametrize(
    ("share", "freedom", "value"),
    [(0.975, 10, 2.228), (0.95, 1, 6.314), (0.999, 5, 5.893), (0.90, 100, 1.290)],
)
def test_the_published_critical_values(share: float, freedom: float, value: float) -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2."""
    assert student(share, freedom) == pytest.approx(value, abs=5e-4)
    assert share_above(value, freedom) == pytest.approx(1 - share, rel=2e-3)


@pytest.mark.slow
@pytest.mark.parametrize("freedom", [0.6, 1, 4.2, 7, 23.4, 300, 1e4])
@pytest.mark.parametrize("share", [0.51, 0.7, 0.95, 0.999, 0.99995, 1 - 1e-7])
def test_quantiles_are_those_of_scipy(share: float, freedom: float) -> None:
    assert student(share, freedom) == pytest.approx(quantiles.student(share, freedom), rel=1e-8)


def test_a_share_without_such_a_quantile_is_refused() -> None:
    for share in (0.5, 1.0, 0.2):
        with pytest.raises(ValueError, match=r"above 0\.5"):
            student(share, 5)


def test_limits_grow_as_portions_get_fewer_and_signals_more() -> None:
    by_n = [null_limit(n, 10) for n in range(LEAST, MOST + 1)]
    assert by_n == sorted(by_n, reverse=True)
    assert null_limit(20, 12) > null_limit(20, 3)
