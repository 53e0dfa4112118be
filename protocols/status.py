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
    standing: str = "raised"
    """The state of an alarm by ISA-18.2: "raised", "seen", "returned" (it went and nobody saw it)
    or "shelved"; notes are only raised or shelved."""
    shelved_until_ns: int | None = None
    shelved_by: str = ""
    shelved_why: str = ""
    cause_gone: bool = False
    """What holds the latch is gone: it waits to be cleared."""


class LastPortion(msgspec.Struct, frozen=True):
    """The last portion made, and its weight if there is one."""

    number: int
    kind: str
    outcome: str
    mass_kg: float | None = None
    seen: tuple[str, ...] = ()
    """What was seen of it that a good one does not show."""


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
    late: int = 0
    """Beats of it that came late, because the portion before was not over in time."""
    stroke_m: float | None = None
    """The stroke now; None where the dough card does not let a series change it by itself."""
    card_stroke_m: float | None = None
    """The stroke that the card gives, likewise."""
    adjusted: int = 0
    """Changes of the stroke so far."""


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
    """Several in a row that never came; a single one gives way to an event by design."""
    journal: str
    journal_ok: bool
    now_ns: int
    broker: BrokerStatus | None = None
    """None where the bench card names no broker."""
    by_hand: dict[str, float | str] = {}
    """What people set by hand and told: names as in the request `set`, SI."""
    group: int = 1
    """Comparison group; each such change begins a new one."""
    odd: tuple[int, int] = (0, 0)
    """Odd weights, and of how many of the last, as IL-25 counts them."""
    tube_open_s: float | None = None
    """How long the tube has been open [s]; None without a tube."""
    returned: tuple[Abnormal, ...] = ()
    """Alarms that went by themselves before anybody saw them, the newest first."""
    raised_lately: int = 0
    """Alarms raised within the last 10 minutes."""
    spread_kg: tuple[float, float, float] | None = None
    """Standard deviation of the weights that may be held together, and its 95 % interval; None
    below `protocols.limits.SPREAD_LEAST` of them."""
    n_spread: int = 0
    """How many weights these are: class normal, of this tube, of one aim."""
    weights: tuple[tuple[int, float], ...] = ()
    """The newest weights, at most `protocols.limits.WEIGHTS_TOLD`: portion and mass [kg]; of one
    that was weighed again the last."""
    tube_net_kg: float | None = None
    """Net mass that the tube came in with [kg]; None where nobody said it, or without a tube."""
    tube_temperature_c: float | None = None
    """Temperature of its dough as it came in [C], likewise."""
    attended_s: float = 0.0
    """How long ago anybody last asked for something, or the daemon began [s]."""
    bounds: dict[str, tuple[float | None, float | None]] = {}
    """Least and most that readings may be [SI], None for no such limit: thrust_n, air_pa and
    supply_v where fitted, and odd, the share by which a weight may be off its aim (IL-25)."""
    why_not: dict[str, str] = {}
    """Actions that would be refused now (feed, relieve, drive, prime, portion, series, stroke,
    tube_out, open), each with the first reason."""


STATUS_VERSION = 1
"""Version of this snapshot; watchers refuse a later one."""
