"""The core's reading of lines: check values, framing, one spelling for each number."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from protocols.codec import Number
from protocols.errors import FrameError, PeerError
from protocols.framing import LineDecoder, frame
from protocols.messages import MESSAGES, BoardMessage, Command, HostMessage, decode
from sim.board import crc16, crc32, judge_body, judge_line
from tests.firmware.talk import Talk

VECTORS = sorted((Path(__file__).parents[2] / "protocols" / "vectors").glob("*.txt"))


def test_check_values_of_the_public_catalogue() -> None:
    """CRC-16/IBM-3740 and CRC-32/ISO-HDLC, check values of the catalogue of parametrised CRCs."""
    assert crc16(b"123456789") == 0x29B1
    assert crc32(b"123456789") == 0xCBF43926
    assert crc16(b"") == 0xFFFF
    assert crc32(b"") == 0


def _vectors() -> list[tuple[str, int, bytes, str]]:
    return [
        (path.stem, number, bytes.fromhex(line.split("\t")[0]), line.split("\t")[1])
        for path in VECTORS
        for number, line in enumerate(path.read_text("ascii").splitlines(), 1)
    ]


def test_golden_lines_read_as_python_reads_them() -> None:
    vectors = _vectors()
    assert len(vectors) > 300
    for name, number, line, expected in vectors:
        place = f"{name}:{number}"
        verdict, body = judge_line(line)
        if expected.startswith("!") and expected != "!peer":
            assert verdict == expected[1:], place
            continue
        assert verdict == "good", place
        if expected != "!peer":
            assert body.decode("ascii") == expected, place
        tag = body.split(b" ")[0].decode("ascii")
        if tag in MESSAGES and issubclass(MESSAGES[tag].cls, HostMessage):
            judged = judge_body(body)
            assert (judged.reason == 0) == (expected != "!peer"), place
            assert judged.code == MESSAGES[tag].cls.code, place


def _host_bodies() -> list[bytes]:
    """Bodies at, inside and outside the border of every field of every host line."""
    out = []
    for tag, spec in MESSAGES.items():
        if not issubclass(spec.cls, HostMessage):
            continue
        numbers = [field for _, field in spec.fields if isinstance(field, Number)]
        middle = [str(max(field.low, min(field.high, 7))) for field in numbers]
        for index, field in enumerate(numbers):
            low, high = field.low, field.high
            texts = [str(v) for v in (low - 1, low, low + 1, high - 1, high, high + 1, -1, 0, 1)]
            texts += [
                "99999999999",
                "-99999999999",
                "4294967296",
                "-0",
                "00",
                "01",
                "+1",
                "1.0",
                "",
            ]
            for text in texts:
                words = [*middle[:index], text, *middle[index + 1 :]]
                out.append(" ".join([tag, *words]).encode())
        plain = " ".join([tag, *middle])
        out += [plain.encode(), f"{plain} 1".encode(), f"{plain} ".encode()]
        out += [" ".join([tag, *middle[:-1]]).encode(), f" {plain}".encode(), tag.encode()]
    return out


def test_fields_are_judged_as_python_judges_them() -> None:
    for body in _host_bodies():
        try:
            message = decode(body)
        except PeerError:
            assert judge_body(body).reason != 0, body
            continue
        judged = judge_body(body)
        assert judged.reason == 0, body
        values = [getattr(message, name) for name in message.__struct_fields__]
        assert list(judged.fields[: len(values)]) == [v % 2**32 for v in values], body
        assert judged.id == (values[0] if isinstance(message, Command) else 0)


@pytest.mark.parametrize(
    ("body", "reason", "value", "bound"),
    [
        (b"set 5 0 1", 42, 2, 1),
        (b"set 5 100 1", 42, 2, 99),
        (b"set 5 1 -2147483648", 42, 3, -2147483647),
        (b"adopt 5 4294967296", 42, 2, 2147483647),
        (b"move 5 0 1000000 10 0", 42, 3, 999999),
        (b"move 5 0 1 9 0", 42, 4, 10),
        (b"move 5 0 1 09 0", 41, 0, 0),
        (b"move 5 0 1", 41, 0, 0),
        (b"move 5 0 1 10 0 0", 41, 0, 0),
        (b"dance 5 1", 55, 0, 0),
    ],
)
def test_faults_say_field_and_nearest(body: bytes, reason: int, value: int, bound: int) -> None:
    judged = judge_body(body)
    assert (judged.id, judged.reason, judged.value, judged.bound) == (5, reason, value, bound)


def test_damage_is_judged_as_python_judges_it(seed: int) -> None:
    """Any bytes give the verdict of the other implementation."""
    rng = random.Random(seed)
    for _ in range(1500):
        body = bytes(rng.randrange(0x20, 0x7F) for _ in range(rng.randrange(1, 92)))
        line = bytearray(frame(body) if len(body) < 91 else body + b"\n")
        for _ in range(rng.randrange(3)):
            at = rng.randrange(len(line))
            line[at : at + 1] = bytes(rng.randrange(256) for _ in range(rng.randrange(3)))
        if line.count(b"\n") != 1 or not line.endswith(b"\n"):
            continue
        (expected,) = LineDecoder().feed(bytes(line))
        verdict, got = judge_line(bytes(line))
        if isinstance(expected, FrameError):
            assert verdict == expected.reason, bytes(line)
        else:
            assert (verdict, got) == ("good", expected)


def test_a_long_line_goes_up_to_its_newline() -> None:
    talk = Talk()
    talk.run(20)
    talk.board.rx(b"x" * 300 + b"\n")
    talk.run(30)
    assert talk.beat().bad == 1
    talk.board.rx(b"stop\r 0\n" + b"\n")
    assert [talk.beat().bad, talk.board.steps] == [3, 0]


@pytest.mark.slow
def test_noise_never_acts(seed: int) -> None:
    """1e5 lines of noise, of every sort that a wire or a wrong program makes: nothing happens."""
    rng = random.Random(seed)
    talk = Talk().wake()
    talk.run(200)
    before = talk.beat()
    tags = [t.encode() for t, s in MESSAGES.items() if not issubclass(s.cls, BoardMessage)]
    tags.remove(b"stop")
    counted = before.bad
    for _ in range(10_000):
        # Whole lines at a time, so that the leases between them stay whole too.
        lines = b"".join(_noise(rng, tags) for _ in range(10))
        talk.board.rx(lines)
        talk.run(1 + len(lines) * 0.04)
        counted = (counted + 10) % 65536
    talk.run(50)
    after = talk.beat()
    assert after.bad == counted
    assert (after.position, after.mode, after.latches, after.pins) == (
        before.position, before.mode, before.latches, before.pins,
    )  # fmt: skip
    assert talk.board.steps == 0
    assert [edge.valve_on for edge in talk.board.edges()] == [False]


def _noise(rng: random.Random, tags: list[bytes]) -> bytes:
    """One line that must be counted as bad, newline included."""
    kind = rng.randrange(4)
    if kind == 0:
        line = bytes(rng.randrange(256) for _ in range(rng.randrange(90)))
        return line.replace(b"\n", b"\0") + b"\n"
    body = rng.choice(tags) + b" " + str(rng.randrange(1 << rng.randrange(1, 33))).encode()
    if kind == 1:
        good = bytearray(frame(body))
        at = rng.randrange(len(good) - 1)
        good[at] ^= 1 << rng.randrange(7)
        return bytes(good).replace(b"\n", b"\0", good.count(b"\n") - 1)
    if kind == 2:
        return body + b"\n"
    # A good check value over a body that nobody may act on: no number can be read.
    text = bytes(rng.randrange(0x21, 0x7F) for _ in range(rng.randrange(1, 30)))
    return frame(text.replace(b"stop", b"pots") + b" x")
