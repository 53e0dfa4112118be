"""Lines on the wire: what is let through, what is refused, and that damage never spreads."""

from __future__ import annotations

import json
import random
from pathlib import Path

import anycrc
import crccheck
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from protocols.errors import FrameError, OwnError
from protocols.framing import LineDecoder, check_value, frame, unframe
from protocols.limits import LINE_BYTES_MAX
from protocols.messages import MESSAGES, Message, encode
from tests.protocols.strategies import ANY_MESSAGE, ends, plain

CATALOGUE = Path(__file__).parent.parent / "data" / "crc-check-values.json"
REASONS = {"check", "long", "characters", "short"}
Items = list[bytes | FrameError]


def shown(items: Items) -> list[bytes | tuple[str, bytes]]:
    """Items that can be compared: errors as reason and line."""
    return [item if isinstance(item, bytes) else (item.reason, item.line) for item in items]


def fed(pieces: list[bytes]) -> Items:
    decoder = LineDecoder()
    return [item for piece in pieces for item in decoder.feed(piece)]


# The check value.


def test_check_value_is_that_of_the_catalogue() -> None:
    # Source: catalogue of parametrised CRC algorithms, in the file with its own source line.
    catalogue = json.loads(CATALOGUE.read_text())
    (ours,) = [row for row in catalogue["models"] if row["name"] == "CRC-16/IBM-3740"]
    assert check_value(catalogue["input_ascii"].encode()) == int(ours["check"], 16) == 0x29B1


@settings(max_examples=50)
@given(st.binary(max_size=LINE_BYTES_MAX))
def test_check_value_agrees_with_two_libraries(body: bytes) -> None:
    expected = anycrc.Model("CRC16-IBM-3740").calc(body)
    assert check_value(body) == expected
    assert check_value(body) == crccheck.crc.Crc16Ibm3740.calc(body)


def test_other_sixteen_bit_models_of_the_catalogue_differ() -> None:
    """So that the test above could fail if the model were another."""
    catalogue = json.loads(CATALOGUE.read_text())
    same = [row["name"] for row in catalogue["models"] if int(row["check"], 16) == 0x29B1]
    assert same == ["CRC-16/IBM-3740"]


# One line.


def test_the_example_of_the_specification() -> None:
    assert frame(b"lease 17") == b"lease 17 9D21\n"
    assert unframe(b"lease 17 9D21") == b"lease 17"


@settings(max_examples=30)
@given(ANY_MESSAGE)
def test_a_framed_message_comes_back(message: Message) -> None:
    body = encode(message)
    assert unframe(frame(body)[:-1]) == body


@pytest.mark.parametrize("body", [b"", b"a\nb", b"a\rb", b"\x7f", b"\x80", "é".encode(), b"\x1f"])
def test_a_body_that_is_not_printable_is_never_sent(body: bytes) -> None:
    with pytest.raises(OwnError, match="printable ASCII"):
        frame(body)


def test_the_longest_line_is_sent_and_one_byte_more_is_not() -> None:
    longest = b"x" * (LINE_BYTES_MAX - 6)
    assert len(frame(longest)) == LINE_BYTES_MAX
    assert unframe(frame(longest)[:-1]) == longest
    with pytest.raises(OwnError, match="longer than 96"):
        frame(longest + b"x")


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"", "short"),
        (b"9D21", "short"),
        (b" FFFF", "short"),
        (b"lease 179D21", "short"),
        (b"lease 17 9d21", "check"),
        (b"lease 17 9D22", "check"),
        (b"lease 17  9D21", "check"),
        (b"lease 17 0x9D21", "short"),
        (b"lease 17 9D21 ", "short"),
        (b"lease 17 9D21\r", "characters"),
        (b"lease 17\x009D21", "characters"),
        (b"\xfflease 17 9D21", "characters"),
        (b"x" * LINE_BYTES_MAX, "long"),
    ],
)
def test_a_line_is_refused_for_its_reason(line: bytes, reason: str) -> None:
    with pytest.raises(FrameError) as caught:
        unframe(line)
    assert caught.value.reason == reason
    assert caught.value.line == line[:LINE_BYTES_MAX]


