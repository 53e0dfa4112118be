"""What every cause of a misfire tells of itself."""

from __future__ import annotations

from typing import NamedTuple

AIR = "Air shut and vented, gauge at zero, blade locked, before any hand goes near it."
LOADED = "A filled barrel is a loaded spring: relieve it, wait, then open, and stand aside."
DRIVE = "Drive power off before reaching to plunger or screw."


class Cause(NamedTuple):
    """One cause. All of it is the trade's common practice, no measurement of a bench of yours.

    shows: how often each finding is seen when this is the cause [-]: about 0.9 nearly always, 0.6
    often, 0.3 sometimes, 0.1 at times; one that is not named is no more frequent than in sound
    portions. rules_out: findings that speak against it, whatever else is seen, and why; empty where
    nothing that is measured does. common: how common it is beside the others [-].
    """

    code: str
    name: str
    how: str
    common: float
    shows: dict[str, float]
    rules_out: dict[str, str]
    check: str
    """The next cheapest thing to do."""
    remedy: str
    caution: str = ""
    """Where the check or the remedy puts hands near air, blade, pressure or drive."""
