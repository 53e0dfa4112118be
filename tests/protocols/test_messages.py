"""Every message there and back: one spelling for each value, or no message."""

from __future__ import annotations

import random
import string
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from protocols.codec import Number, Word
from protocols.errors import OwnError, PeerError
from protocols.messages import (
    BY_CODE,
    MESSAGES,
    Bench,
    BoardMessage,
    Command,
    Event,
    Hello,
    HostMessage,
    Lease,
    Message,
    Spec,
    decode,
    encode,
    values_of,
)
from tests.protocols.strategies import ANY_MESSAGE, ends, messages_of, plain

TAGS = pytest.mark.parametrize("tag", MESSAGES)
NUMBERS = [
    (tag, place)
    for tag, spec in MESSAGES.items()
    for place, (_, field) in enumerate(spec.fields)
    if isinstance(field, Number)
]
WORDS = [
    (tag, place)
    for tag, spec in MESSAGES.items()
    for place, (_, field) in enumerate(spec.fields)
    if isinstance(field, Word)
]


def spelled(spec: Spec, place: int, text: str) -> bytes:
    """The body of a plain message with one field written as `text`."""
    words = encode(plain(spec)).decode().split(" ")
    words[place + 1] = text
    return " ".join(words).encode("utf-8")


# There and back.


@TAGS
@settings(max_examples=25)
@given(data=st.data())
def test_a_message_comes_back_from_its_body(tag: str, data: st.DataObject) -> None:
    message = data.draw(messages_of(MESSAGES[tag]))
    body = encode(message)
    assert decode(body) == message
    assert type(decode(body)) is MESSAGES[tag].cls
    assert encode(decode(body)) == body
    assert body.split(b" ")[0] == tag.encode()


@TAGS
def test_both_ends_of_every_range_come_back(tag: str) -> None:
    for message in ends(MESSAGES[tag]):
        assert decode(encode(message)) == message


def test_the_examples_of_the_docstrings() -> None:
    assert decode(b"lease 17") == Lease(17)
    assert encode(Lease(17)) == b"lease 17"
    assert values_of(Lease(17)) == (17,)


# One spelling.


@pytest.mark.parametrize(("tag", "place"), NUMBERS)
def test_a_number_has_one_spelling(tag: str, place: int) -> None:
    spec = MESSAGES[tag]
    value = str(values_of(plain(spec))[place])
    spellings = [
        "+1", "01", "00", "-0", "-01", "0_1", "1_0", "1.0", "1e1", "0x1", "0b1", "1L", "", " 1",
        "1 ", "\t1", "1\t", "\x0b1", "\x001", "1\x00", "١", "１", "²", "½", "true", "null", "NaN",
        '"1"', "[1]", "1,1", "--1", "- 1", "1-", "Infinity", f"+{value}", f"0{value}", f"{value}.0",
        f"{value}_0", f"{value}e0", f"{value} ", f"{value},",
    ]  # fmt: skip
    for text in spellings:
        with pytest.raises(PeerError):
            decode(spelled(spec, place, text))


@pytest.mark.parametrize(("tag", "place"), NUMBERS)
def test_a_number_outside_its_range_is_refused_both_ways(tag: str, place: int) -> None:
    spec = MESSAGES[tag]
    name, field = spec.fields[place]
    assert isinstance(field, Number)
    for value in (field.low - 1, field.high + 1, -(2**70), 2**70, 10**60):
        with pytest.raises(PeerError):
            decode(spelled(spec, place, str(value)))
        values = [*values_of(plain(spec))]
        values[place] = value
        with pytest.raises(OwnError, match=f"'{tag}' cannot carry {name} {value}: "):
            encode(spec.cls(*values))


@pytest.mark.parametrize(("tag", "place"), WORDS)
def test_a_word_is_letters_digits_point_and_hyphen(tag: str, place: int) -> None:
    spec = MESSAGES[tag]
    _, field = spec.fields[place]
    assert isinstance(field, Word)
    for text in (
        "",
        "a b",
        "a_b",
        'a"',
        'a","b',
        "a\\u0041",
        "é",
        "a\n",
        "\x00",
        "x" * (field.length + 1),
    ):
        with pytest.raises(PeerError):
            decode(spelled(spec, place, text))
        values: list[Any] = [*values_of(plain(spec))]
        values[place] = text
        with pytest.raises(OwnError):
            encode(spec.cls(*values))


