"""The nozzle law against outside values and its own limits."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from sim.plant.flow import NozzleLaw

DATA = tomllib.loads(
    (Path(__file__).parents[2] / "data" / "nozzle_flow.toml").read_text(encoding="utf-8")
)
RADIUS_M = 0.010


@pytest.mark.parametrize("case", DATA["by_wall_stress"], ids=lambda case: case["model"])
def test_flow_by_wall_stress(case: dict[str, Any]) -> None:
    length_m = 0.1
    law = NozzleLaw(
        RADIUS_M, length_m, case["yield_pa"], case["consistency_pa_sn"], case["exponent"]
    )
    pressure_pa = case["wall_stress_pa"] * 2.0 * length_m / RADIUS_M
    assert law.flow(pressure_pa)[0] == pytest.approx(case["flow_m3_s"], rel=1e-8)


@pytest.mark.parametrize("case", DATA["by_pressure"], ids=lambda case: case["model"])
def test_flow_by_pressure(case: dict[str, Any]) -> None:
    law = NozzleLaw(
        RADIUS_M, case["length_m"], case["yield_pa"], case["consistency_pa_sn"], case["exponent"]
    )
    flow_m3_s = law.flow(case["pressure_pa"])[0]
    assert flow_m3_s == pytest.approx(case["flow_m3_s"], rel=case["rel"])


def test_newtonian_limit_is_poiseuille() -> None:
    law = NozzleLaw(0.012, 0.1, 0.0, 700.0, 1.0)
    for pressure_pa in (1.0, 1e3, 1e5):
        expected = math.pi * 0.012**4 * pressure_pa / (8.0 * 700.0 * 0.1)
        assert law.flow(pressure_pa)[0] == pytest.approx(expected, rel=1e-12)


def test_nothing_flows_up_to_the_yield_pressure() -> None:
    law = NozzleLaw(0.012, 0.1, 1200.0, 1387.0, 0.38)
    assert law.yield_pressure_pa == pytest.approx(1200.0 * 2.0 * 0.1 / 0.012)
    assert law.flow(law.yield_pressure_pa * (1.0 - 1e-12)) == (0.0, 0.0)
    assert law.flow(-5e4) == (0.0, 0.0)
    assert law.flow(law.yield_pressure_pa * 1.01)[0] > 0.0


@pytest.mark.parametrize("exponent", [0.25, 0.38, 0.5, 1.0])
def test_slope_is_the_derivative(exponent: float) -> None:
    law = NozzleLaw(0.012, 0.1, 1200.0, 1387.0, exponent)
    for pressure_pa in (2.5e4, 6e4, 2e5):
        up, down = law.flow(pressure_pa + 1.0)[0], law.flow(pressure_pa - 1.0)[0]
        assert law.flow(pressure_pa)[1] == pytest.approx((up - down) / 2.0, rel=1e-5)
