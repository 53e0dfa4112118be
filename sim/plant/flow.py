"""Flow of a yield-stress, power-law dough through the nozzle."""

from __future__ import annotations

import math
from typing import Protocol


class Law(Protocol):
    """What drives dough through a nozzle, whatever its form."""

    times: float
    yield_pressure_pa: float
    fresh_yield_pressure_pa: float

    def yield_by(self, times: float) -> None:
        """Lets the dough yield at this multiple of its stress [-], 0 or more."""

    def flow(self, pressure_pa: float) -> tuple[float, float]:
        """Volume flow [m3/s] and its slope by pressure [m3/(s Pa)]; 0, 0 below yield."""


class NozzleLaw:
    """Volume flow through a round passage of a Herschel-Bulkley fluid, by the pressure across it.

    Arguments: radius_m [m]; length_m [m], the reducing cone counted as extra length; yield_pa [Pa],
    stress below which nothing flows, 0 or more; consistency_pa_sn [Pa s^n]; exponent [-], 1 is
    Newtonian or Bingham, below 1 thins.
    With s = tau - yield and tau = dp R / 2L:
    Q = pi R^3 n s^((n+1)/n) / (tau^3 K^(1/n)) * (s^2/(3n+1) + 2 yield s/(2n+1) + yield^2/(n+1)).
    Source: closed form for laminar pipe flow without slip, as in textbooks of rheology;
    tests/data/nozzle_flow.toml.
    """

    __slots__ = (
        "_b0",
        "_b1",
        "_b2",
        "_exponent",
        "_factor",
        "_fresh_pa",
        "_power",
        "_stress",
        "_yield_pa",
        "fresh_yield_pressure_pa",
        "times",
        "yield_pressure_pa",
    )

    def __init__(
        self,
        radius_m: float,
        length_m: float,
        yield_pa: float,
        consistency_pa_sn: float,
        exponent: float,
    ) -> None:
        n = exponent
        self._exponent = n
        self._fresh_pa = yield_pa
        self._stress = radius_m / (2.0 * length_m)
        self._power = (n + 1.0) / n
        self._factor = math.pi * radius_m**3 * n / consistency_pa_sn ** (1.0 / n)
        self._b2 = 1.0 / (3.0 * n + 1.0)
        self.fresh_yield_pressure_pa = yield_pa / self._stress
        """Pressure [Pa] that fresh dough must pass to flow."""
        self.yield_by(1.0)

    def yield_by(self, times: float) -> None:
        """Lets the dough yield at this multiple of its stress [-], 0 or more."""
        n, yield_pa = self._exponent, self._fresh_pa * times
        self.times = times
        """The multiple it yields at now [-]."""
        self._yield_pa = yield_pa
        self._b1 = 2.0 * yield_pa / (2.0 * n + 1.0)
        self._b0 = yield_pa**2 / (n + 1.0)
        self.yield_pressure_pa = yield_pa / self._stress
        """Pressure [Pa] that it must pass now."""

    def flow(self, pressure_pa: float) -> tuple[float, float]:
        """Volume flow [m3/s] and its slope by pressure [m3/(s Pa)] at this pressure difference
        [Pa]; 0, 0 below yield."""
        tau = pressure_pa * self._stress
        over = tau - self._yield_pa
        if over <= 0.0:
            return 0.0, 0.0
        shape = (self._b2 * over + self._b1) * over + self._b0
        flow = self._factor * over**self._power * shape / (tau * tau * tau)
        slope = flow * (self._power / over - 3.0 / tau + (2.0 * self._b2 * over + self._b1) / shape)
        return flow, slope * self._stress
