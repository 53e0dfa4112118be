"""What a portion is held against, and how far is odd."""

from __future__ import annotations

import random

import pytest

from benchd.diagnose.matched import ENOUGH, LEAST, MOST, Good, far, null_limit, usual
from benchd.diagnose.signals import MASS, SIGNALS
from tests.diagnose.portions import seen, tube


def test_only_good_portions_of_the_same_card_are_matched_and_never_itself() -> None:
    portions = tube(12)
    portions[2] = seen(3, kind="flagged")
    portions[3] = seen(4, like="other card")
    one = portions[6]
    numbers = {other.number for other in Good(portions).matched(one)}
    assert numbers == {1, 2, 5, 6, 9, 10, 11, 12}


def test_with_enough_of_them_the_same_third_and_what_came_before_are_taken() -> None:
    portions = [one for loading in range(9) for one in tube(12, loading=loading)]
    one = portions[-1]
    others = Good(portions).matched(one)
    assert len(others) >= ENOUGH
    assert {other.third for other in others} == {one.third}
    middle = portions[-6]
    assert all(other.number < middle.number for other in Good(portions).matched(middle))


def test_of_many_the_nearest_by_number_are_taken() -> None:
    portions = [one for loading in range(30) for one in tube(12, loading=loading)]
    random.Random(5).shuffle(portions)
    one = next(other for other in portions if other.number == 1506)
    third = [other for other in portions if other.third == one.third]
    earlier = [other for other in third if other.loading != one.loading or other.number < 1506]
    far_off = sorted(abs(other.number - 1506) for other in earlier)[:MOST]
    assert [abs(other.number - 1506) for other in Good(portions).matched(one)] == far_off


@pytest.mark.parametrize("n", [LEAST - 1, LEAST])
def test_too_few_are_no_comparison(n: int) -> None:
    portions = tube(n)
    assert bool(far(seen(99), portions)) == (n >= LEAST)


def test_values_far_out_do_not_widen_the_spread() -> None:
    rng = random.Random(3)
    values = [rng.gauss(10, 1) for _ in range(20)]
    mean, sd, kept = usual([*values, 100.0])
    assert len(kept) == 20
    assert mean == pytest.approx(10, abs=0.8)
    assert sd < 1.6


def test_a_trend_along_the_tube_is_no_oddity() -> None:
    portions = [
        seen(k, index=k, place=k / 15, signals={"thrust_cut_n": 100.0 - 6 * k + k % 2})
        for k in range(1, 13)
    ]
    one = seen(13, index=13, place=13 / 15, signals={"thrust_cut_n": 22.0})
    (row,) = (row for row in far(one, portions) if row.name == "thrust_cut_n")
    assert not row.odd
    one = seen(13, index=13, place=13 / 15, signals={"thrust_cut_n": 72.0})
    (row,) = (row for row in far(one, portions) if row.name == "thrust_cut_n")
    assert row.odd


@pytest.mark.parametrize(("front", "odd"), [(True, False), (False, True)])
def test_the_front_of_a_tube_is_held_against_what_scatters_as_it_does(
    front: bool, odd: bool
) -> None:
    """Weights of a full barrel scatter more than those of one that is nearly empty: the same
    weights, widest at the front or spread over the tube."""
    wide = range(1, 15) if front else range(1, 29, 2)
    off = {k: (-1) ** (k // 2) * (0.0009 if k in wide else 0.0002) for k in range(1, 29)}
    portions = [seen(k, place=k / 29, signals={MASS: 0.030 + off[k]}) for k in off]
    one = seen(99, place=0.25, signals={MASS: 0.0340})
    (row,) = (row for row in far(one, portions) if row.name == MASS)
    assert row.odd == odd


def test_a_difference_below_the_floor_never_counts() -> None:
    portions = tube(20)
    floor = SIGNALS["start_delay_s"].floor
    one = seen(99, signals={"start_delay_s": 0.020 + 0.9 * floor})
    (row,) = (row for row in far(one, portions) if row.name == "start_delay_s")
    assert not row.odd
    one = seen(99, signals={"start_delay_s": 0.020 + 1.5 * floor})
    (row,) = (row for row in far(one, portions) if row.name == "start_delay_s")
    assert row.odd


@pytest.mark.slow
@pytest.mark.parametrize("n", [11, 20, 40])
def test_the_null_keeps_its_share_of_false_alarms(n: int) -> None:
    """One more normal value beside n: beyond the limit as often as was asked for, or less."""
    rng, alpha, runs = random.Random(7), 0.02, 6_000
    limit = null_limit(n, 1, alpha)
    beyond = 0
    for _ in range(runs):
        mean, sd, _ = usual([rng.gauss(0, 1) for _ in range(n)])
        beyond += abs(rng.gauss(0, 1) - mean) > limit * sd
    # Four standard errors of the count above what was asked for; far below it has no power.
    assert 0.25 * alpha < beyond / runs < alpha + 4 * (alpha / runs) ** 0.5


def test_more_signals_and_fewer_portions_ask_for_more() -> None:
    assert null_limit(20, 22) > null_limit(20, 1)
    assert null_limit(10, 22) > null_limit(20, 22) > null_limit(40, 22)
