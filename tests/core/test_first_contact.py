"""Who is at the other end of a port: every case, and garbage made bit by bit by a wrong speed."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchd.core import first_contact
from benchd.core.first_contact import (
    AGAIN_NS,
    DEAF,
    ECHO,
    NOTHING,
    OTHER,
    PATIENCE_NS,
    SPEED,
    VERSION,
    FirstContact,
    Heard,
    judge,
)
from protocols.framing import frame
from protocols.limits import PROTOCOL
from protocols.messages import Beat, Bench, Hello, encode

PORT = "/dev/serial/by-id/usb-board"


def greeting(protocol: int) -> bytes:
    board = Bench(protocol, "0.1.0", "abcdef12", "atm", 3, "power", 12, 0, 0, 0)
    return frame(encode(board))


def beat(t_us: int = 5_000_000) -> bytes:
    return frame(encode(Beat(17, t_us, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)))


def listening(data: bytes, baud: int = 250_000) -> FirstContact:
    contact = FirstContact(PORT, baud, 0)
    contact.hear(data)
    return contact


def heard(data: bytes) -> Heard:
    return listening(data).heard


def told(data: bytes) -> str:
    return listening(data).look(PATIENCE_NS)


CASES = [
    (b"", NOTHING, ("Nothing answers", "nothing came in 4 s", "benchd ports")),
    (b"\0", NOTHING, ("only 1 byte came in 4 s",)),
    (frame(encode(Hello())) * 3, ECHO, ("Only our own words come back", "(3 lines)")),
    (greeting(PROTOCOL + 1), VERSION, (
        f"speaks version {PROTOCOL + 1}", f"this program version {PROTOCOL}",
        "nothing moves: update benchd.")),
    (greeting(0), VERSION, ("speaks version 0", "update the board's firmware.")),
    (frame(b"bench 7 something new entirely"), VERSION, ("speaks version 7", "update benchd.")),
    (frame(b"greetings 7") * 2, VERSION, ("another version", "2 whole lines, none understood")),
    (frame(b"bench of another kind"), VERSION, ("another version", "1 whole line,")),
    (b"login: \r\nPassword: \r\n", OTHER, ("Something else", "21 bytes of text, 2 lines",
                                           "it says 'login:'")),
    (b"no line end, yet it is text", OTHER, ("27 bytes of text, 0 lines", "'no line end, yet it")),
    (b"X" * 300, OTHER, ("1 line,", "XXXX")),
    (frame(encode(Hello())) + b"sh: hello: not found\n", OTHER, ("'sh: hello: not found'",)),
    (bytes(range(128, 256)), SPEED, (
        "cannot be read at 250000 bit/s", "128 bytes, 100 %", "'baud'")),
]  # fmt: skip


@pytest.mark.parametrize(("data", "verdict", "says"), CASES, ids=range(len(CASES)))
def test_each_case_has_its_sentence(data: bytes, verdict: str, says: tuple[str, ...]) -> None:
    assert judge(heard(data)) == verdict
    text = told(data)
    for part in says:
        assert part in text
    assert text.endswith(".")
    assert "\n" not in text


def test_a_board_that_talks_and_does_not_hear() -> None:
    text = told(beat() * 4)
    assert "does not hear us (4 good lines" in text
    assert judge(heard(beat())) == DEAF


def test_every_verdict_is_among_the_cases() -> None:
    assert {verdict for _, verdict, _ in CASES} | {DEAF} == set(first_contact._SAY)


def test_a_speed_that_is_not_known_is_not_told() -> None:
    contact = listening(bytes(range(128, 256)), baud=0)
    assert "cannot be read (128 bytes" in contact.look(PATIENCE_NS)


def test_each_verdict_is_told_once_and_a_new_one_again() -> None:
    contact = FirstContact(PORT, 250_000, 1_000)
    assert contact.due_ns == 1_000 + PATIENCE_NS
    assert not contact.told
    assert "Nothing answers" in contact.look(contact.due_ns)
    assert contact.told
    assert contact.due_ns == 1_000 + PATIENCE_NS + AGAIN_NS
    assert contact.look(contact.due_ns) == ""
    contact.hear(b"hello, here is a console\n")
    assert "Something else" in contact.look(contact.due_ns)
    assert contact.look(contact.due_ns) == ""


@settings(max_examples=20)
@given(st.lists(st.sampled_from([case[0] for case in CASES] + [beat()]), max_size=4), st.data())
def test_how_the_bytes_are_cut_changes_nothing(parts: list[bytes], data: st.DataObject) -> None:
    whole = b"".join(parts)
    cuts = sorted(data.draw(st.sets(st.integers(0, len(whole)), max_size=6)) | {0, len(whole)})
    piecewise = FirstContact(PORT, 250_000, 0)
    for start, end in pairwise(cuts):
        piecewise.hear(whole[start:end])
    assert piecewise.heard == heard(whole)
    assert piecewise.look(PATIENCE_NS) == told(whole)


@settings(max_examples=40)
@given(st.binary(max_size=300))
def test_any_bytes_give_one_printable_sentence(data: bytes) -> None:
    text = told(data)
    assert text.isascii()
    assert text.isprintable()


# What a wrong speed makes of good lines, sampled bit by bit as a UART does (8-N-1).


def bits_of(data: bytes, gaps: random.Random) -> list[int]:
    """Return the line's level bit by bit: idle 1, start 0, eight bits from the lowest, stop 1."""
    bits = [1] * 10
    for byte in data:
        bits += [0, *((byte >> at) & 1 for at in range(8)), 1]
        if byte == 0x0A:
            bits += [1] * gaps.randrange(20, 200)
    return bits + [1] * 20


def sampled(bits: list[int], sent_baud: int, read_baud: int) -> bytes:
    """Return what a receiver at another speed makes of a line; a missing stop bit gives 0, as the
    Linux terminal layer does when it neither ignores nor marks such bytes."""
    ratio = sent_baud / read_baud
    out = bytearray()
    at = 0.0
    while at < len(bits):
        if bits[int(at)]:
            at = float(int(at) + 1)
            continue
        places = [at + (place + 0.5) * ratio for place in range(10)]
        if places[-1] >= len(bits):
            break
        levels = [bits[int(place)] for place in places]
        value = sum(level << place for place, level in enumerate(levels[1:9]))
        out.append(value if levels[9] else 0)
        at += 9.5 * ratio
        while not levels[9] and at < len(bits) and not bits[int(at)]:
            at += 1.0
    return bytes(out)


SPEEDS = (9_600, 19_200, 38_400, 57_600, 115_200, 230_400, 250_000, 500_000, 1_000_000)


def test_the_right_speed_gives_the_same_bytes(seed: int) -> None:
    data = beat() * 10
    assert sampled(bits_of(data, random.Random(seed)), 250_000, 250_000) == data


@pytest.mark.parametrize("read_baud", SPEEDS)
@pytest.mark.parametrize("sent_baud", [115_200, 250_000])
def test_a_wrong_speed_is_told_as_one(sent_baud: int, read_baud: int, seed: int) -> None:
    if abs(sent_baud / read_baud - 1) < 0.1:
        return  # Within what a UART forgives, or nearly.
    chance = random.Random(seed)
    data = b"".join(beat(chance.randrange(2**32)) for _ in range(40))
    bytes_read = sampled(bits_of(data, chance), sent_baud, read_baud)
    counted = heard(bytes_read)
    assert judge(counted) == SPEED, (counted.text / max(counted.size, 1), bytes_read[:40])
