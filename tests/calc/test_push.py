"""The way of a push, worked out by hand."""

from __future__ import annotations

import pytest

from benchd.calc.push import is_slip, push_way


def test_what_the_draw_back_takes_beyond_the_take_up_is_pushed_again() -> None:
    assert push_way(0.0133, draw_back_m=0.002, take_up_m=0.0015) == pytest.approx(0.0138)


@pytest.mark.parametrize(
    ("stroke_mm", "slip"), [(6.9, True), (7.1, False), (10.0, False), (12.9, False), (13.1, True)]
)
def test_a_stroke_a_third_off_is_a_slip(stroke_mm: float, slip: bool) -> None:
    assert is_slip(stroke_mm * 1e-3, 0.010) == slip
