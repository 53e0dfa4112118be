"""Every message of the wire, as one class each; MESSAGES is the single table.

A body is `tag field field ...` with single spaces. Numbers are decimal, without sign for zero or
plus, without leading zeros, so that each value has exactly one spelling and decode-then-encode
gives the identical line. The ranges, units and meanings stand in the class itself; the decoder,
SPEC.md's tables and the C++ header are made from them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, ClassVar, NamedTuple

import msgspec

from protocols.codec import Number, Word, codec
from protocols.errors import PeerError

U16 = 65_535
U32 = 4_294_967_295
I32 = 2_147_483_647

Nonce = Annotated[int, Number(0, U16, "", "number of the beat")]
Id = Annotated[int, Number(1, U32, "", "command number, one more than the last")]
EventNo = Annotated[int, Number(1, U32, "", "event number, gapless since boot")]
BoardTime = Annotated[int, Number(0, U32, "us", "board time, wraps")]
Portion = Annotated[int, Number(0, U16, "", "portion number modulo 65536; 0 is none")]
Position = Annotated[int, Number(-9_999_999, 99_999_999, "steps", "feed position")]
Eye = Annotated[int, Number(0, U16, "counts", "eye level")]
Thrust = Annotated[int, Number(0, U16, "0.1 N", "thrust")]
Air = Annotated[int, Number(0, U16, "hPa", "gauge air pressure")]
Supply = Annotated[int, Number(0, U16, "mV", "logic supply")]
Taken = Annotated[int, Number(0, U16, "bytes", "bytes taken from the host, modulo 65536")]
Signed = Annotated[int, Number(-I32, I32, "", "value, unit as the code says")]


class Message(msgspec.Struct, frozen=True):
    """Base of all messages. `tag` is the first word of a body, `code` the number in the journal."""

    tag: ClassVar[str]
    code: ClassVar[int]


class HostMessage(Message, frozen=True):
    """A message from the host to the board."""


class BoardMessage(Message, frozen=True):
    """A message from the board to the host."""


class Command(HostMessage, frozen=True):
    """A numbered host message; the board answers each, and never acts on one number twice."""

    id: Id


class Event(BoardMessage, frozen=True):
    """A numbered board message, kept on the board until the host has it safe and says `seen`."""

    event: EventNo
    t_us: BoardTime


# From the host, without a number.


class Hello(HostMessage, frozen=True):
    """Asks for the greeting and for every event still held."""

    tag = "hello"
    code = 1


class Stop(HostMessage, frozen=True):
    """Stops the feed and sends the cutter home. Always acts, whatever else is wrong."""

    tag = "stop"
    code = 2
    level: Annotated[
        int, Number(0, 1, "", "0: stop, drive as the card says; 1: and take power off the drive")
    ]


class Lease(HostMessage, frozen=True):
    """Renews the leave to move, by the number of a fresh beat."""

    tag = "lease"
    code = 3
    nonce: Nonce


class Seen(HostMessage, frozen=True):
    """Says that all events up to this one are safe; the board may forget them."""

    tag = "seen"
    code = 4
    event: Annotated[int, Number(0, U32, "", "last event that is safe")]


# From the host, numbered.


class Set(Command, frozen=True):
    """Loads one limit; takes effect at the next `adopt`. Refused while anything moves."""

    tag = "set"
    code = 10
    key: Annotated[int, Number(1, 99, "", "number of the limit")]
    value: Annotated[int, Number(-I32, I32, "", "its value, unit as in the table of limits")]


class Adopt(Command, frozen=True):
    """Puts the loaded limits in force if their digest is this one. Nothing moves before."""

    tag = "adopt"
    code = 11
    digest: Annotated[int, Number(0, U32, "", "CRC-32/ISO-HDLC over all limits")]


class Drive(Command, frozen=True):
    """Gives power to the stepper drive, or takes it away at standstill."""

    tag = "drive"
    code = 12
    on: Annotated[int, Number(0, 1, "", "1: on")]


class Here(Command, frozen=True):
    """Says where the feed stands; the position is known from now on."""

    tag = "here"
    code = 13
    position: Position


class Clear(Command, frozen=True):
    """Clears the latch of one interlock whose cause is gone."""

    tag = "clear"
    code = 14
    interlock: Annotated[int, Number(1, 30, "", "number of the interlock")]


class Lock(Command, frozen=True):
    """Locks the local switches during a series, or frees them."""

    tag = "lock"
    code = 15
    on: Annotated[int, Number(0, 1, "", "1: locked")]


class Move(Command, frozen=True):
    """One bounded feed move: forward positive."""

    tag = "move"
    code = 16
    kind: Annotated[int, Number(0, 4, "", "0 jog, 1 held jog, 2 relieve, 3 approach, 4 prime")]
    distance: Annotated[int, Number(-999_999, 999_999, "steps", "signed distance, not 0")]
    speed: Annotated[int, Number(10, 20_000, "steps/s", "top speed")]
    nonce: Nonce


class Draft(Command, frozen=True):
    """First part of a portion's program."""

    tag = "draft"
    code = 17
    portion: Annotated[int, Number(1, U16, "", "portion number modulo 65536")]
    take_up: Annotated[int, Number(0, 99_999, "steps", "forward before the push")]
    push: Annotated[int, Number(1, 999_999, "steps", "forward, the stroke")]
    speed: Annotated[int, Number(10, 20_000, "steps/s", "speed of take-up and push")]


