"""The state of the core: everything the daemon knows of the bench, in frozen structs.

Values of the board stay in the wire's whole numbers, unit in SPEC.md, so that replay is exact to
the bit.
"""

from __future__ import annotations

from typing import Any

import msgspec

from benchd.core.clock_map import ClockMap
from benchd.core.facts import BenchFacts, Dough
from benchd.core.inputs import Carry

UNWEIGHED_KEPT = 200
"""Portions without a weight that are remembered; of more the oldest are forgotten."""


class Board(msgspec.Struct, frozen=True):
    """What the board said last."""

    firmware: str = ""
    build: str = ""
    kind: str = ""
    boot: int = 0
    cause: str = ""
    uptime_s: int = 0
    """At its greeting."""
    nonce: int = 0
    nonce_ns: int = 0
    """When the newest beat came."""
    t_us: int = 0
    """Board time of the newest beat, unwrapped."""
    lease_sent: int = 0
    """Number returned in the newest lease, and when; 0 when none is out."""
    lease_sent_ns: int = 0
    mode: int = 0
    phase: int = 0
    portion: int = 0
    latches: int = 0
    position: int = 0
    pins: int = 0
    bad: int = 0
    eye: int = 65_535
    thrust: int = 65_535
    air: int = 65_535
    supply: int = 65_535
    rest_ns: int = 0
    """Since when the beats say that nothing moves; 0 while something does."""
    sample_k: int | None = None
    sample_ns: int = 0


class Planned(msgspec.Struct, frozen=True):
    """A command that will be sent when its turn comes; number and beat are put in then."""

    tag: str
    values: tuple[int, ...]
    why: str
    """"load" for limits, "job" for the job under way, "free" otherwise."""
    tries: int = 0
    """How often the board found it too late or too early."""
    not_before_ns: int = 0


class Pending(msgspec.Struct, frozen=True):
    """The command that waits for its answer."""

    id: int
    planned: Planned
    sent_ns: int


class Job(msgspec.Struct, frozen=True):
    """What a request started and that is not over."""

    kind: str
    client: int
    ask: int
    begun_ns: int
    start_position: int = 0
    data: dict[str, Any] = {}


class Series(msgspec.Struct, frozen=True):
    """A series under way or paused."""

    client: int
    ask: int
    dough: Dough
    count: int | None
    every_ns: int
    next_ns: int
    made: int = 0
    first_portion: int = 0
    paused: bool = False
    pausing: bool = False
    """Pause at the next safe point."""
    pause_reason: str = ""
    finishing: bool = False
    after_pause: bool = False
    late: int = 0
    """Beats that came late."""
    card_stroke_m: float = 0.0
    """Stroke of the card: where that of `dough` began, and what a new tube begins with."""
    learned: int = 0
    """Newest portion whose weight was used, or weighed up, for a change of the stroke."""
    adjusted: int = 0
    """Changes of the stroke so far."""


class Work(msgspec.Struct, frozen=True):
    """The portion under way, gathered from its events until its record is written."""

    number: int
    kind: str
    dough: Dough
    tube: str
    index: int
    asked: dict[str, int]
    begun_ns: int
    bad_before: int
    phases: tuple[tuple[int, int, int, int, int, int, int], ...] = ()
    """(phase, t_us, position, eye, thrust, air, supply) each."""
    edges: tuple[tuple[int, int, int], ...] = ()
    """(signal, level, t_us) each."""
    tally: dict[str, int] = {}
    extremes: dict[str, int] = {}
    late_ns: int = 0
    """How much later it began than the beat of its series said; 0 when on time."""


class Weighed(msgspec.Struct, frozen=True):
    """A weight of a portion, newest kept."""

    portion: int
    mass_kg: float
    aim_kg: float


class Latch(msgspec.Struct, frozen=True):
    """An interlock that is up: a finding of a daemon rule, or a latch of the board."""

    number: int
    since_ns: int
    text: str
    value: int | float | None = None
    """As given: a whole number stays one, so that replay from a stored state says the same."""
    bound: int | float | None = None
    latched: bool = True
    cause_gone: bool = False
    told: bool = True
    """Recorded in the journal. A latch that a beat brought first waits for its trip event."""


class GoneAlarm(msgspec.Struct, frozen=True):
    """An alarm that came and went before anybody saw it."""

    number: int
    since_ns: int
    gone_ns: int


class Shelf(msgspec.Struct, frozen=True):
    """An alarm that somebody put aside until a moment."""

    number: int
    until_ns: int
    name: str
    reason: str


class Alarms(msgspec.Struct, frozen=True):
    """What people have made of the interlocks that are up."""

    begun_ns: int = 0
    """When the first interlock was up: what stood then is no news."""
    seen: tuple[int, ...] = ()
    shelved: tuple[Shelf, ...] = ()
    returned: tuple[GoneAlarm, ...] = ()
    raised_ns: tuple[int, ...] = ()
    """When the newest were raised."""


class State(msgspec.Struct, frozen=True):
    """Everything."""

    facts: BenchFacts
    carry: Carry = Carry()
    wall_us: int = 0
    wall_ns: int = 0
    """`now_ns` at which wall_us was told."""
    link: str = "down"
    """down, greeting, loading, up, or wrong."""
    link_text: str = ""
    port: str = ""
    last_word_ns: int = 0
    board: Board = Board()
    clock: ClockMap = ClockMap()
    next_id: int = 1
    pending: Pending | None = None
    outbox: tuple[Planned, ...] = ()
    job: Job | None = None
    let_go: Job | None = None
    """The job that failed last: the board may tell yet how far its move came."""
    series: Series | None = None
    work: Work | None = None
    controller: int | None = None
    latches: dict[int, Latch] = {}
    """Of the daemon's rules and of the board, by interlock number."""
    alarms: Alarms = Alarms()
    dry_needed: bool = True
    uncut: int = 0
    """Portion that was pushed and not cut, so that it still hangs at the nozzle; 0 is none."""
    relieved: bool = False
    journal_ok: bool = True
    journal_text: str = ""
    last_key_ns: int = 0
    smear_run: int = 0
    """Portions in a row in which the eye never changed."""
    slow_run: int = 0
    """Cuts in a row that were slow."""
    weights: tuple[Weighed, ...] = ()
    """The newest, at most 200."""
    odd_after: int = 0
    """IL-25 looks only at portions after this one: set when its latch is cleared."""
    recent: tuple[dict[str, Any], ...] = ()
    """Short facts of the newest portions: number, kind, outcome, aim_kg, what was seen (`seen`),
    and the signals by which the next ones are judged; at most 200."""
    samples_lost: int = 0
    lines_bad: int = 0
    last_end_ns: int = 0
    """When the last portion ended; tells "after-pause"."""
