"""The proposal for the stroke: dead band, limits, and that it adds no spread by itself."""

from __future__ import annotations

import random
from math import sqrt

import pytest
import scipy.special  # noqa: F401

from benchd.calc.stats.stroke import Proposal, propose

AIM_KG, STROKE_M = 0.030, 0.0127


def proposed(values_g: list[float], *, stroke_m: float = STROKE_M) -> Proposal:
    return propose(
        [value / 1000 for value in values_g],
        list(range(1, len(values_g) + 1)),
        aim_kg=AIM_KG,
        stroke_m=stroke_m,
        first_stroke_m=STROKE_M,
        scale_sd_kg=6e-5,
    )


def test_a_mean_off_the_aim_is_brought_to_it() -> None:
    told = proposed([30.4, 30.5, 30.3, 30.4, 30.5, 30.3])
    assert told.why == "off"
    error_g = 0.0894 / sqrt(6)
    off = 0.4 * (1 - (error_g / 0.4) ** 2)
    assert told.stroke_m == pytest.approx(STROKE_M * (1 - off / 30.4), rel=1e-5)
    assert not told.capped


def test_within_the_dead_band_nothing_is_proposed() -> None:
    assert proposed([30.1, 30.2, 30.0, 30.1]).why == "within"
    # 1.5 standard errors of so wide a spread are more than half a percent.
    assert proposed([30.0, 31.5, 29.9, 30.6]).why == "within"


def test_single_weights_are_not_acted_on() -> None:
    assert proposed([33.0, 33.0, 33.0]) == Proposal(None, "few", 3, None, None, ())


def test_a_change_is_limited_at_once_and_in_all() -> None:
    told = proposed([33.0, 33.1, 32.9, 33.0])
    assert told.capped
    assert told.stroke_m == pytest.approx(STROKE_M * 0.98)
    near_end = proposed([33.0, 33.1, 32.9, 33.0], stroke_m=STROKE_M * 0.91)
    assert near_end.stroke_m == pytest.approx(STROKE_M * 0.90)
    at_end = proposed([33.0, 33.1, 32.9, 33.0], stroke_m=STROKE_M * 0.90)
    assert (at_end.stroke_m, at_end.why) == (None, "limit")


def test_a_stroke_beyond_the_limit_comes_back_by_small_steps_and_goes_no_further() -> None:
    back = proposed([33.0, 33.1, 32.9, 33.0], stroke_m=STROKE_M * 1.20)
    assert back.stroke_m == pytest.approx(STROKE_M * 1.20 * 0.98)
    further = proposed([27.0, 27.1, 26.9, 27.0], stroke_m=STROKE_M * 1.20)
    assert (further.stroke_m, further.why) == (None, "limit")


def test_an_odd_weight_is_held_and_not_learned_from() -> None:
    told = proposed([30.4, 30.5, 30.3, 30.4, 20.0, 30.5, 30.3, 30.4, 30.5])
    assert told.held == (4,)
    assert told.mean_kg == pytest.approx(0.0304, abs=1e-4)


def run(seed: int, *, acts: bool, moved_g: float, lost_g: float, step_g: float) -> float:
    """Root mean square off the aim [g] of 200 portions; a proposal is taken after every eighth."""
    rng = random.Random(seed)
    stroke, first, before, squares = STROKE_M, STROKE_M, rng.gauss(0, moved_g), 0.0
    made: list[float] = []
    for _ in range(200):
        now = rng.gauss(0, moved_g)
        mass_g = (30 + step_g) * stroke / STROKE_M + now - before + rng.gauss(0, lost_g)
        before = now
        squares += (mass_g - 30) ** 2
        made.append(mass_g / 1000)
        if acts and len(made) == 8:
            told = propose(
                made,
                list(range(8)),
                aim_kg=AIM_KG,
                stroke_m=stroke,
                first_stroke_m=first,
                scale_sd_kg=6e-5,
            )
            if told.stroke_m is not None:
                stroke = told.stroke_m
            made = []
    return sqrt(squares / 200)


@pytest.mark.slow
@pytest.mark.parametrize(("moved_g", "lost_g"), [(0.0, 0.4), (0.28, 0.05)])
def test_taking_every_proposal_adds_little_spread_and_takes_a_step_away(
    moved_g: float, lost_g: float
) -> None:
    """Common practice: means of four to ten add about 2 % where nothing is wrong."""
    seeds = range(40)

    def rms(acts: bool, step_g: float) -> float:
        rows = [
            run(seed, acts=acts, moved_g=moved_g, lost_g=lost_g, step_g=step_g) for seed in seeds
        ]
        return sum(rows) / len(rows)

    assert rms(True, 0.0) < 1.05 * rms(False, 0.0)
    assert rms(True, 1.0) < 0.62 * rms(False, 1.0)
