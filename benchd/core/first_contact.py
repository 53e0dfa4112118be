"""Who is at the other end of a port that was just opened, judged from the bytes it says.

Until a board has greeted there is nothing to go by but these bytes: none at all, whole lines of
another version, text of some other device, or what a wrong speed makes of good lines. `judge` is a
pure function of what was counted; `sentence` says it to a person, with the counts.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from protocols.errors import FrameError, PeerError
from protocols.framing import LineDecoder
from protocols.limits import PROTOCOL
from protocols.messages import Bench, BoardMessage, decode

PATIENCE_NS = 4_000_000_000
"""Time for a board that restarts when its port is opened: common boot loaders take up to 2 s."""

AGAIN_NS = 2_000_000_000
"""Time between two later looks: a board may be switched on after its adapter."""

TEXT_SHARE_MIN = 0.9
"""From this share of text on, bytes are some device's text. A wrong speed gives at most 0.81 of it,
as the tests compute bit by bit for the usual speeds."""

JUDGED_BYTES_MIN = 12
"""Fewer bytes than this say nothing about their sender: an adapter or a reset makes as many."""

SHOWN = 32
"""Most characters of strange text that a sentence shows."""

_TEXT = frozenset(range(0x20, 0x7F)) | frozenset(b"\t\r\n\x1b\b")

NOTHING = "nothing"
ECHO = "echo"
DEAF = "deaf"
VERSION = "version"
OTHER = "other"
SPEED = "speed"


class Heard(msgspec.Struct, frozen=True):
    """What came since the port was opened, in numbers."""

    size: int = 0
    """Bytes in all."""
    text: int = 0
    """Of these printable signs, blanks, line ends, and what terminals use."""
    good: int = 0
    """Lines that a board of ours says."""
    echoes: int = 0
    """Lines that only this side says."""
    whole: int = 0
    """Lines with the right check value that mean nothing in our version."""
    bad: int = 0
    """Lines that fail the check."""
    version: int | None = None
    """The version that a greeting among the whole lines names."""
    sample: str = ""
    """The first line that fails the check, as text."""


def judge(heard: Heard) -> str:
    """Return who is there; only asked while nobody greeted in our version.

    One whole line is proof, since chance makes one in 65536; text and garbage are told apart by
    their share of printable signs.
    """
    if heard.version is not None or heard.whole:
        return VERSION
    if heard.good:
        return DEAF
    if heard.echoes and not heard.bad:
        return ECHO
    if heard.size < JUDGED_BYTES_MIN:
        return NOTHING
    return OTHER if heard.text >= TEXT_SHARE_MIN * heard.size else SPEED


class Place(msgspec.Struct, frozen=True):
    """Where and for how long was listened: port, speed [bit/s; 0 not known], time [s]."""

    port: str
    baud: int
    seconds: float


def _nothing(heard: Heard, at: Place) -> str:
    what = f"only {_count(heard.size, 'byte')}" if heard.size else "nothing"
    return (
        f"Nothing answers on {at.port}: {what} came in {at.seconds:.0f} s, so the board may have "
        "no power or no firmware, or the cable carries no data; look at both, and at 'benchd "
        "ports' for another port."
    )


def _echo(heard: Heard, at: Place) -> str:
    return (
        f"Only our own words come back on {at.port} ({_count(heard.echoes, 'line')}): its two "
        "data wires touch, or another device repeats what it hears; look at the wiring, and at "
        "'benchd ports' for the board's port."
    )


def _deaf(heard: Heard, at: Place) -> str:
    return (
        f"The board on {at.port} talks but does not hear us ({_count(heard.good, 'good line')}, "
        "no greeting): the wire that carries our words to it is broken or in the wrong place; "
        "look at the board's receiving pin."
    )


def _version(heard: Heard, at: Place) -> str:
    if heard.version is None:
        return (
            f"What answers on {at.port} speaks another version of the protocol, this program "
            f"version {PROTOCOL} ({_count(heard.whole, 'whole line')}, none understood), so "
            "nothing moves: use the board's firmware and the benchd of one release."
        )
    return other_version(at.port, heard.version)


def other_version(port: str, version: int) -> str:
    """Return the sentence for a board that greets in another version of the protocol."""
    update = "benchd" if version > PROTOCOL else "the board's firmware"
    return (
        f"The board on {port} speaks version {version} of the protocol, this program "
        f"version {PROTOCOL}, so nothing moves: update {update}."
    )


def _other(heard: Heard, at: Place) -> str:
    return (
        f"Something else than a bench board answers on {at.port} ({_count(heard.size, 'byte')} of "
        f"text, {_count(heard.bad, 'line')}, none of ours; it says '{heard.sample}'): another "
        "device, or a board with other firmware; see 'benchd ports' for the board's port."
    )


def _speed(heard: Heard, at: Place) -> str:
    speed = f" at {at.baud} bit/s" if at.baud else ""
    return (
        f"What comes on {at.port} cannot be read{speed} ({_count(heard.size, 'byte')}, "
        f"{(heard.size - heard.text) / heard.size * 100:.0f} % of them no text): the board speaks "
        "at another speed, or the ground wire is missing; set 'baud' in the bench card to the "
        "speed of the board's firmware."
    )


_SAY: dict[str, Callable[[Heard, Place], str]] = {
    NOTHING: _nothing,
    ECHO: _echo,
    DEAF: _deaf,
    VERSION: _version,
    OTHER: _other,
    SPEED: _speed,
}


def sentence(verdict: str, heard: Heard, at: Place) -> str:
    """Return a verdict of `judge` as one sentence: what was heard, what it means, what to do."""
    return _SAY[verdict](heard, at)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


class FirstContact:
    """Listens to a port from its opening until somebody greets; tells each verdict once."""

    def __init__(self, port: str, baud: int, now_ns: int) -> None:
        self.heard = Heard()
        self.due_ns = now_ns + PATIENCE_NS
        self._port = port
        self._baud = baud
        self._opened_ns = now_ns
        self._told: set[str] = set()
        self._decoder = LineDecoder()
        self._rest = b""

    @property
    def told(self) -> bool:
        """Whether a verdict was told."""
        return bool(self._told)

    def hear(self, data: bytes) -> None:
        """Take bytes as they came."""
        heard = self.heard
        good, echoes, whole, bad = heard.good, heard.echoes, heard.whole, heard.bad
        version, sample = heard.version, heard.sample
        for item in self._decoder.feed(data):
            if isinstance(item, FrameError):
                bad += 1
                sample = sample or _shown(item.line)
                continue
            try:
                message = decode(item)
            except PeerError:
                whole += 1
                version = version if version is not None else _version_of(item)
                continue
            if isinstance(message, Bench) and message.protocol != PROTOCOL:
                whole += 1
                version = message.protocol
            elif isinstance(message, BoardMessage):
                good += 1
            else:
                echoes += 1
        if not sample and not bad:
            self._rest = (self._rest + data)[:SHOWN]
        self.heard = Heard(
            size=heard.size + len(data),
            text=heard.text + sum(sign in _TEXT for sign in data),
            good=good,
            echoes=echoes,
            whole=whole,
            bad=bad,
            version=version,
            sample=sample,
        )

    def look(self, now_ns: int) -> str:
        """Return a sentence when there is something new to tell, else an empty text."""
        self.due_ns = now_ns + AGAIN_NS
        heard = self.heard
        verdict = judge(heard)
        if verdict in self._told:
            return ""
        self._told.add(verdict)
        if not heard.sample:
            heard = msgspec.structs.replace(heard, sample=_shown(self._rest))
        seconds = (now_ns - self._opened_ns) / 1e9
        return sentence(verdict, heard, Place(self._port, self._baud, seconds))


def _version_of(body: bytes) -> int | None:
    """Return the version that a greeting of any version names: `bench`, then a number."""
    words = body.split(b" ", 2)
    if len(words) > 1 and words[0] == b"bench" and words[1].isdigit() and len(words[1]) <= 2:
        return int(words[1])
    return None


def _shown(line: bytes) -> str:
    text = "".join(chr(sign) if 0x20 <= sign < 0x7F else " " for sign in line)
    return " ".join(text.split())[:SHOWN]