@TAGS
def test_fields_missing_or_left_over_are_refused(tag: str) -> None:
    body = encode(plain(MESSAGES[tag]))
    wrong = [
        body + b" ",
        body + b" 1",
        body + b"\n",
        b" " + body,
        body.replace(b" ", b"  ", 1) + b" ",
    ]
    if MESSAGES[tag].fields:
        wrong += [body.rpartition(b" ")[0], body.rpartition(b" ")[0] + b" ", tag.encode()]
    for other in wrong:
        with pytest.raises(PeerError):
            decode(other)


@pytest.mark.parametrize(
    "body", [b"", b" ", b"Lease 17", b"LEASE 17", b"leas 17", b"leases 17", b"\xff"]
)
def test_an_unknown_first_word_is_refused(body: bytes) -> None:
    with pytest.raises(PeerError, match="first word"):
        decode(body)


@pytest.mark.parametrize(
    ("message", "sentence"),
    [
        (Lease(None), "cannot carry nonce None: it goes from 0 to 65535"),  # type: ignore[arg-type]
        (Lease(1.5), "cannot carry nonce 1.5"),  # type: ignore[arg-type]
        (Lease("7 8"), "cannot carry nonce 7 8"),  # type: ignore[arg-type]
        (Lease("17"), "its line cannot carry"),  # type: ignore[arg-type]
        (Bench(1, "ä", "b", "c", 0, "d", 0, 0, 0, 0), "fields that SPEC.md does not allow"),
    ],
)
def test_a_message_of_the_wrong_type_is_not_sent(message: Message, sentence: str) -> None:
    with pytest.raises(OwnError, match=sentence):
        encode(message)


# Whatever comes.


@pytest.mark.slow
@given(st.binary(max_size=90))
@example(b"lease [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[")
@example(b'bench 1 "a" b c 3 power 17 0 0 0')
@example(b"bench 1 \xff b c 3 power 17 0 0 0")
def test_random_bytes_raise_nothing_but_peer_error(noise: bytes) -> None:
    for body in (noise, *(tag.encode() + b" " + noise for tag in MESSAGES)):
        try:
            message = decode(body)
        except PeerError:
            continue
        assert encode(message) == body


@pytest.mark.slow
def test_damaged_bodies_are_refused_or_have_that_one_spelling(seed: int) -> None:
    """Bodies with a few characters changed: what is accepted is written back byte for byte."""
    chance = random.Random(seed)
    alphabet = (string.digits + '+-_. eE,"[]').encode() + bytes([0, 9, 0x80, 0xD9])
    accepted = 0
    for _ in range(300):
        for spec in MESSAGES.values():
            body = bytearray(encode(plain(spec)))
            for _ in range(chance.randint(1, 2)):
                body[chance.randrange(len(body))] = chance.choice(alphabet)
            try:
                assert encode(decode(bytes(body))) == body
                accepted += 1
            except PeerError:
                pass
    assert accepted > 100


# The table.


def test_tags_and_codes_are_short_and_unique() -> None:
    assert len(BY_CODE) == len(MESSAGES)
    for tag, spec in MESSAGES.items():
        assert spec.cls.tag == tag
        assert tag.isascii()
        assert tag.isalpha()
        assert tag.islower()
        assert 0 < spec.cls.code < 256
        assert BY_CODE[spec.cls.code] is spec


def test_every_class_belongs_to_one_side_and_says_what_it_is_for() -> None:
    for spec in MESSAGES.values():
        assert issubclass(spec.cls, HostMessage) != issubclass(spec.cls, BoardMessage)
        assert spec.cls.__doc__
        assert spec.cls.__doc__.splitlines()[0].endswith(".")
        names = [name for name, _ in spec.fields]
        assert (names[:1] == ["id"] and "taken" not in names) == issubclass(spec.cls, Command)
        assert (names[:2] == ["event", "t_us"]) == issubclass(spec.cls, Event)
    assert not MESSAGES["hello"].fields
    assert decode(b"hello") == Hello()


@settings(max_examples=30)
@given(ANY_MESSAGE)
def test_messages_are_values(message: Message) -> None:
    assert hash(message) == hash(decode(encode(message)))
    with pytest.raises(AttributeError):
        message.tag = "other"  # type: ignore[misc]