@pytest.mark.parametrize("digits", [b"00AB", b"0A1B"])
def test_leading_zeros_of_a_check_value_are_kept(digits: bytes) -> None:
    wanted = int(digits, 16)
    bodies = (b"x %d" % number for number in range(200_000))
    body = next(body for body in bodies if check_value(body) == wanted)
    assert frame(body) == body + b" " + digits + b"\n"
    assert unframe(body + b" " + digits) == body
    with pytest.raises(FrameError):
        unframe(body + b" " + digits.replace(b"0", b" ", 1))


@pytest.mark.slow
def test_no_single_flipped_bit_is_let_through(seed: int) -> None:
    """Every bit of lines of 40 bytes, check digits included."""
    chance = random.Random(seed)
    for _ in range(60):
        body = bytes(chance.choice(b"0123456789 abcdef") for _ in range(34))
        line = frame(body)[:-1]
        for place in range(len(line) * 8):
            damaged = bytearray(line)
            damaged[place // 8] ^= 1 << place % 8
            for item in fed([bytes(damaged) + b"\n"]):
                assert isinstance(item, FrameError), (line, place)


# A stream.


@pytest.mark.parametrize("tag", MESSAGES)
def test_three_ways_to_feed_give_the_same(tag: str) -> None:
    spec = MESSAGES[tag]
    for message in (*ends(spec), plain(spec)):
        body = encode(message)
        line = frame(body)
        tail = b"beat 1 2"
        assert fed([line]) == [body]
        assert fed([bytes([byte]) for byte in line]) == [body]
        decoder = LineDecoder()
        assert decoder.feed(line + tail) == [body]
        assert decoder.waiting_bytes == len(tail)


@pytest.mark.slow
@given(st.lists(st.binary(max_size=150), max_size=6), st.data())
def test_how_bytes_are_cut_makes_no_difference(pieces: list[bytes], data: st.DataObject) -> None:
    whole = b"\n".join(pieces)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(whole)), max_size=8)))
    parts = [whole[a:b] for a, b in zip([0, *cuts], [*cuts, len(whole)], strict=True)]
    by_byte = fed([bytes([byte]) for byte in whole])
    assert shown(fed([whole])) == shown(fed(parts)) == shown(by_byte)


@given(st.binary(max_size=400))
@example(b"x" * 96)
@example(b"x" * 95 + b"\n")
@example(b"x" * 300 + b"\nlease 17 9D21\n")
def test_random_bytes_give_bodies_or_documented_errors(data: bytes) -> None:
    decoder = LineDecoder()
    for item in decoder.feed(data):
        if isinstance(item, bytes):
            assert frame(item)[:-1] in data
        else:
            assert item.reason in REASONS
            assert len(item.line) <= LINE_BYTES_MAX
    assert decoder.waiting_bytes < LINE_BYTES_MAX


@settings(max_examples=30)
@given(st.binary(max_size=300), ANY_MESSAGE)
def test_a_good_line_after_any_garbage_and_a_newline_is_heard(
    garbage: bytes, message: Message
) -> None:
    body = encode(message)
    assert fed([garbage, b"\n" + frame(body)])[-1] == body


def test_an_endless_line_is_told_once_and_never_kept() -> None:
    decoder = LineDecoder()
    items = [item for _ in range(1000) for item in decoder.feed(b"x" * 70)]
    assert shown(items) == [("long", b"x" * LINE_BYTES_MAX)]
    assert decoder.waiting_bytes == 0
    assert decoder.feed(b"x\nlease 17 9D21\nle") == [b"lease 17"]
    assert decoder.waiting_bytes == 2
