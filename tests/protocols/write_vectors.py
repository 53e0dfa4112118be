"""Writes the golden lines of protocols/vectors: `python -m tests.protocols.write_vectors`.

Run it for a new message, or after a change of SPEC.md that means to change lines; otherwise the
files stay as they are, since a golden line that follows the code proves nothing. The check values
come from a library that shares no code with ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import anycrc

import protocols
from protocols.codec import Number
from protocols.limits import LINE_BYTES_MAX
from protocols.messages import MESSAGES, Message, Spec, values_of
from tests.protocols.strategies import ends, plain

FOLDER = Path(protocols.__file__).parent / "vectors"
_MODEL = anycrc.Model("CRC16-IBM-3740")


def line_of(body: bytes) -> bytes:
    """The line of a body, with the check value of an outside library."""
    return b"%b %04X\n" % (body, _MODEL.calc(body))


def body_of(message: Message) -> bytes:
    """The body of a message, written down without our encoder."""
    return " ".join([message.tag, *map(str, values_of(message))]).encode("ascii")


def good(spec: Spec) -> Iterator[bytes]:
    """Bodies that are allowed: the middle, then each number alone at either end, then all."""
    middle = plain(spec)
    yield body_of(middle)
    for place, (_, field) in enumerate(spec.fields):
        if isinstance(field, Number):
            for value in (field.low, field.high):
                values = [*values_of(middle)]
                values[place] = value
                yield body_of(spec.cls(*values))
    for message in ends(spec):
        yield body_of(message)


def refused(spec: Spec) -> Iterator[bytes]:
    """Bodies not allowed: each number just outside and misspelt, and fields too few or many."""
    words = body_of(plain(spec)).split(b" ")
    for place, (_, field) in enumerate(spec.fields, 1):
        if isinstance(field, Number):
            texts = [b"%d" % (field.low - 1), b"%d" % (field.high + 1)]
            texts += [b"+1", b"01", b"-0", b"1_0", b"0x1", b"1.0", b"99999999999", b"x"]
        else:
            texts = [b"a_b", b'"a"', b"x" * (field.length + 1)]
        for text in texts:
            yield b" ".join([*words[:place], text, *words[place + 1 :]])
    yield b" ".join(words) + b" "
    yield b" ".join(words) + b" 1"
    yield b"  ".join(words) + (b" " if len(words) == 1 else b"")
    if spec.fields:
        yield b" ".join(words[:-1])
        yield words[0]


def damaged() -> Iterator[tuple[bytes, str]]:
    """Lines that are none, each with its reason."""
    line = line_of(b"lease 17")
    yield line.lower(), "check"
    yield line.replace(b"17", b"18"), "check"
    yield line.replace(b"17", b"71"), "check"
    yield line.replace(b"9D21", b"9D12"), "check"
    yield line.replace(b" 9", b"  9"), "check"
    yield line.replace(b"lease", b"Lease"), "check"
    yield line.replace(b"lease 17", b"lease 17 9D21"), "check"
    yield line[1:], "check"
    yield b"lease 1\n", "short"
    yield line.replace(b"9D21", b"0x9D21"), "short"
    yield line.replace(b"9D21", b"9D21 "), "short"
    yield line.replace(b"9D21", b"D21"), "short"
    yield line.replace(b" 9", b"9"), "short"
    yield line.replace(b"\n", b"\r\n"), "characters"
    yield line.replace(b" 17", b"\t17"), "characters"
    yield line.replace(b"17", b"\x0017"), "characters"
    yield b"\xff" + line, "characters"
    yield b"\x7f" + line, "characters"
    yield "leasé 17 9D21\n".encode(), "characters"
    yield b"\n", "short"
    yield b"9D21\n", "short"
    yield b" FFFF\n", "short"
    yield line_of(b"x" * (LINE_BYTES_MAX - 6)), "peer"
    yield line_of(b"x" * (LINE_BYTES_MAX - 5)), "long"
    yield line_of(b"x" * 300), "long"
    yield b"\xff" * LINE_BYTES_MAX + b"\n", "long"
    for body in (b"nothing", b"Lease 17", b"leas 17", b" lease 17", b"lease17", b"17", b" "):
        yield line_of(body), "peer"


def main() -> None:
    """Write every file."""
    FOLDER.mkdir(exist_ok=True)
    for tag, spec in MESSAGES.items():
        rows = [(line_of(body), body.decode("ascii")) for body in dict.fromkeys(good(spec))]
        for body in dict.fromkeys(refused(spec)):
            line = line_of(body)
            rows.append((line, "!long" if len(line) > LINE_BYTES_MAX else "!peer"))
        _write(tag, rows)
    _write("damaged", [(line, f"!{reason}") for line, reason in damaged()])


def _write(name: str, rows: list[tuple[bytes, str]]) -> None:
    text = "".join(f"{line.hex()}\t{says}\n" for line, says in rows)
    (FOLDER / f"{name}.txt").write_text(text, "ascii")


if __name__ == "__main__":
    main()
