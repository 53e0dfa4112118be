"""What the core can be told. A board message is an input as it stands; everything else is one of
these.

Inputs are journalled before their decisions and are all that replay needs, so nothing may reach the
core beside them.
"""

from __future__ import annotations

from typing import Any

import msgspec

from benchd.core.facts import BenchFacts, Dough


class Tube(msgspec.Struct, frozen=True):
    """The record of one tube."""

    id: str
    lot: str = ""
    net_mass_kg: float | None = None
    opened_wall_us: int = 0
    temperature_c: float | None = None
    portions: int = 0
    """Portions made of it so far."""
    primed: bool = False
    """Its strand was brought to flow once."""
    touched: bool = False
    """A person said that the plunger touches the dough; a relieve takes it back."""
    felt: int = 0
    """Fed toward the dough so far with no sensor for contact [steps]; a relieve begins anew."""
    no_flow: bool = False
    """The last prime brought no dough, and the barrel was not relieved since."""


class Proof(msgspec.Struct, frozen=True):
    """That a person has proven the bench: who, when, and the digests it rests on."""

    name: str
    wall_us: int
    digests: dict[str, int]
    build: str
    """Build hash of the firmware at the time."""


class Carry(msgspec.Struct, frozen=True):
    """What outlives the daemon: read back from the last journal of the bench."""

    last_portion: int = 0
    proof: Proof | None = None
    tube: Tube | None = None
    tubes_out: tuple[str, ...] = ()
    """Ids of the newest tubes that went out, oldest first: an id that comes again is asked
    about."""
    group: int = 1
    by_hand: dict[str, float | str] = {}
    eye_empty: tuple[float, float] | None = None
    """Mean and spread of the taught level [counts]."""
    eye_dough: tuple[float, float] | None = None
    unweighed: tuple[int, ...] = ()
    aim_kg: float | None = None
    """Aim of the last portion: what a weight is compared with after a restart."""
    dough: Dough | None = None
    """The dough card used last, without its text: what the next one is compared with."""


class Input(msgspec.Struct, frozen=True, tag_field="input"):
    """Base of all inputs that are not board messages."""


SCALE = 0
"""Number of the client that is no person: the scale with a serial output."""


class Opened(Input, frozen=True, tag="opened"):
    """The daemon started with this bench card; first input of every journal."""

    facts: BenchFacts
    carry: Carry
    wall_us: int


class LinkUp(Input, frozen=True, tag="link-up"):
    """The port is open; nobody has answered yet."""

    port: str


class LinkDown(Input, frozen=True, tag="link-down"):
    """The port is gone or cannot be opened."""

    reason: str


class LineFault(Input, frozen=True, tag="line-fault"):
    """Lines that were dropped: why, and how many since the last such input."""

    reason: str
    count: int = 1


class EventGap(Input, frozen=True, tag="event-gap"):
    """Events that the board numbered and that will not come any more."""

    first: int
    last: int


class WrongBoard(Input, frozen=True, tag="wrong-board"):
    """Nobody of ours is on the open port: nothing answers, something else does, or a board of
    another version."""

    reason: str


class Stood(Input, frozen=True, tag="stood"):
    """The daemon did not come round for so long [s]: its machine slept, or was too busy."""

    time_s: float


class Asked(Input, frozen=True, tag="asked"):
    """A request of a client. `dough` is the card of the request, already read."""

    client: int
    ask: int
    method: str
    params: dict[str, Any]
    dough: Dough | None = None


class Gone(Input, frozen=True, tag="gone"):
    """A client's connection closed."""

    client: int


class Wake(Input, frozen=True, tag="wake"):
    """The time the core asked to be woken at has come."""


class JournalState(Input, frozen=True, tag="journal"):
    """The journal can, or cannot, be written."""

    ok: bool
    reason: str = ""


class WallClock(Input, frozen=True, tag="wall-clock"):
    """The time of day, UTC [us since 1970]; told at start, each minute, and before a request that
    needs it."""

    wall_us: int


AnyInput = (
    Opened
    | LinkUp
    | LinkDown
    | LineFault
    | EventGap
    | WrongBoard
    | Stood
    | Asked
    | Gone
    | Wake
    | JournalState
    | WallClock
)
"""Union for reading inputs back from a journal."""
