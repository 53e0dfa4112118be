"""Thresholds of the eye, by the rule that defines them (common practice)."""

from __future__ import annotations

import pytest

from benchd.calc import eye


@pytest.mark.parametrize(("empty", "dough"), [(0, 60), (240, 830), (0, 1023)])
def test_thresholds_lie_midway_with_a_fifth_of_the_span_between(empty: int, dough: int) -> None:
    on, off = eye.thresholds(empty, dough=dough)
    assert (on + off) / 2 == pytest.approx((empty + dough) / 2, abs=0.5)
    assert on - off == pytest.approx(0.2 * (dough - empty), abs=1)


@pytest.mark.parametrize(
    ("empty", "dough", "says"),
    [(240, 299, "overlap"), (830, 240, "inverted"), (-1, 500, "0 to 1023"), (0, 1024, "0 to 1023")],
)
def test_levels_that_cannot_be_told_apart_are_refused(empty: int, dough: int, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        eye.thresholds(empty, dough=dough)
