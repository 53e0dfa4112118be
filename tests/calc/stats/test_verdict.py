"""The word for a series: each word is given where it is due, and seldom where it is not."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable

import pytest
import scipy.special  # noqa: F401

from benchd.calc.spread import sd_interval
from benchd.calc.stats.odd import Went
from benchd.calc.stats.verdict import Event, Verdict, Word, verdict

AIM_G, TOLERANCE_G, SCALE_G = 30.0, 1.5, 0.06


def judged(values: list[float]) -> Verdict:
    positions = list(range(2, len(values) + 2))
    return verdict(positions, values, tolerance=TOLERANCE_G, scale_sd=SCALE_G)


def steady(rng: random.Random, n: int, cv: float = 0.01) -> list[float]:
    return [rng.gauss(AIM_G, cv * AIM_G) for _ in range(n)]


def drifting(rng: random.Random, n: int) -> list[float]:
    return [value - 0.1 * at for at, value in enumerate(steady(rng, n))]


def alternating(rng: random.Random, n: int) -> list[float]:
    e = [rng.gauss(0, 0.3) for _ in range(n + 1)]
    return [AIM_G + e[i + 1] - e[i] for i in range(n)]


def scattered(rng: random.Random, n: int) -> list[float]:
    return steady(rng, n, 0.05)


def one_lost(rng: random.Random, n: int) -> list[float]:
    values = steady(rng, n)
    values[n // 2] -= 0.15 * AIM_G
    return values


def one_moved(rng: random.Random, n: int) -> list[float]:
    values = one_lost(rng, n)
    values[n // 2 + 1] += 0.15 * AIM_G
    return values


def words(make: Callable[[random.Random, int], list[float]], n: int, runs: int) -> Counter[Word]:
    return Counter(judged(make(random.Random(seed), n)).word for seed in range(runs))


RIGHT = [
    (steady, 20, Word.STEADY, 0.88),
    (steady, 60, Word.STEADY, 0.88),
    (drifting, 20, Word.DRIFTING, 0.98),
    (alternating, 60, Word.ALTERNATING, 0.9),
    (scattered, 40, Word.SCATTERED, 0.85),
    (one_lost, 20, Word.ONE_ODD, 0.85),
    (one_moved, 20, Word.ONE_ODD, 0.8),
]


@pytest.mark.slow
@pytest.mark.parametrize(("make", "n", "word", "least"), RIGHT)
def test_each_word_is_given_where_it_is_due(
    make: Callable[[random.Random, int], list[float]], n: int, word: Word, least: float
) -> None:
    found = words(make, n, 300)
    assert found[word] / 300 >= least, found


@pytest.mark.slow
def test_a_steady_series_is_seldom_called_anything_worse() -> None:
    for n in (8, 12, 20, 40):
        found = words(steady, n, 500)
        bad = sum(found[word] for word in (Word.DRIFTING, Word.SCATTERED, Word.ONE_ODD))
        # 1 in 100 each for drift and odd ones; alternation is allowed 1 in 20 beside it.
        assert bad / 500 < 0.04, (n, found)
        assert found[Word.ALTERNATING] / 500 < 0.08, (n, found)


@pytest.mark.slow
def test_a_bad_series_is_seldom_called_steady() -> None:
    for make, n in ((drifting, 20), (scattered, 12), (one_lost, 12)):
        assert words(make, n, 300)[Word.STEADY] / 300 < 0.03, make


def test_the_spread_about_a_line_is_known_as_of_one_weight_less() -> None:
    told = judged(drifting(random.Random(1), 10))
    assert told.word is Word.DRIFTING
    assert told.sd is not None
    assert told.sd == pytest.approx(sd_interval(9, sd=told.sd.value))


def test_fewer_than_eight_get_no_verdict_and_are_told_what_would() -> None:
    told = judged(steady(random.Random(1), 7))
    assert told.word is Word.CANT_TELL
    assert told.more == 1
    assert told.sd is None


def test_a_spread_that_could_be_either_says_how_many_more_would_tell() -> None:
    values = [AIM_G + 0.65 * sign for sign in (1, 1, -1, 1, -1, -1, 1, -1, -1, 1)]
    told = judged(values)
    assert told.word is Word.CANT_TELL
    assert told.sd is not None
    assert told.sd.low < told.wanted_sd < told.sd.high
    assert told.more is not None
    assert 1 < told.more < 200


def test_an_odd_pair_that_cancels_is_one_event() -> None:
    values = [30.1, 29.9, 30.0, 30.2, 29.8, 25.5, 34.5, 30.1, 29.9, 30.0, 30.1, 29.8]
    told = judged(values)
    assert told.word is Word.ONE_ODD
    assert told.events == (Event(5, 6, Went.MOVED),)
    assert 5 not in told.kept
    assert 6 not in told.kept


def test_a_lost_portion_has_a_usual_neighbour() -> None:
    values = [30.1, 29.9, 30.0, 30.2, 29.8, 25.5, 30.0, 30.1, 29.9, 30.0, 30.1, 29.8]
    assert judged(values).events == (Event(5, None, Went.LOST),)


def test_a_last_portion_has_no_neighbour_to_tell() -> None:
    values = [30.1, 29.9, 30.0, 30.2, 29.8, 30.0, 30.1, 29.9, 30.0, 30.1, 29.8, 25.5]
    assert judged(values).events == (Event(11, None, Went.UNKNOWN),)
