"""What a client may ask of the daemon: one class a method, REQUESTS the single table.

JSON-RPC 2.0, one object a line, named parameters, over the bench's Unix socket. Values are SI. A
request that moves something
is answered when the movement has ended. A refusal has error code REFUSED and data {"condition",
"value", "bound"}.
`follow`, `status` and `plan` are answered by the daemon itself; all others pass through the core
and are journalled.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import msgspec

REFUSED = -32001
"""Error code: the request was understood and not done; the message says why."""

QUESTION = -32002
"""Error code: ask the person first. With the condition "control" another client is in control: send
`control`, then the same again. Else a value is implausible: send it again with confirmed true."""


class Request(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Base of all requests. `control` says that the client must be, or may become, the
    controller; where another one is, all but relieve and power off are a question first."""

    method: ClassVar[str]
    control: ClassVar[bool] = False


class Status(Request, frozen=True):
    """Answers the BenchStatus."""

    method = "status"


class Plan(Request, frozen=True):
    """Answers what a portion by this dough card would do; moves nothing."""

    method = "plan"
    dough: str


class Stop(Request, frozen=True):
    """Stops now; taken from anyone. Level 1 takes power off the drive as well."""

    method = "stop"
    level: Literal[0, 1] = 0


class Pause(Request, frozen=True):
    """Pauses the series at the next safe point; taken from anyone."""

    method = "pause"


class Finish(Request, frozen=True):
    """Ends the series after the portion under way; taken from anyone."""

    method = "finish"


class Resume(Request, frozen=True):
    """Goes on with a paused series; answered when it ends or pauses again."""

    method = "resume"
    control = True


class Control(Request, frozen=True):
    """Takes control from another client, at rest: what moves something is a question before, while
    that one is connected."""

    method = "control"
    control = True


class Here(Request, frozen=True):
    """Says where the feed stands."""

    method = "here"
    control = True
    position_m: float


class Proofs(Request, frozen=True):
    """Answers the three statements and words that clearing this interlock asks for; an empty list
    if none. Refused where `clear` would be, as far as that is known before the words."""

    method = "proofs"
    control = True
    interlock: int


class Clear(Request, frozen=True):
    """Clears a latch whose cause is gone. `name` and `words` where the interlock must be proven."""

    method = "clear"
    control = True
    interlock: int
    name: str = ""
    words: tuple[str, ...] = ()


class Seen(Request, frozen=True):
    """Says that somebody has seen an alarm, or all of them; it changes no interlock."""

    method = "seen"
    interlock: int | None = None
    name: str = ""


class Shelve(Request, frozen=True):
    """Puts an alarm aside for a while: screens are quiet about it, the interlock goes on as it is.
    What holds a latch is never shelved."""

    method = "shelve"
    interlock: int
    for_s: float
    name: str
    reason: str


class Unshelve(Request, frozen=True):
    """Takes an alarm back from the shelf."""

    method = "unshelve"
    interlock: int


class Jog(Request, frozen=True):
    """One bounded feed move, forward positive."""

    method = "jog"
    control = True
    distance_m: float
    speed_m_s: float | None = None


class JogHeld(Request, frozen=True):
    """One bounded feed move that ends unless `hold` says in time that the key is still held."""

    method = "jog_held"
    control = True
    distance_m: float
    lease_s: float


class Hold(Request, frozen=True):
    """The key of a held move is still down, for another `lease_s`; 0 says that it was let go.
    Leases never add up, and one that has lapsed is not renewed."""

    method = "hold"
    lease_s: float


class Relieve(Request, frozen=True):
    """Lets the barrel's pressure off by reversing the feed."""

    method = "relieve"
    control = True


class Drive(Request, frozen=True):
    """Gives power to the drive or takes it away."""

    method = "drive"
    control = True
    on: bool


class Portion(Request, frozen=True):
    """Makes one portion by the dough card given as text."""

    method = "portion"
    control = True
    dough: str
    button: bool = False
    """True: the portion waits for the local button."""
    confirmed: bool = False
    """True: a card that differs from the one used last is the right one."""


class Series(Request, frozen=True):
    """Makes portions on a timer. `count` None: until the end of the tube."""

    method = "series"
    control = True
    dough: str
    every_s: float
    count: int | None = None
    confirmed: bool = False
    """True: a card that differs from the one used last is the right one."""


