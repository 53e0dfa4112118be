"""The golden lines of protocols/vectors, which the firmware's tests read too."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import anycrc
import crccheck
import pytest

import protocols
from protocols.codec import Number
from protocols.errors import FrameError, PeerError
from protocols.framing import LineDecoder, frame
from protocols.messages import MESSAGES, decode, encode, values_of

FOLDER = Path(protocols.__file__).parent / "vectors"
FILES = sorted(path.stem for path in FOLDER.glob("*.txt"))


class Vector(NamedTuple):
    """A line with its newline, and its body or `!reason`."""

    line: bytes
    says: str


def vectors(name: str) -> list[Vector]:
    """The golden lines of one file."""
    rows = (FOLDER / f"{name}.txt").read_text("ascii").splitlines()
    return [Vector(bytes.fromhex(row.split("\t")[0]), row.split("\t")[1]) for row in rows]


def heard(pieces: list[bytes]) -> list[str]:
    """What a receiver makes of the bytes: bodies, and `!reason` for what it drops."""
    decoder = LineDecoder()
    said = []
    for piece in pieces:
        for item in decoder.feed(piece):
            if isinstance(item, FrameError):
                said.append(f"!{item.reason}")
                continue
            try:
                said.append(encode(decode(item)).decode("ascii"))
            except PeerError:
                said.append("!peer")
    return said


def test_there_is_a_file_for_every_message_and_one_for_damage() -> None:
    assert sorted([*MESSAGES, "damaged"]) == FILES


@pytest.mark.parametrize("name", FILES)
def test_golden_lines_are_heard_as_they_say(name: str) -> None:
    for line, says in vectors(name):
        assert heard([line]) == [says], line
        assert heard([bytes([byte]) for byte in line]) == [says], line
        assert heard([line + b"lea", b"se 17 9D21\n"]) == [says, "lease 17"], line


@pytest.mark.parametrize("name", FILES)
def test_good_lines_are_what_we_send(name: str) -> None:
    for line, says in vectors(name):
        if not says.startswith("!"):
            assert frame(encode(decode(says.encode()))) == line
            assert says.split(" ")[0] == name


@pytest.mark.parametrize("name", FILES)
def test_check_values_are_those_of_two_libraries(name: str) -> None:
    model = anycrc.Model("CRC16-IBM-3740")
    for line, says in vectors(name):
        body, _, digits = line.rstrip(b"\n").rpartition(b" ")
        if says.startswith("!") and says != "!peer":
            continue
        assert (
            digits == b"%04X" % model.calc(body) == b"%04X" % crccheck.crc.Crc16Ibm3740.calc(body)
        )


@pytest.mark.parametrize("tag", MESSAGES)
def test_every_number_stands_at_both_ends_and_just_outside(tag: str) -> None:
    bodies = [vector.says for vector in vectors(tag) if not vector.says.startswith("!")]
    lines = [vector.line for vector in vectors(tag) if vector.says.startswith("!")]
    messages = [decode(body.encode()) for body in bodies]
    for place, (name, field) in enumerate(MESSAGES[tag].fields):
        if isinstance(field, Number):
            values = {values_of(message)[place] for message in messages}
            assert {field.low, field.high} <= values, name
            refused = {line.split(b" ")[place + 1] for line in lines if line.count(b" ") > place}
            assert {b"%d" % (field.low - 1), b"%d" % (field.high + 1)} <= refused, name
    assert lines


def test_every_reason_stands_in_damaged() -> None:
    reasons = {vector.says for vector in vectors("damaged")}
    assert reasons == {"!check", "!long", "!characters", "!short", "!peer"}


@pytest.mark.parametrize(
    ("line", "says"),
    [
        # Check values computed one by one with crccheck 1.3.1 and anycrc 2.1.0.
        (b"hello D26E\n", "hello"),
        (b"stop 0 746D\n", "stop 0"),
        (b"stop 1 644C\n", "stop 1"),
        (b"lease 0 26AC\n", "lease 0"),
    ],
)
def test_lines_computed_by_hand_are_among_them(line: bytes, says: str) -> None:
    assert heard([line]) == [says]
    assert Vector(line, says) in vectors(says.split(" ")[0])
