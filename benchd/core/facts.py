"""What the core knows of the bench and the dough: the cards, already checked and turned into
numbers.

The core counts in the wire's steps and milliseconds; conversions to metres happen here, in one
place.
"""

from __future__ import annotations

import msgspec


class Watch(msgspec.Struct, frozen=True):
    """When the daemon's own rules trip; from the bench card."""

    odd_count: int = 2
    odd_window: int = 5
    odd_share: float = 0.08
    """IL-25: so many of the last `odd_window` weights further than this share from the aim."""
    slow_share: float = 0.5
    """IL-25: a cut counts as slow when it takes this share longer than the usual."""
    attendance_min: float = 10.0
    """IL-26: a series pauses when nobody touched a key for so many minutes."""
    tube_open_min: float = 120.0
    """IL-27: no series begins with a tube that is open for longer."""
    proof_days: float = 30.0
    """IL-15: a proof of the bench expires after so many days."""
    smear_portions: int = 3
    """IL-10: so many portions in a row in which the eye never changed."""
    clock_error_ms: float = 20.0
    """IL-30: a stated error of board times above this makes them doubtful."""


class BenchFacts(msgspec.Struct, frozen=True):
    """A bench card, ready for use."""

    name: str
    limits: dict[str, int]
    """Every value of protocols.limits.LIMITS by name, in the wire's units."""
    steps_per_m: float
    """Microsteps per metre of feed."""
    bore_m: float
    nozzle_bore_m: float
    fitted: tuple[str, ...]
    """Names of FITTED_BITS that the card says are there, sorted: a set would have no order to
    hash."""
    travel_m: float
    heel_m: float
    jog_speed_m_s: float
    prime_speed_m_s: float
    approach_m: float
    """Longest way to contact when a tube is put in."""
    relieve_m: float
    """Reverse feed that lets the pressure off."""
    thrust_relieved_n: float = 10.0
    scale_readability_kg: float = 1e-4
    simulated: bool = False
    watch: Watch = Watch()
    digests: dict[str, int] = {}
    """Group name to digest, what a proof of the bench rests on."""
    text: str = ""
    """The card as it was read, for the journal."""

    def steps(self, metres: float) -> int:
        """Return the whole steps nearest to a distance [m], forward positive."""
        return round(metres * self.steps_per_m)

    def metres(self, steps: float) -> float:
        """Return the distance of so many steps [m]."""
        return steps / self.steps_per_m

    def speed(self, speed_m_s: float) -> int:
        """Return a speed of the feed [steps/s], at most what the card allows."""
        return min(self.steps(speed_m_s), self.limits["speed_max"])

    def strand_m(self, steps: float) -> float:
        """Return the strand that so many steps of feed push out [m], without its swell."""
        return self.metres(steps) * (self.bore_m / self.nozzle_bore_m) ** 2


class Dough(msgspec.Struct, frozen=True):
    """A dough card, ready for use. SI."""

    name: str
    aim_kg: float
    density_kg_m3: float
    stroke_m: float
    take_up_m: float
    push_speed_m_s: float
    draw_back_m: float
    settle_s: float
    dwell_s: float = 0.05
    tolerance: float = 0.05
    """Share of the aim within which a portion is right."""
    auto_stroke: bool = False
    """A series may change its stroke by itself, within limits (`adjust`)."""
    text: str = ""
    """The card as it was read, for the journal."""
    digest: int = 0
    """Of the card's values but its name; 0 in journals of before core version 7."""


PROGRAM_STEPS_MAX = {"take_up": 99_999, "stroke": 999_999, "draw_back": 99_999}
SPEED_MIN = 10
"""Longest ways, and slowest speed, of a program in steps and steps/s (SPEC.md, section 4)."""


def ramp_time_s(steps: int, *, speed: float, accel: float) -> float:
    """Return the time of a trapezoidal move.

    Parameters: steps : scalar, int [steps], >= 0; speed : scalar, float [steps/s], > 0; accel :
    scalar, float [steps/s2], > 0.
    Returns: time : scalar, float [s].
    Source: constant-acceleration kinematics; speed is reached when speed^2/accel <= steps.
    Example: ramp_time_s(1000, speed=1000, accel=1e9) is 1.0 s to six digits.
    """
    if steps <= 0:
        return 0.0
    if speed * speed / accel >= steps:
        return 2.0 * float((steps / accel) ** 0.5)
    return steps / speed + speed / accel


def push_time_s(
    facts: BenchFacts, take_up_m: float, stroke_m: float, push_speed_m_s: float
) -> float:
    """Return how long take-up and push take [s]."""
    speed, accel = facts.speed(push_speed_m_s), facts.limits["accel"]
    ways = (take_up_m, stroke_m)
    return sum(ramp_time_s(facts.steps(way), speed=speed, accel=accel) for way in ways)


def portion_time_s(facts: BenchFacts, dough: Dough) -> float:
    """Return how long one portion takes from take-up to the cutter home again [s], by the card's
    usual times."""
    limits = facts.limits
    feed = push_time_s(facts, dough.take_up_m, dough.stroke_m, dough.push_speed_m_s)
    back = ramp_time_s(
        facts.steps(dough.draw_back_m), speed=limits["draw_speed"], accel=limits["accel"]
    )
    settle = max(dough.settle_s, limits["still_ms"] / 1000)
    steady = 0.05 if "home" in facts.fitted else 0.0
    return (
        feed
        + back
        + settle
        + limits["cut_ms"] / 1000
        + dough.dwell_s
        + limits["return_ms"] / 1000
        + steady
    )


def shortest_period_s(facts: BenchFacts, dough: Dough) -> float:
    """Return the shortest period of a series [s]: one portion by its usual times, and a tenth for
    the rest."""
    return round(portion_time_s(facts, dough) * 1.05 + 0.1, 1)
