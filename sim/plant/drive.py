"""Screw and stepper: what thrust costs in torque, whether a screw runs back, and what the motor
still pulls at a speed."""

from __future__ import annotations

import math

ELECTRICAL_STEPS = 4
"""Full steps a stalled stepper falls back by, or a multiple of them: one round of its coils. Common
practice."""


def screw_torque_n_m(
    thrust_n: float, lead_m: float, pitch_diameter_m: float, friction: float, flank_rad: float
) -> float:
    """Torque [N m] that pushes with a thrust [N].

    Arguments: lead_m [m]; pitch_diameter_m [m]; friction [-]; flank_rad: half the flank angle
    [rad]. Infinite where friction jams the screw. With friction below 0 it is the torque that the
    thrust makes at a screw that gives way, below 0 where the screw locks.
    Source: power screw, T = F d/2 (tan a + u)/(1 - u tan a) with u = friction / cos(flank), as in
    textbooks of machine design.
    """
    rise, rub = lead_m / (math.pi * pitch_diameter_m), friction / math.cos(flank_rad)
    bottom = 1.0 - rub * rise
    if bottom <= 0.0:
        return math.inf
    return 0.5 * thrust_n * pitch_diameter_m * (rise + rub) / bottom


def runs_back(
    lead_m: float, pitch_diameter_m: float, friction: float, flank_rad: float, detent: float = 0.0
) -> bool:
    """Whether thrust turns a screw that nobody holds.

    Arguments: as for the torque; detent: what the unpowered motor holds, as a share of the torque
    that thrust would make without friction [-].
    Source: the screw locks where the friction angle exceeds the lead angle, as in textbooks of
    machine design.
    """
    made, free = (
        screw_torque_n_m(1.0, lead_m, pitch_diameter_m, rub, flank_rad) for rub in (-friction, 0.0)
    )
    return made > detent * free


def pull_out(speed_m_s: float, limit_m_s: float) -> float:
    """Share of its holding torque that a stepper still pulls at a speed [-], 0 at the limit.

    Arguments: speed_m_s, limit_m_s [m/s] of the plunger.
    Source: common practice: a straight line from holding torque to nothing.
    """
    return max(0.0, 1.0 - abs(speed_m_s) / limit_m_s)


def whole_rounds_m(behind_m: float, full_step_m: float) -> float:
    """Way that a stall loses for good [m]: the whole rounds of the coils in it.

    Arguments: behind_m: way by which the rotor is behind [m], 0 or more; full_step_m: way of a full
    step [m].
    Source: common practice: a rotor out of step locks in again where the coils look the same.
    """
    round_m = ELECTRICAL_STEPS * full_step_m
    return math.floor(behind_m / round_m + 1.0e-9) * round_m
