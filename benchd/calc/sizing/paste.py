"""Pressure that drives a stiff paste through a die by the form of Benbow and Bridgwater."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import Impossible, Row, disc_area, not_negative, positive


def paste_pressure(
    speed_m_s: float,
    *,
    barrel_m: float,
    bore_m: float,
    land_m: float,
    entry_pa: float,
    entry_rise: float,
    entry_index: float,
    wall_pa: float,
    wall_rise: float,
    wall_index: float,
) -> float:
    """Return the pressure of a paste from the barrel through a die land.

    2 (s0 + a V^m) ln(D0/D) + 4 (t0 + b V^n) L/D.

    Parameters:  speed_m_s : scalar, float [m/s], >= 0; V, in the land. barrel_m : scalar, float
        [m], > 0; D0. bore_m : scalar, float [m], > 0; D, below D0. land_m : scalar, float [m],
        >= 0; L. entry_pa : scalar, float [Pa], >= 0; s0. entry_rise : scalar, float [Pa (s/m)^m],
        >= 0; a. entry_index : scalar, float [-], > 0; m. wall_pa : scalar, float [Pa], >= 0; t0.
        wall_rise : scalar, float [Pa (s/m)^n], >= 0; b. wall_index : scalar, float [-], > 0; n
    Returns:     pressure : scalar, float [Pa]; entry and land together
    Raises:      Impossible: names the argument
    Validity:    square entry, steady. Found imperfect for biscuit doughs (J. Food Eng. 74, 2006).
    Source:      Benbow and Bridgwater, Paste Flow and Extrusion (1993), form given from memory
    Example:     D0 25, D 3, L 12 mm, 0.01 m/s, 50 kPa, 1 MPa s/m, 5 kPa, 0.2 MPa s/m, m = n = 1:
        254431.62 + 112000 = 366431.62 Pa, computed independently.
    """
    not_negative(
        speed_m_s=speed_m_s, land_m=land_m, entry_pa=entry_pa, entry_rise=entry_rise,
        wall_pa=wall_pa, wall_rise=wall_rise,
    )  # fmt: skip
    positive(barrel_m=barrel_m, bore_m=bore_m, entry_index=entry_index, wall_index=wall_index)
    if bore_m >= barrel_m:
        raise Impossible("'bore_m' is not below the barrel's; a die narrows.")
    entry = 2 * (entry_pa + entry_rise * speed_m_s**entry_index) * math.log(barrel_m / bore_m)
    return float(entry + 4 * (wall_pa + wall_rise * speed_m_s**wall_index) * land_m / bore_m)


def _row(flow: float, barrel: float, bore: float, land: float, *paste: float) -> float:
    entry_pa, entry_rise, entry_index, wall_pa, wall_rise, wall_index = paste
    return paste_pressure(
        flow / disc_area(bore), barrel_m=barrel, bore_m=bore, land_m=land, entry_pa=entry_pa,
        entry_rise=entry_rise, entry_index=entry_index, wall_pa=wall_pa, wall_rise=wall_rise,
        wall_index=wall_index,
    )  # fmt: skip


ROWS = (
    Row("nozzle.pressure", "pressure of entry and nozzle", "kPa",
        "Benbow-Bridgwater: 2(s0+aV^m)ln(D0/D) + 4(t0+bV^n)L/D",
        ("flow", "feed.bore", "nozzle.bore", "nozzle.land", "paste.entry", "paste.entry_rise",
         "paste.entry_index", "paste.wall", "paste.wall_rise", "paste.wall_index"), _row,
        "The dough needs this from the barrel into and along the nozzle.",
        only=(("flow.law", "paste"),)),
)  # fmt: skip
"""Rows of the sheet."""
