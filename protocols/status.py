"""BenchStatus: the frozen snapshot that every screen, `benchd status` and MQTT show. SI units, None
where unknown."""

from __future__ import annotations

import msgspec


class Abnormal(msgspec.Struct, frozen=True):
    """One thing that is not as it should be: rank 3 stop, 2 watch, 1 note."""

    code: str
    rank: int
    what: str
    so_what: str
    do_what: str
    since_ns: int
    latched: bool
    reset: str
    """"auto", "ack" or "prove"."""


class LastPortion(msgspec.Struct, frozen=True):
    """The last portion made, and its weight if there is one."""

    number: int
    kind: str
    outcome: str
    mass_kg: float | None = None


class SeriesStatus(msgspec.Struct, frozen=True):
    """How a series goes."""

    made: int
    count: int | None
    """None: until the end of the tube."""
    every_s: float
    next_in_s: float | None
    paused: bool
    finishing: bool
    pause_reason: str = ""


class BrokerStatus(msgspec.Struct, frozen=True):
    """How news goes out to the MQTT broker that the bench card names."""

    connected: bool
    waiting: int
    """Records that the broker has not taken yet."""
    dropped: int
    """Records that were never sent, because too many waited."""
    trouble: str = ""
    """Why it is not connected, one sentence; empty when it is, or was not tried yet."""


class BenchStatus(msgspec.Struct, frozen=True):
    """What the bench is at, at one moment."""

    bench: str
    state: str
    """One of the states in words: NOT COMMISSIONED, DRIVE OFF, READY, NUDGING, PORTIONING, WAITING,
    PAUSED, TRIPPED, NO LINK."""
    phase: str
    waits_for: str
    """What the bench waits for, as a phrase; empty when it waits for nothing."""
    barrel: str
    air: str
    coils: str
    """Energy line: "loaded", "low", "live", "off", "not measured: treat as loaded" and the like."""
    not_watched: tuple[str, ...]
    position_m: float | None
    position_known: bool
    tube: str
    tube_left_portions: int | None
    tube_left_m: float | None
    dough: str
    aim_kg: float | None
    portion: int
    """Number of the last portion begun."""
    last: LastPortion | None
    series: SeriesStatus | None
    unweighed: tuple[int, ...]
    mean_kg: float | None
    n_weighed: int
    thrust_n: float | None
    air_pa: float | None
    supply_v: float | None
    eye_counts: int | None
    eye_sees: bool | None
    eye_taught: tuple[int, int] | None
    """Levels (empty, dough) or None."""
    pins: dict[str, bool]
    abnormals: tuple[Abnormal, ...]
    """Worst first."""
    link_age_s: float | None
    controller: str
    board: str
    """Firmware, build and boot number as words; empty without a greeting."""
    clock_error_s: float | None
    lines_bad: int
    samples_lost: int
    journal: str
    journal_ok: bool
    now_ns: int
    broker: BrokerStatus | None = None
    """None where the bench card names no broker."""


STATUS_VERSION = 1
"""Version of this snapshot; watchers refuse a later one."""
