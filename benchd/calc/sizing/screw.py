"""The screw: torque to push and to back out, efficiency, and whether it runs back by itself."""

from __future__ import annotations

import math

from benchd.calc.sizing.base import Impossible, Limit, Row, not_negative, positive

HALF_FLANK_RAD: dict[str, float] = {
    "square": 0.0,
    "acme": math.radians(14.5),
    "trapezoidal": math.radians(15),
    "metric": math.radians(30),
}
"""Half the angle between the flanks by kind of thread (metric: ISO 68-1; trapezoidal: ISO 2901)."""


def mean_diameter(outside_m: float, *, lead_m: float, starts: float, thread: str) -> float:
    """Return the mean diameter of a thread.

    Metric: d - 0.6495 P (the pitch diameter); others: d - P / 2. P is lead / starts.

    Parameters:  outside_m : scalar, float [m], > 0. lead_m : scalar, float [m], > 0. starts :
        scalar, float [-], > 0. thread : a key of HALF_FLANK_RAD
    Returns:     diameter : scalar, float [m], > 0
    Raises:      Impossible: names the argument; also where the pitch is too coarse for the outside
    Source:      ISO 724 (metric: 3/8 sqrt(3) P), ISO 2904 (trapezoidal: P / 2)
    Example:     M8x1.25 gives 7.1881 mm; Tr8x1.5 gives 7.25 mm.
    """
    positive(outside_m=outside_m, lead_m=lead_m, starts=starts)
    pitch_m = lead_m / starts
    mean_m = outside_m - (3 * math.sqrt(3) / 8 if thread == "metric" else 0.5) * pitch_m
    if mean_m <= 0:
        raise Impossible("'lead_m' is too coarse for a screw this thin; measure both again.")
    return mean_m


def torque(
    force_n: float, *, mean_m: float, lead_m: float, friction: float, thread: str, push: bool
) -> float:
    """Return the torque on the thread that moves a force; below zero where it turns by itself.

    Push: F dm/2 (l + pi mu dm s)/(pi dm - mu l s); back: F dm/2 (pi mu dm s - l)/(pi dm + mu l s);
    s = 1 / cos(half flank angle).

    Parameters:  force_n : scalar, float [N], >= 0. mean_m : scalar, float [m], > 0. lead_m :
        scalar, float [m], > 0. friction : scalar, float [-], >= 0. thread : a key of
        HALF_FLANK_RAD. push : against the force, or with it
    Returns:     torque : scalar, float [N m]
    Raises:      Impossible: where pi dm <= mu l s, the screw cannot be turned
    Source:      Shigley, Mechanical Engineering Design, eq. 8-5 and its square form 8-1, 8-2
    Example:     6400 N, 30 mm, lead 8 mm, 0.08, square: 15.937 and -0.4656 N m (Example 8-1).
    """
    not_negative(force_n=force_n, friction=friction)
    positive(mean_m=mean_m, lead_m=lead_m)
    drag = friction / math.cos(HALF_FLANK_RAD[thread])
    around_m = math.pi * mean_m
    if not push:
        return force_n * mean_m / 2 * (drag * around_m - lead_m) / (around_m + drag * lead_m)
    if around_m <= drag * lead_m:
        raise Impossible("'friction' is too high for this lead: the screw cannot be turned.")
    return force_n * mean_m / 2 * (lead_m + drag * around_m) / (around_m - drag * lead_m)


def collar_torque(force_n: float, *, collar_m: float, friction: float) -> float:
    """Return the torque that a plain thrust collar adds either way.

    F mu_c d_c / 2.

    Parameters:  force_n : scalar, float [N], >= 0. collar_m : scalar, float [m], >= 0; its mean
        diameter, 0 for a rolling bearing. friction : scalar, float [-], >= 0
    Returns:     torque : scalar, float [N m]
    Raises:      Impossible: names the argument that is below zero
    Source:      Shigley, Mechanical Engineering Design, eq. 8-6
    Example:     6400 N, 40 mm, 0.08: 10.240 N m (Example 8-1).
    """
    not_negative(force_n=force_n, collar_m=collar_m, friction=friction)
    return force_n * friction * collar_m / 2