class Detail(Command, frozen=True):
    """Second part of a portion's program."""

    tag = "detail"
    code = 18
    portion: Annotated[int, Number(1, U16, "", "portion number modulo 65536")]
    draw_back: Annotated[int, Number(0, 99_999, "steps", "reverse after the push")]
    settle: Annotated[int, Number(0, 9_999, "ms", "feed at rest before the cut")]
    dwell: Annotated[int, Number(0, 999, "ms", "cutter held at the far end")]


class Run(Command, frozen=True):
    """Starts the program of this portion, or lets the local button start it."""

    tag = "run"
    code = 19
    portion: Annotated[int, Number(1, U16, "", "portion number modulo 65536")]
    trigger: Annotated[int, Number(0, 1, "", "0: now; 1: at the local button")]
    nonce: Nonce


class Arm(Command, frozen=True):
    """Arms a dry stroke for ARM_MS."""

    tag = "arm"
    code = 20


class Fire(Command, frozen=True):
    """Makes the dry stroke that was armed."""

    tag = "fire"
    code = 21
    nonce: Nonce


# From the board, without a number.


class Bench(BoardMessage, frozen=True):
    """The greeting: who is there, since when and why."""

    tag = "bench"
    code = 30
    protocol: Annotated[int, Number(0, 99, "", "version of this protocol")]
    firmware: Annotated[str, Word(8, "version of the firmware")]
    build: Annotated[str, Word(8, "start of the hash of its sources")]
    board: Annotated[str, Word(4, "kind of board")]
    boot: Annotated[int, Number(0, U16, "", "boot number, counted in EEPROM")]
    cause: Annotated[str, Word(8, "why it started: power, button, watchdog, lowvolt, unknown")]
    uptime_s: Annotated[int, Number(0, 9_999_999, "s", "time since boot")]
    last_id: Annotated[int, Number(0, U32, "", "last command number answered")]
    digest: Annotated[int, Number(0, U32, "", "digest of the limits in force, 0 if none")]
    oldest: Annotated[int, Number(0, U32, "", "oldest event held, 0 if none")]


class Yes(BoardMessage, frozen=True):
    """The command was accepted."""

    tag = "yes"
    code = 31
    id: Id
    taken: Taken


class No(BoardMessage, frozen=True):
    """The command was refused: nothing was done. 1 to 30 is an interlock, 40 and up a refusal."""

    tag = "no"
    code = 32
    id: Id
    reason: Annotated[int, Number(1, 99, "", "what failed")]
    value: Signed
    bound: Signed
    taken: Taken


class Beat(BoardMessage, frozen=True):
    """Sign of life, time exchange, and the state in one line."""

    tag = "beat"
    code = 33
    nonce: Nonce
    t_us: BoardTime
    lease: Annotated[int, Number(0, U16, "", "number of the last lease taken")]
    lease_t_us: Annotated[
        int, Number(0, U32, "us", "board time at which it came; 0 if none came yet")
    ]
    mode: Annotated[int, Number(0, 5, "", "see the table of modes")]
    phase: Annotated[int, Number(0, 6, "", "see the table of phases")]
    portion: Portion
    latches: Annotated[int, Number(0, 1_073_741_823, "bits", "bit k is the latch of interlock k+1")]
    position: Position
    pins: Annotated[int, Number(0, U16, "bits", "see the table of pins")]
    bad: Annotated[int, Number(0, U16, "", "lines dropped since boot, modulo 65536")]
    taken: Taken


class Sample(BoardMessage, frozen=True):
    """The signals at one moment; dropped first when the line is full, which a gap in `k` shows."""

    tag = "sample"
    code = 34
    k: Annotated[int, Number(0, U16, "", "sample number modulo 65536, dropped ones counted")]
    t_us: BoardTime
    position: Position
    eye: Eye
    thrust: Thrust
    air: Air
    supply: Supply


# From the board, numbered events.


class Boot(Event, frozen=True):
    """The board started."""

    tag = "boot"
    code = 40
    cause: Annotated[int, Number(0, 4, "", "see the table of causes")]
    boot: Annotated[int, Number(0, U16, "", "boot number")]


class Phase(Event, frozen=True):
    """A phase of a portion, or of a dry stroke, began."""

    tag = "phase"
    code = 41
    portion: Portion
    phase: Annotated[int, Number(1, 6, "", "see the table of phases")]
    position: Position
    eye: Eye
    thrust: Thrust
    air: Air
    supply: Supply


