"""Derived sizes of the bench, and refusals."""

from __future__ import annotations

import dataclasses
import re

import pytest

from sim.plant.spec import PlantSpec


def test_grams_per_millimetre_and_step() -> None:
    # rho pi D^2 / 4: common practice.
    spec = PlantSpec()
    assert spec.density_kg_m3 * spec.bore_area_m2 == pytest.approx(2.258, rel=1e-3)
    assert spec.microstep_m == pytest.approx(1.25e-6)
    assert spec.bore_area_m2 / spec.nozzle_area_m2 == pytest.approx((50.0 / 24.0) ** 2)


def test_every_field_is_described_with_a_unit() -> None:
    text = PlantSpec.__doc__ or ""
    for field in dataclasses.fields(PlantSpec):
        assert re.search(rf"\b{field.name}\b[\w, ]*\[[^\]]+\]|\b{field.name}\b, \w+ \[", text), (
            field.name
        )


def test_what_cannot_be_is_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="the nozzle must be the narrower one"):
        PlantSpec(nozzle_m=0.06)
    with pytest.raises(ValueError, match="the heel must be shorter"):
        PlantSpec(heel_m=0.3)
    with pytest.raises(ValueError, match="fraction"):
        PlantSpec(air_fraction=1.0)
