"""Tubes held against frozen ones: what is off as a whole is seen, and chance seldom called so."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.analysis.levels import Held, Tube, half_width, held, level, levels_of
from benchd.analysis.weighed import Made


def tube(
    loading: int, rng: np.random.Generator, *, factor: float = 1.0, first: int = 1, count: int = 12
) -> list[Made]:
    """Portions of 30 g and a thrust of 120 N that falls by 2 N a portion, times a factor."""
    return [
        Made(
            bench="maize",
            number=100 * loading + index,
            tube=f"T{loading}",
            loading=loading,
            index=index,
            group=1,
            dough="masa",
            aim_kg=0.030,
            recipe=(0.002, 0.0127, 0.002),
            kind="normal",
            outcome="complete",
            position_m=None,
            travel_m=None,
            tolerance=None,
            by_hand={},
            signals={"thrust_n": factor * (120.0 - 2 * index) + rng.normal(0, 1)},
            mass_kg=factor * 0.030 + rng.normal(0, 3e-4),
        )
        for index in range(first, first + count)
    ]


def told(frozen: list[list[Made]], now: list[Made]) -> dict[str, Held]:
    levels = levels_of([one for portions in frozen for one in portions])
    return {one.signal: one for one in held(levels, now)}


@pytest.mark.parametrize("frozen", [1, 4])
@pytest.mark.parametrize(("factor", "beyond"), [(1.1, True), (0.9, True), (1.0, False)])
def test_a_tube_that_is_off_by_a_tenth_is_beyond(frozen: int, factor: float, beyond: bool) -> None:
    rng = np.random.default_rng(3)
    before = [tube(loading, rng) for loading in range(1, frozen + 1)]
    found = told(before, tube(9, rng, factor=factor))
    assert {signal: one.beyond for signal, one in found.items()} == {
        "weight": beyond,
        "thrust at the cut": beyond,
    }
    weight, thrust = found["weight"], found["thrust at the cut"]
    assert weight.tubes == frozen
    assert weight.frozen == pytest.approx(0.030, abs=2e-4)
    assert (weight.place, thrust.place) == (None, 6.5)
    assert thrust.frozen == pytest.approx(107, abs=1)


def test_thrust_is_not_taken_where_the_tube_has_no_portions() -> None:
    rng = np.random.default_rng(4)
    before = [tube(1, rng), tube(2, rng)]
    assert set(told(before, tube(9, rng, first=8))) == {"weight"}
    # Below four portions a tube says too little, of either.
    assert told(before, tube(9, rng, count=3)) == {}


def test_an_odd_weight_moves_no_level() -> None:
    rng = np.random.default_rng(5)
    before, now = [tube(1, rng)], tube(9, rng)
    usual = told(before, now)["weight"].value
    now[4] = msgspec.structs.replace(now[4], mass_kg=0.0001)
    assert told(before, now)["weight"].value == pytest.approx(usual, abs=1e-4)


def test_equal_weights_have_no_level() -> None:
    rows = [Tube("T1", 1, 0.030, 1 / 12, 0.0, 11), Tube("T2", 2, 0.030, 1 / 12, 0.0, 11)]
    assert level(rows, None) is None
    assert level([], None) is None


DRAWS = 20_000


@pytest.mark.slow
@pytest.mark.parametrize(
    ("frozen", "most"), [(1, 0.965), (2, 1.0), (3, 0.98), (5, 0.965), (10, 0.965)]
)
@pytest.mark.parametrize("n", [5, 10, 30])
def test_of_100_sound_tubes_95_are_within(frozen: int, most: float, n: int) -> None:
    """Of several tubes, that differ by three spreads of a mean; of one, where tubes are alike. It
    errs to the wide side with two and three, whose own spread is often below that of chance."""
    rng = np.random.default_rng(15_000 + 10 * n + frozen)
    between = 0.0 if frozen == 1 else 3 / np.sqrt(n)
    inside = 0
    means = rng.normal(30, np.hypot(between, 1 / np.sqrt(n)), (DRAWS, frozen + 1)).tolist()
    squares = rng.chisquare(n - 1, (DRAWS, frozen)).tolist()
    for values, sums in zip(means, squares, strict=True):
        rows = [
            Tube("T", at, value, 1 / n, square, n - 1)
            for at, (value, square) in enumerate(zip(values[:-1], sums, strict=True))
        ]
        of = level(rows, None)
        assert of is not None
        inside += abs(values[-1] - of.mean) <= half_width(of, 1 / n)
    assert 0.935 < inside / DRAWS <= most


@pytest.mark.slow
@pytest.mark.parametrize(("between", "most"), [(0.0, 1.0), (1.0, 0.97)])
def test_a_tube_of_few_weights_has_a_wider_range(between: float, most: float) -> None:
    """Five tubes of 20, then one of 5; it errs to the wide side where tubes hardly differ."""
    rng = np.random.default_rng(16_000)
    inside = 0
    for _ in range(DRAWS):
        values = rng.normal(30, np.hypot(between, 1 / np.sqrt(20)), 5).tolist()
        rows = [Tube("T", at, one, 1 / 20, 19.0, 19) for at, one in enumerate(values)]
        of = level(rows, None)
        assert of is not None
        now = rng.normal(30, np.hypot(between, 1 / np.sqrt(5)))
        inside += abs(now - of.mean) <= half_width(of, 1 / 5)
    assert 0.935 < inside / DRAWS <= most