class Edge(Event, frozen=True):
    """A signal changed."""

    tag = "edge"
    code = 42
    portion: Portion
    signal: Annotated[int, Number(0, 16, "", "number of the pin, see the table of pins")]
    level: Annotated[int, Number(0, 1, "", "1: now on")]
    position: Position
    eye: Eye
    thrust: Thrust
    air: Air
    supply: Supply


class Moved(Event, frozen=True):
    """A feed move by hand ended."""

    tag = "moved"
    code = 43
    kind: Annotated[int, Number(0, 5, "", "as in `move`; 5: local switch")]
    reason: Annotated[int, Number(0, 8, "", "see the table of move endings")]
    position: Position
    eye: Eye
    thrust: Thrust
    air: Air
    supply: Supply


class Ended(Event, frozen=True):
    """A portion, or a dry stroke (portion 0), ended."""

    tag = "ended"
    code = 44
    portion: Portion
    outcome: Annotated[int, Number(0, 3, "", "0 complete, 1 stopped, 2 tripped, 3 lease lapsed")]
    position: Position
    eye: Eye
    thrust: Thrust
    air: Air
    supply: Supply


class Trip(Event, frozen=True):
    """An interlock tripped and latched."""

    tag = "trip"
    code = 45
    portion: Portion
    interlock: Annotated[int, Number(1, 30, "", "number of the interlock")]
    value: Signed
    bound: Signed
    position: Position


class Freed(Event, frozen=True):
    """The latch of an interlock was cleared."""

    tag = "freed"
    code = 46
    interlock: Annotated[int, Number(1, 30, "", "number of the interlock")]


class Ignored(Event, frozen=True):
    """A local switch or the button was pressed and did nothing, for this reason."""

    tag = "ignored"
    code = 47
    signal: Annotated[int, Number(0, 15, "", "number of the pin")]
    reason: Annotated[int, Number(1, 99, "", "as in `no`")]


class Tally(Event, frozen=True):
    """First part of a portion's summary."""

    tag = "tally"
    code = 48
    portion: Portion
    asked: Annotated[int, Number(0, 9_999_999, "steps", "take-up and push asked for")]
    made: Annotated[int, Number(0, 9_999_999, "steps", "take-up and push that went out")]
    gap: Annotated[int, Number(0, U16, "steps", "longest feed without dough, once seen")]
    push_ms: Annotated[int, Number(0, U16, "ms", "time of take-up and push")]


class Extremes(Event, frozen=True):
    """Second part of a portion's summary."""

    tag = "extremes"
    code = 49
    portion: Portion
    eye_min: Eye
    eye_mean: Eye
    thrust_peak: Thrust
    thrust_cut: Thrust
    air_min: Air
    supply_min: Supply


class Lost(Event, frozen=True):
    """The ring was full: so many events before this one are lost."""

    tag = "lost"
    code = 50
    count: Annotated[int, Number(1, U32, "", "events lost")]


CLASSES: tuple[type[Message], ...] = (
    Hello, Stop, Lease, Seen,
    Set, Adopt, Drive, Here, Clear, Lock, Move, Draft, Detail, Run, Arm, Fire,
    Bench, Yes, No, Beat, Sample,
    Boot, Phase, Edge, Moved, Ended, Trip, Freed, Ignored, Tally, Extremes, Lost,
)  # fmt: skip


class Spec(NamedTuple):
    """One row of MESSAGES: the class, its fields in order, and both directions (see codec.py)."""

    cls: type[Message]
    fields: tuple[tuple[str, Number | Word], ...]
    decode: Callable[[bytes], Message]
    encode: Callable[[Message], bytes]


MESSAGES: dict[str, Spec] = {cls.tag: Spec(cls, *codec(cls, cls.tag)) for cls in CLASSES}
"""Tag to row, for every message of the wire."""

BY_CODE: dict[int, Spec] = {spec.cls.code: spec for spec in MESSAGES.values()}
"""Journal code to row."""

_DECODERS: dict[bytes, Callable[[bytes], Message]] = {
    tag.encode("ascii"): spec.decode for tag, spec in MESSAGES.items()
}


def decode(body: bytes) -> Message:
    """Return the message that a line's body carries.

    Raises: PeerError when the tag is unknown or a field is missing, malformed or out of range.
    Example: decode(b"lease 17") == Lease(17).
    """
    decoder = _DECODERS.get(body.partition(b" ")[0])
    if decoder is None:
        raise PeerError("A line has a first word that SPEC.md does not know.")
    return decoder(body)


def encode(message: Message) -> bytes:
    """Return the body of a message, without check value and newline.

    Raises: OwnError when a field is out of range, so that nothing leaves this side that the other
        must refuse.
    Example: encode(Lease(17)) == b"lease 17".
    """
    return MESSAGES[message.tag].encode(message)


def values_of(message: Message) -> tuple[Any, ...]:
    """Return the fields of a message in their order, as stored in the journal."""
    return msgspec.structs.astuple(message)
