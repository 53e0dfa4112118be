"""The motor: torque left at the working speed, and the force at which it stalls."""

from __future__ import annotations

from benchd.calc.sizing.base import Impossible, Limit, Row, not_negative, positive

STALL_SHARE = 0.8
"""A stepper loses steps from this share of its pull-out torque on (common practice)."""


def pull_out(rate_1_s: float, *, holding_nm: float, rate_max_1_s: float) -> float:
    """Return the torque at which a stepper loses steps at a rate of full steps.

    T_h (1 - f / f_max).

    Parameters:  rate_1_s : scalar, float [1/s], >= 0. holding_nm : scalar, float [N m], > 0; at
        the current that is set. rate_max_1_s : scalar, float [1/s], > 0; no torque is left there
    Returns:     torque : scalar, float [N m], 0 from rate_max_1_s on
    Raises:      Impossible: names the argument
    Validity:    a straight line through the two ends of the maker's curve, which sags below or
        bulges above it; resonance at 100 to 200 full steps a second is not in it.
    Source:      common practice; the maker's pull-out curve stands above it
    Example:     0.4 N m, 2000 1/s: 0.28 N m at 600 1/s, by hand.
    """
    not_negative(rate_1_s=rate_1_s)
    positive(holding_nm=holding_nm, rate_max_1_s=rate_max_1_s)
    left = 1 - rate_1_s / rate_max_1_s
    # Rates are quotients: where they meet, what is left is a rounding.
    return holding_nm * left if left > 1e-9 else 0.0


def stall_force(torque_nm: float, *, torque_per_force_m: float) -> float:
    """Return the force at the plunger when the motor gives all it has.

    T / (T_work / F_work): torque and force of a screw go together.

    Parameters:  torque_nm : scalar, float [N m], > 0; holding torque. torque_per_force_m :
        scalar, float [m], > 0; of the screw, pushing
    Returns:     force : scalar, float [N]
    Raises:      Impossible: names the argument that is not above zero
    Source:      Shigley, Mechanical Engineering Design, eq. 8-5, which is linear in the force
    Example:     0.4 N m where 500 N take 0.40497 N m: 493.9 N, by hand.
    """
    positive(torque_nm=torque_nm, torque_per_force_m=torque_per_force_m)
    return torque_nm / torque_per_force_m


def _share(torque_nm: float, pull_out_nm: float) -> float:
    if pull_out_nm <= 0:
        raise Impossible("The motor has no torque left at this speed: push slower.")
    return torque_nm / pull_out_nm


ROWS = (
    Row("motor.pull_out", "pull-out at working speed", "Nm", "straight pull-out line",
        ("feed.full_rate", "motor.torque", "motor.rate_max"),
        lambda rate, hold, top: pull_out(rate, holding_nm=hold, rate_max_1_s=top),
        "Above this torque steps are lost; the maker's own curve is better than this line."),
    Row("motor.load", "share of the pull-out torque", "%", "load: torque to push / pull-out",
        ("screw.push", "motor.pull_out"), _share,
        "What is left is for starts, resonance and stiffer dough.",
        Limit("most", STALL_SHARE, "The motor will lose steps at this speed and pressure: push "
              "slower, widen the nozzle, use a smaller lead or a stronger motor.", 1.6)),
    Row("thrust.stall", "force when the motor stalls", "N", "stall: holding torque / torque per N",
        ("motor.torque", "screw.push", "thrust.work"),
        lambda hold, push, work: stall_force(hold, torque_per_force_m=push / work),
        "A blocked nozzle lets the plunger push this hard before the motor gives up; a screw with "
        "less friction than said pushes harder.",
        safety="Barrel, cap and fasteners must carry the stall force, not the working one; a limit "
               "in software is not a safety function. A qualified person judges the frame.",
        caution_above=500.0),
)  # fmt: skip
"""Rows of the sheet."""
