"""Charts of portions: limits that fit the weights, frozen baselines, and what they catch."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.analysis.charts import Chart, all_charts, fits, freeze
from benchd.analysis.weighed import Made, read_weighed
from tests.analysis import weights as make


def made(
    path: Path,
    *tubes: list[float],
    first: int = 1,
    bench: str = "maize",
    changes: dict[str, Any] | None = None,
) -> tuple[Made, ...]:
    """Portions of these tubes [g], their cutter times and thrust with a little chance."""
    rng = random.Random(len(tubes))
    entries = []
    number = first
    for tube, masses in enumerate(tubes, 1):
        entries.append(make.tube_in(f"T{tube}"))
        for index, mass_g in enumerate(masses, 1):
            own = {
                "cutter": {"start_delay_s": rng.gauss(0.02, 0.001), "stroke_s": None},
                "thrust_n": {"at_cut": 120.0 - 2 * index + rng.gauss(0, 1)},
                **(changes or {}),
            }
            entries.append(make.portion(number, index, f"T{tube}", **own))
            entries.append(make.weight(number, mass_g / 1000))
            number += 1
    return read_weighed([make.write_journal(path, entries, meta={"bench": bench})]).portions


def usual(seed: int, n: int = 14, mean: float = 30.0) -> list[float]:
    rng = random.Random(seed)
    return [rng.gauss(mean, 0.3) for _ in range(n)]


def chart(portions: tuple[Made, ...], signal: str, *baselines: Any) -> Chart:
    (charts,) = all_charts(portions, baselines)
    return next(one for one in charts.charts if one.signal == signal)


def test_tubes_of_another_mean_do_not_widen_the_limits(tmp_path: Path) -> None:
    portions = made(tmp_path / "a.journal", usual(1), usual(2, mean=31.5))
    weight = chart(portions, "weight")
    assert weight.drawn is not None
    assert weight.drawn.sigma == pytest.approx(0.3e-3, rel=0.3)
    assert len(weight.beyond) <= 1
    sums, groups = chart(portions, "neighbour sum"), chart(portions, "mean of 4")
    assert (weight.n, sums.n, groups.n) == (28, 26, 6)
    assert sums.drawn is not None
    assert groups.drawn is not None
    assert sums.drawn.sigma == pytest.approx(weight.drawn.sigma * 2**0.5)
    assert groups.drawn.sigma == pytest.approx(weight.drawn.sigma / 2)


def test_where_weights_alternate_sums_and_means_have_narrower_limits(tmp_path: Path) -> None:
    rng = random.Random(4)
    e = [rng.gauss(0, 0.4) for _ in range(41)]
    portions = made(tmp_path / "a.journal", [30 + e[at + 1] - e[at] for at in range(40)])
    weight, groups = chart(portions, "weight").drawn, chart(portions, "mean of 4").drawn
    assert weight is not None
    assert groups is not None
    assert weight.sigma_from == "spread"
    assert groups.sigma < 0.4 * weight.sigma


def test_an_odd_weight_is_beyond_and_does_not_widen_its_own_limits(tmp_path: Path) -> None:
    masses = usual(3, 24)
    masses[11] -= 5
    weight = chart(made(tmp_path / "a.journal", masses), "weight")
    assert weight.beyond == (12,)
    assert weight.drawn is not None
    assert weight.drawn.n == 23


def test_thrust_falls_along_the_tube_without_being_a_sign(tmp_path: Path) -> None:
    portions = made(tmp_path / "a.journal", usual(1), usual(2))
    thrust = chart(portions, "thrust at the cut")
    assert thrust.drawn is not None
    assert thrust.drawn.sigma == pytest.approx(1, rel=0.4)
    assert thrust.beyond == ()


def test_too_few_or_equal_points_have_no_limits(tmp_path: Path) -> None:
    few = made(tmp_path / "a.journal", usual(1, 12))
    assert chart(few, "weight").drawn is None
    assert chart(few, "cutter stroke").n == 0
    equal = made(tmp_path / "b.journal", [30.0] * 25, changes={"thrust_n": {"at_cut": 90.0}})
    assert chart(equal, "weight").drawn is None
    assert chart(equal, "thrust at the cut").drawn is None


def test_a_frozen_baseline_catches_what_own_limits_would_follow(tmp_path: Path) -> None:
    before = made(tmp_path / "a.journal", usual(1), usual(2))
    baseline = freeze(before, 1)
    assert baseline is not None
    assert (baseline.first_portion, baseline.last_portion) == (1, 28)
    slower = {"cutter": {"start_delay_s": 0.027, "stroke_s": None}}
    after = made(tmp_path / "b.journal", usual(5), first=29, changes=slower)
    assert chart(after, "cutter start delay").drawn is None
    held = chart(after, "cutter start delay", baseline)
    assert held.beyond == tuple(range(29, 43))
    assert held.cusum is not None


def test_a_baseline_is_of_one_way_of_making_and_the_newest_counts(tmp_path: Path) -> None:
    before = made(tmp_path / "a.journal", usual(1), usual(2))
    old, new = freeze(before, 1), freeze(before, 2)
    assert old is not None
    assert new is not None
    (charts,) = all_charts(before, [new, old])
    assert charts.version == 2
    other = made(tmp_path / "b.journal", usual(1), usual(2), changes={"by_hand": {"air_pa": 1e5}})
    assert not fits(old, other)
    (charts,) = all_charts(other, [old])
    assert charts.version is None
    assert freeze(before[:10], 1) is None


def test_a_baseline_judges_the_bench_it_was_frozen_on_alone(tmp_path: Path) -> None:
    a = made(tmp_path / "a.journal", usual(1), usual(2))
    b = made(tmp_path / "b.journal", usual(3, mean=33.0), usual(4, mean=33.0), bench="rye")
    baseline, other = freeze(a, 1), freeze(b, 2)
    assert baseline is not None
    assert other is not None
    assert (baseline.bench, other.bench) == ("maize", "rye")
    told = {one.bench: one.version for one in all_charts((*a, *b), [baseline, other])}
    assert told == {"maize": 1, "rye": 2}
    told = {one.bench: one.version for one in all_charts((*a, *b), [baseline])}
    assert told == {"maize": 1, "rye": None}


def test_sums_of_neighbours_show_single_points_and_no_runs(tmp_path: Path) -> None:
    before = made(tmp_path / "a.journal", usual(1), usual(2))
    baseline = freeze(before, 1)
    rising = [30.0 + 0.12 * at for at in range(14)]
    after = made(tmp_path / "b.journal", rising, first=29)
    weight, sums = (chart(after, name, baseline) for name in ("weight", "neighbour sum"))
    assert weight.runs or weight.cusum or weight.ewma
    assert (sums.runs, sums.cusum, sums.ewma) == ({}, None, None)
    assert sums.drawn is not None
    assert sums.n == 13
    assert sums.beyond
