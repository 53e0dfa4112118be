"""Tubes beside each other, mass that must add up, and published yardsticks."""

from __future__ import annotations

import random

import pytest
import scipy.special  # noqa: F401

from benchd.calc.stats import net_content, tubes
from tests.calc.stats.published import published


def test_a_tubes_factor_is_drawn_towards_one() -> None:
    """Common practice: 2 % between and within, 4 weights: 0.8 of the difference is kept."""
    assert tubes.keeps(4, between=2.0, within=2.0) == pytest.approx(0.8)
    assert tubes.keeps(4, between=0.0, within=2.0) == 0.0
    told = tubes.factors([[30.0, 30.4, 29.8], [31.1, 31.3, 30.9], [29.0, 29.4, 29.2]])
    assert told.between > 0
    for factor, mean in zip(told.factors, (30.067, 31.1, 29.2), strict=True):
        assert abs(factor - 1) < abs(mean / told.mean - 1) or factor == pytest.approx(1, abs=2e-3)


def test_equal_tubes_have_no_factor() -> None:
    told = tubes.factors([[30.0, 31.0], [30.0, 31.0]])
    assert told.between == 0.0
    assert told.factors == (1.0, 1.0)
    with pytest.raises(ValueError, match="from two on"):
        tubes.factors([[30.0, 31.0]])


@pytest.mark.slow
def test_the_spread_between_tubes_is_found_again() -> None:
    rng = random.Random(11)
    groups = []
    for size in [8, 12, 16] * 100:
        centre = rng.gauss(30, 0.6)
        groups.append([rng.gauss(centre, 0.3) for _ in range(size)])
    told = tubes.factors(groups)
    assert told.between == pytest.approx(0.6, rel=0.1)
    assert told.within == pytest.approx(0.3, rel=0.05)


def test_a_tube_adds_up_when_a_heel_is_left() -> None:
    told = tubes.balance(0.45, [0.030] * 12, unweighed=2, each_error_kg=6e-5)
    assert told.left == pytest.approx(0.45 - 14 * 0.030)
    assert told.adds_up
    assert not tubes.balance(0.35, [0.030] * 12, unweighed=0, each_error_kg=6e-5).adds_up


NET = published("net-content-tables.json")


def test_the_table_of_tolerable_errors() -> None:
    """Council Directive 76/211/EEC, Annex I, 2.4."""
    for low, high, text in NET["eu_76_211_tne"]["bands_g"]:
        middle_g = (low + high) / 2
        number, unit = text.split()
        expected_g = float(number) if unit == "g" else float(number) / 100 * middle_g
        told = net_content.tolerable_kg(middle_g / 1000)
        assert told == pytest.approx(expected_g / 1000)
    assert net_content.tolerable_kg(0.030) == pytest.approx(0.0027)
    assert net_content.tolerable_kg(0.150) == pytest.approx(0.00675)
    assert net_content.tolerable_kg(0.004) is None
    assert net_content.tolerable_kg(1.5) is None


def test_the_factors_of_the_test_of_the_mean() -> None:
    """Council Directive 76/211/EEC, Annex II, and OIML R 87."""
    told = NET["eu_76_211_mean_test"]
    for n, factor in ((20, told["n20_destructive"]), (30, told["n30"]), (50, told["n50"])):
        assert net_content.mean_factor(n) == pytest.approx(factor, abs=6e-4)
    for text, factor in NET["oiml_r87_sample_factors"].items():
        if text != "source":
            assert net_content.mean_factor(int(text)) == pytest.approx(factor, abs=6e-4)


def test_short_weights_are_counted() -> None:
    told = net_content.yardstick(0.030, [0.030] * 10 + [0.0272, 0.0240])
    assert told is not None
    assert (told.short, told.very_short) == (2, 1)
    assert net_content.yardstick(0.002, [0.002, 0.002]) is None
