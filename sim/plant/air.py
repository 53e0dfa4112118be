"""Air through valves, hoses and needles, and what it does to the pressure in a chamber."""

from __future__ import annotations

import math

AMBIENT_PA = 101_325.0
"""Standard atmosphere [Pa]. Source: NIST SP 811 (2008)."""

REFERENCE_PA = 1.0e5
"""Reference pressure of free air [Pa, absolute]. Source: ISO 8778."""

CONDUCTANCE = 1.0e-8
"""One dm3/(s bar) in m3/(s Pa)."""


def flow_pa_m3_s(conductance: float, critical: float, up_pa: float, down_pa: float) -> float:
    """Flow of air from up to down, as pressure times volume [Pa m3/s], 0 or more.

    Arguments: conductance: sonic conductance [m3/(s Pa)]; critical: ratio below which the flow is
    choked [-], below 1; up_pa, down_pa [Pa, absolute].
    Source: ISO 6358, m = C rho0 p1 sqrt(1 - ((p2/p1 - b)/(1 - b))^2), times R T of the reference.
    """
    if down_pa >= up_pa:
        return 0.0
    full = conductance * REFERENCE_PA * up_pa
    ratio = down_pa / up_pa
    if ratio <= critical:
        return full
    over = (ratio - critical) / (1.0 - critical)
    return full * math.sqrt(1.0 - over * over)


def in_series(conductances: tuple[float, ...]) -> float:
    """Sonic conductance [m3/(s Pa)] of parts one behind the other: the cubes of their reciprocals
    add.

    Source: rule of ISO 6358 for parts in series, also in handbooks of fluid power.
    """
    return 1.0 / math.cbrt(math.fsum(1.0 / part**3 for part in conductances))