def efficiency(force_n: float, *, lead_m: float, torque_nm: float) -> float:
    """Return which share of the motor's work reaches the plunger.

    F l / (2 pi T).

    Parameters:  force_n : scalar, float [N], >= 0. lead_m : scalar, float [m], > 0. torque_nm :
        scalar, float [N m], > 0; thread and collar
    Returns:     share : scalar, float [-], 0 to 1
    Raises:      Impossible: names the argument
    Source:      Shigley, Mechanical Engineering Design, eq. 8-4
    Example:     6400 N, 8 mm, 26.177 N m: 0.3113 (Example 8-1).
    """
    not_negative(force_n=force_n)
    positive(lead_m=lead_m, torque_nm=torque_nm)
    return force_n * lead_m / (2 * math.pi * torque_nm)


def holding_friction(lead_m: float, *, mean_m: float, thread: str) -> float:
    """Return the friction above which a screw stays where it is without power.

    tan(lead angle) cos(half flank angle) = l / (pi dm s).

    Parameters:  lead_m : scalar, float [m], > 0. mean_m : scalar, float [m], > 0. thread : a key
        of HALF_FLANK_RAD
    Returns:     friction : scalar, float [-]
    Raises:      Impossible: names the argument that is not above zero
    Validity:    at rest; shaking lowers friction.
    Source:      Shigley, Mechanical Engineering Design, eq. 8-3, with the flank angle
    Example:     lead 8 mm on 7 mm: 0.35139; Tr8x1.5: 0.06361, computed independently.
    """
    positive(lead_m=lead_m, mean_m=mean_m)
    return lead_m / (math.pi * mean_m) * math.cos(HALF_FLANK_RAD[thread])


_THREAD = ("screw.mean", "feed.lead", "screw.friction", "screw.thread")


def _push(force: float, mean: float, lead: float, mu: float, thread: str) -> float:
    return torque(force, mean_m=mean, lead_m=lead, friction=mu, thread=thread, push=True)


def _back(force: float, mean: float, lead: float, mu: float, thread: str) -> float:
    return torque(force, mean_m=mean, lead_m=lead, friction=mu, thread=thread, push=False)


ROWS = (
    Row("screw.mean", "mean diameter of the screw", "mm", "thread: d - P/2, metric d - 0.65 P",
        ("feed.screw", "feed.lead", "feed.starts", "screw.thread"),
        lambda d, lead, starts, kind: mean_diameter(d, lead_m=lead, starts=starts, thread=kind),
        "The thread carries at this diameter."),
    Row("screw.collar_torque", "torque of the thrust collar", "Nm", "collar: F mu dc / 2",
        ("thrust.work", "screw.collar", "screw.collar_friction"),
        lambda force, collar, mu: collar_torque(force, collar_m=collar, friction=mu),
        "The collar or bearing takes this either way; a rolling bearing takes next to none."),
    Row("screw.push", "torque to push", "Nm", "power screw, raising (Shigley 8-5) and collar",
        ("thrust.work", *_THREAD, "screw.collar_torque"),
        lambda force, mean, lead, mu, kind, collar: _push(force, mean, lead, mu, kind) + collar,
        "The motor must give this at the working speed."),
    Row("screw.back", "torque to back out", "Nm", "power screw, lowering (Shigley 8-5) and collar",
        ("thrust.work", *_THREAD, "screw.collar_torque"),
        lambda force, mean, lead, mu, kind, collar: _back(force, mean, lead, mu, kind) + collar,
        "Below zero, the dough turns the screw back by itself when the motor lets go."),
    Row("screw.efficiency", "efficiency of the screw", "%", "efficiency: F l / (2 pi T)",
        ("thrust.work", "feed.lead", "screw.push"),
        lambda force, lead, push: efficiency(force, lead_m=lead, torque_nm=push),
        "The rest of the motor's work becomes heat in the nut."),
    Row("screw.holds", "friction that holds the screw", "",
        "self-locking: l cos(flank) / (pi dm)",
        ("feed.lead", "screw.mean", "screw.thread"),
        lambda lead, mean, kind: holding_friction(lead, mean_m=mean, thread=kind),
        "The screw stays put without power while its friction is above this.",
        Limit("most", "screw.friction", "This thread runs back when the motor lets go, unless a "
              "collar holds it: keep the drive held, or expect loss of pressure and a plunger that "
              "moves.", 1.5, soft=True),
        safety="A plunger that is pushed back moves without the motor: keep fingers out of the "
               "screw even with power off, and let the barrel's pressure off first."),
)  # fmt: skip
"""Rows of the sheet; `thrust.work` is the force of the plunger at work."""