class Arm(Request, frozen=True):
    """Arms a dry stroke."""

    method = "arm"
    control = True


class Fire(Request, frozen=True):
    """Makes the dry stroke that was armed."""

    method = "fire"
    control = True


class TubeIn(Request, frozen=True):
    """Opens the record of a tube."""

    method = "tube_in"
    control = True
    id: str
    lot: str = ""
    net_mass_kg: float | None = None
    opened_at: str = ""
    """RFC 3339 time, or empty for now."""
    temperature_c: float | None = None
    column_m: float | None = None
    confirmed: bool = False
    """True: a net mass that the barrel cannot hold, or hardly any, is the right one, and so is an
    id that was in before."""


class Approach(Request, frozen=True):
    """Feeds forward until the plunger touches the dough; where no thrust is measured, 2 mm at most,
    and in all no further than the card's approach before somebody says `contact`."""

    method = "approach"
    control = True


class Contact(Request, frozen=True):
    """Says that the plunger touches the dough, where no sensor measures it."""

    method = "contact"
    control = True


class Prime(Request, frozen=True):
    """Feeds until the strand is continuous; stops when no dough comes."""

    method = "prime"
    control = True


class TubeOut(Request, frozen=True):
    """Relieves, backs out, and closes the record of the tube."""

    method = "tube_out"
    control = True
    heel_kg: float | None = None


class Teach(Request, frozen=True):
    """Teaches one level of the eye from the readings of the next seconds."""

    method = "teach"
    control = True
    what: Literal["empty", "dough"]


class SetByHand(Request, frozen=True):
    """Journals values set by hand; each change starts a new comparison group."""

    method = "set"
    values: dict[str, float | str]
    """Names: air_pa, needle_turns, nozzle_m, sleeve, lamp."""


class Weigh(Request, frozen=True):
    """Records a weight. Without a portion it goes to the oldest unweighed one."""

    method = "weigh"
    mass_kg: float
    text: str
    """What the person typed."""
    portion: int | None = None
    look: Literal["", "clean", "tail", "squashed", "torn", "thrown"] = ""
    threw_m: float | None = None
    confirmed: bool = False


class Unweigh(Request, frozen=True):
    """Takes the weight of a portion back: the portion has none then. The journal keeps both."""

    method = "unweigh"
    portion: int


class WeighMany(Request, frozen=True):
    """Records weights taken elsewhere, all or none; each names its portion. A weight that its
    portion has already is left out, among the newest 200 that this daemon took."""

    method = "weigh_many"
    weights: tuple[Weigh, ...]
    confirmed: bool = False
    """In place of that of each weight."""


class Note(Request, frozen=True):
    """Journals a note."""

    method = "note"
    text: str
    portion: int | None = None


class Attend(Request, frozen=True):
    """Says that somebody is there."""

    method = "attend"


REQUESTS: dict[str, type[Request]] = {
    cls.method: cls
    for cls in (
        Status,
        Plan,
        Stop,
        Pause,
        Finish,
        Resume,
        Control,
        Here,
        Proofs,
        Clear,
        Seen,
        Shelve,
        Unshelve,
        Jog,
        JogHeld,
        Hold,
        Relieve,
        Drive,
        Portion,
        Series,
        Arm,
        Fire,
        TubeIn,
        Approach,
        Contact,
        Prime,
        TubeOut,
        Teach,
        SetByHand,
        Weigh,
        WeighMany,
        Unweigh,
        Note,
        Attend,
    )
}
"""Method name to class."""

TOPICS: dict[str, str] = {
    "status": "a BenchStatus, at most 5 a second and at each change of state",
    "portion": "a portion record when it ends",
    "trip": "an interlock that tripped or was cleared",
    "alarm": "an alarm that was seen, shelved, or came back from the shelf",
    "weight": "a weight; without a mass, one that was taken back",
    "series": "a series that began, paused, went on or ended",
    "move": "a feed move that ended",
    "stroke": "a dry stroke that ended",
    "tube": "a tube that came in, was touched, or was taken out",
    "refusal": "a command that the board refused",
    "proof": "an interlock that somebody proved",
    "control": "who is in control from now on",
    "link": "the link to the board, up or down",
    "note": "a note that somebody wrote",
    "message": "a sentence for the person",
}
"""What `follow` brings, one JSON-RPC notification each: {"method": topic, "params": {...}}."""
