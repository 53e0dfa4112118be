"""Capability and the scale's share, against the handbook and by law."""

from __future__ import annotations

import pytest
import scipy.special  # noqa: F401

from benchd.calc.stats.capability import capability, withheld
from benchd.calc.stats.scale import scale_sd, without_scale
from tests.calc.stats.published import HANDBOOK


def test_capability_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 6.1.6."""
    told = HANDBOOK["capability_6_1_6"]
    ours = capability(50, mean=told["mean"], sd=told["s"], low=told["lsl"], high=told["usl"])
    assert ours.room.value == pytest.approx(told["cp"], abs=5e-5)
    assert ours.placed.value == pytest.approx(told["cpk"], abs=5e-5)
    assert ours.placed.low < ours.placed.value < ours.placed.high
    # Beyond two spreads on one side, six on the other: 0.0228 (standard normal).
    assert ours.outside == pytest.approx(0.02275 + 0.00003, abs=1e-5)


def test_it_is_withheld_for_few_weights_or_one_tube() -> None:
    assert withheld(24, 2) == "1 more weight"
    assert withheld(25, 1) == "a second tube"
    assert withheld(20, 1) == "5 more weights and a second tube"
    assert withheld(25, 2) == ""


def test_the_scale_is_taken_off_in_squares() -> None:
    assert without_scale(20, sd=5.0, scale=3.0).process.value == pytest.approx(4.0)
    assert not without_scale(20, sd=5.0, scale=3.0).limited
    coarse = without_scale(20, sd=0.3, scale=0.3)
    assert coarse.limited
    assert coarse.process.low == 0.0


def test_a_scale_of_1_g_cannot_judge_20_g_portions() -> None:
    """Common practice: rounding to 1 g alone is 1.4 % of 20 g, rounding to 0.1 g 0.14 %."""
    assert scale_sd(1.0, 0.0) / 20 == pytest.approx(0.0144, abs=5e-5)
    assert scale_sd(0.1, 0.0) / 20 == pytest.approx(0.00144, abs=5e-6)
    assert scale_sd(0.1) > scale_sd(0.1, 0.0)
