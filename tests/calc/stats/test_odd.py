"""Odd weights, against the handbook's examples and laws."""

from __future__ import annotations

import random

import pytest
import scipy.special  # noqa: F401
from hypothesis import given
from hypothesis import strategies as st

from benchd.calc.stats.odd import (
    Went,
    esd,
    esd_limits,
    odd_ones,
    robust_z,
    shift_of_mean,
    where_it_went,
)
from tests.calc.stats.published import HANDBOOK, HANDBOOK_TESTS


def test_rosners_values_have_three_odd_ones() -> None:
    """NIST/SEMATECH e-Handbook, 1.3.5.17.3, and its critical values."""
    told = HANDBOOK_TESTS["esd_1_3_5_17_3"]
    places = esd(told["y"], 10)
    assert sorted(told["y"][at] for at in places) == [5.34, 5.42, 6.01]
    assert len(places) == told["odd"]
    assert esd_limits(54, 10) == pytest.approx(told["critical"], abs=1.1e-3)


def test_the_odd_mass_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 1.3.5.17.1; its modified z to three digits."""
    told = HANDBOOK["grubbs_1_3_5_17_1"]
    assert robust_z(told["x"])[7] == pytest.approx(29.9627, abs=1e-3)
    assert odd_ones(told["x"]) == [7]
    # One value looked for is Grubbs' two-sided test, 2.12665 at n 8.
    assert esd_limits(8, 1) == pytest.approx([2.12665], abs=1e-4)


@pytest.mark.slow
def test_usual_weights_are_seldom_called_odd() -> None:
    for n in (8, 12, 20, 40):
        called = 0
        for seed in range(2000):
            rng = random.Random(seed)
            called += bool(odd_ones([rng.gauss(30, 0.3) for _ in range(n)]))
        assert called / 2000 < 0.025, n


def test_a_coarse_scale_makes_nothing_odd() -> None:
    values = [30.0] * 10 + [30.1]
    assert robust_z(values) == [0.0] * 11
    assert odd_ones(values, least=0.1) == []
    assert odd_ones([30.0] * 5 + [30.1] * 5 + [34.0], least=0.1) == [10]


def test_of_fewer_than_eight_none_is_called_odd() -> None:
    assert odd_ones([30.0, 30.1, 30.2, 30.1, 30.0, 30.1, 44.0]) == []


@pytest.mark.slow
@given(st.lists(st.floats(1, 100), min_size=3, max_size=30), st.data())
def test_leaving_an_odd_weight_out_shifts_the_mean_by_what_is_told(
    values: list[float], data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(values) - 1))
    rest = values[:at] + values[at + 1 :]
    told = shift_of_mean(values, at)
    assert sum(values) / len(values) - sum(rest) / len(rest) == pytest.approx(told, abs=1e-9)


@pytest.mark.parametrize(
    ("odd", "neighbour", "went"),
    [
        (18.0, 22.0, Went.MOVED),
        (22.0, 18.1, Went.MOVED),
        (18.0, 20.1, Went.LOST),
        (18.0, 21.0, Went.UNKNOWN),
        (19.5, 20.5, Went.UNKNOWN),
    ],
)
def test_the_neighbour_tells_moved_from_lost(odd: float, neighbour: float, went: Went) -> None:
    assert where_it_went(odd, neighbour, mean=20.0, sd=0.2, sum_sd=0.2) is went
