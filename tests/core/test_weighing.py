"""Weights as people type them."""

from __future__ import annotations

import math

import pytest

from benchd.core.weighing import OUNCE_KG, PLAUSIBLE, pick_portion, question, tube_question


def test_a_weight_near_the_expected_one_is_taken_without_a_question() -> None:
    for share in (1 - PLAUSIBLE + 1e-9, 1.0, 1 + PLAUSIBLE - 1e-9):
        assert question(0.030 * share, 0.030) is None


@pytest.mark.parametrize(
    ("mass_kg", "guess"),
    [
        (0.198, "decimal point slip: 19.8 g"),  # 198 for 19.8, common practice.
        (0.00198, "decimal point slip: 19.8 g"),
        (0.0396, "Two on the pan"),
        (0.0007, "in ounces: 19.8 g"),
        (0.561, "in grams, not ounces"),
        (0.0100, "Is that right?"),
    ],
)
def test_an_implausible_weight_is_asked_about_by_its_likely_slip(
    mass_kg: float, guess: str
) -> None:
    asked = question(mass_kg, 0.0198)
    assert asked is not None
    assert guess in asked
    assert f"{mass_kg * 1000:.4g} g where about 19.8 g is expected" in asked


@pytest.mark.parametrize("mass_kg", [0.0, -0.01, 100.0, math.inf, math.nan])
def test_a_weight_that_cannot_be_is_an_error(mass_kg: float) -> None:
    with pytest.raises(ValueError, match="above 0 g"):
        question(mass_kg, 0.03)


def test_the_ounce_is_the_avoirdupois_one() -> None:
    # NIST Special Publication 811 (2008), appendix B: 1 oz = 2.834952 E-02 kg.
    assert OUNCE_KG == 2.834952e-2


def test_a_weight_belongs_to_the_portion_named_or_the_oldest_unweighed() -> None:
    assert pick_portion((4, 5), 7) == 7
    assert pick_portion((4, 5), None) == 4
    assert pick_portion((), None) is None


# A 50 mm bore holds 1.963 cm3 a millimetre; 210 mm of dough of 1.2 g/cm3 are 495 g, by hand.
FULL_KG = 0.495


@pytest.mark.parametrize("net_kg", [0.05, 0.43, 0.495, 0.64])
def test_a_tube_that_the_barrel_can_hold_is_taken_without_a_question(net_kg: float) -> None:
    assert tube_question(net_kg, FULL_KG) is None


@pytest.mark.parametrize(
    ("net_kg", "says"),
    [
        (
            4.3,
            "4300 g in a tube, where the barrel holds about 495 g. Did the decimal point slip: 430",
        ),
        (
            0.043,
            "43 g in a tube, where the barrel holds about 495 g. Did the decimal point slip: 430",
        ),
        (0.65, "Is that right?"),
        (43.0, "Is that right?"),
        (0.0043, "Is that right?"),
    ],
)
def test_a_tube_that_cannot_be_is_asked_about(net_kg: float, says: str) -> None:
    assert says in (tube_question(net_kg, FULL_KG) or "")
