"""Control charts: limits, run rules, CUSUM and EWMA against published values and run lengths."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Sequence
from math import erf, sqrt
from statistics import mean

import pytest

from benchd.calc.stats import control, rules, slow
from tests.calc.stats.published import HANDBOOK, HANDBOOK_TESTS, constants, published


def test_single_values_as_in_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.2; it takes d2 as 1.128, we take 2/sqrt(pi)."""
    told = HANDBOOK["individuals_6_3_2_2"]
    sigma = control.sigma_of_moving_range(told["x"], d2=told["d2"])
    assert told["xbar"] + 3 * sigma == pytest.approx(told["ucl"], abs=5e-5)
    assert told["xbar"] - 3 * sigma == pytest.approx(told["lcl"], abs=5e-5)
    ours = control.limits(told["x"])
    assert ours.sigma_from == "moving range"
    assert ours.centre == pytest.approx(told["xbar"])
    assert ours.high == pytest.approx(55.80241, abs=1e-4)
    assert control.outside(told["x"], ours) == []


def test_constants_of_charts() -> None:
    """By numerical integration; d2 and d3 as in common tables."""
    for row in constants():
        assert control.c4(int(row["n"])) == pytest.approx(row["c4"], abs=6e-6)
    assert constants()[0]["d2"] == pytest.approx(control.D2_PAIR, abs=6e-6)


def test_where_neighbours_alternate_the_limits_come_from_the_spread() -> None:
    rng = random.Random(2)
    e = [rng.gauss(0, 1) for _ in range(401)]
    values = [b - a for a, b in itertools.pairwise(e)]
    ours = control.limits(values)
    assert ours.sigma_from == "spread"
    assert control.sigma_of_moving_range(values) / ours.sigma == pytest.approx(1.22, abs=0.06)


def test_sums_of_neighbours_skip_a_missing_portion() -> None:
    assert control.neighbour_sums([9.0, 11.0, 10.0, 5.0], [1, 2, 3, 5]) == [20.0, 21.0]
    assert control.group_means([1, 3, 5, 7, 9], 2) == [2.0, 6.0]


RULE_VECTORS = published("run-rule-vectors.json")["vectors"]
VECTOR_RULE = {
    "beyond_3_sigma": "beyond-3",
    "exactly_3_sigma_does_not_fire": "beyond-3",
    "two_of_three_beyond_2_same_side": "two-of-three",
    "two_of_three_opposite_sides_does_not_fire": "two-of-three",
    "four_of_five_beyond_1_same_side": "four-of-five",
    "eight_in_a_row_one_side": "eight-on-a-side",
    "nine_in_a_row_one_side": "nine-on-a-side",
    "six_in_a_row_steadily_rising": "six-rising",
    "fourteen_alternating": "fourteen-turning",
    "fifteen_within_1_sigma": "fifteen-near",
    "eight_beyond_1_both_sides": "eight-far",
}


@pytest.mark.parametrize("vector", RULE_VECTORS)
def test_a_rule_fires_at_the_point_it_should(vector: str) -> None:
    told = RULE_VECTORS[vector]
    at = next(told[key] for key in told if key.startswith("fires_at"))
    rule = rules.RULE[VECTOR_RULE[vector]]
    assert rules.first_at(told["z"], rule) == at
    assert rules.first_at([-value for value in told["z"]], rule) == at


def test_every_rule_has_a_vector_on_which_it_fires() -> None:
    assert set(VECTOR_RULE.values()) == set(rules.RULE)


def test_cusum_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.3: out of control from the 14th value on."""
    told = HANDBOOK_TESTS["cusum_6_3_2_3"]
    sums = slow.cusum(told["y"], target=told["target"], slack=told["k"], limit=told["h"])
    assert sums.at == told["first_alarm"] - 1
    assert all(value > told["h"] for value in sums.high[13:])


def test_ewma_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.4: in control."""
    told = HANDBOOK["ewma_6_3_2_4"]
    ours = slow.ewma(
        told["x"],
        target=told["target"],
        sigma=told["sigma"],
        weight=told["lambda"],
        limit=told["L"],
    )
    assert ours.values == pytest.approx(told["ewma"], abs=6e-3)
    assert (ours.low, ours.high) == pytest.approx((told["lcl"], told["ucl"]), abs=1e-3)
    assert ours.at is None


def run_length(first: Callable[[Sequence[float]], int | None], runs: int, longest: int) -> float:
    """Mean number of points to the first alarm, on values that are as they should be.

    Runs that outlast `longest` are counted in the way of waiting times without memory: total of
    points over number of alarms.
    """
    alarms = points = 0
    for seed in range(runs):
        rng = random.Random(seed)
        at = first([rng.gauss(0, 1) for _ in range(longest)])
        alarms += at is not None
        points += longest if at is None else at + 1
    return points / alarms


WITHIN_1 = erf(1 / sqrt(2))
"""Share of values within one spread of the centre."""

PUBLISHED_RUN_LENGTHS = [
    (("beyond-3",), 370.4),
    (("beyond-3", "two-of-three"), 225.4),
    (rules.CAUTIOUS, 152.7),
    (rules.USUAL, 91.75),
    (("beyond-3", "four-of-five"), 166.05),
    (("eight-on-a-side",), 2**8 - 1),
    (("nine-on-a-side",), 2**9 - 1),
    (("fifteen-near",), (1 - WITHIN_1**15) / ((1 - WITHIN_1) * WITHIN_1**15)),
]
"""The combinations: Champ and Woodall, Technometrics 29 (1987) 393. Runs of one kind: the mean time
until a success run, Feller, An Introduction to Probability Theory, volume 1, XIII.7."""


@pytest.mark.slow
@pytest.mark.parametrize(("names", "points"), PUBLISHED_RUN_LENGTHS, ids=str)
def test_false_alarms_of_the_rules_come_as_seldom_as_published(
    names: Sequence[str], points: float
) -> None:
    def first(z: Sequence[float]) -> int | None:
        return min(rules.fired(z, names).values(), default=None)

    assert run_length(first, 600, 1000) == pytest.approx(points, rel=0.12)


@pytest.mark.slow
def test_false_alarms_of_cusum_and_ewma_come_as_seldom_as_published() -> None:
    """465 for slack 0.5 and limit 5 (Montgomery, table 9.3); 500 for weight 0.2 and limit 2.962
    (Lucas and Saccucci, 1990)."""
    k, h = slow.CUSUM_SLACK, slow.CUSUM_LIMIT
    sums = run_length(lambda z: slow.cusum(z, target=0, slack=k, limit=h).at, 800, 1500)
    assert sums == pytest.approx(465, rel=0.12)
    averages = run_length(lambda z: slow.ewma(z, target=0, sigma=1).at, 800, 1500)
    assert averages == pytest.approx(500, rel=0.12)


@pytest.mark.slow
def test_both_see_a_small_shift_long_before_single_points_do() -> None:
    def shifted(seed: int) -> list[float]:
        rng = random.Random(seed)
        return [rng.gauss(1, 1) for _ in range(300)]

    at = [slow.cusum(shifted(seed), target=0, slack=0.5, limit=5).at for seed in range(200)]
    # 10.4 points after a shift of one spread (Montgomery, table 9.3).
    assert mean(1 + place for place in at if place is not None) == pytest.approx(10.4, rel=0.12)
