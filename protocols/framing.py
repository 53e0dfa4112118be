"""Lines on the wire: bytes in, message bodies out, and the reverse. No I/O here.

A line is `body SP check LF`: printable ASCII, at most LINE_BYTES_MAX bytes with the newline.
`check` is the CRC-16/IBM-3740 of the body as four upper-case hexadecimal digits. It is compared as
bytes and never parsed, since a lenient number parser takes `0x1f` or `1F ` for `001F` and so lets
damaged lines through.
"""

from __future__ import annotations

from binascii import crc_hqx

from protocols.errors import FrameError, OwnError
from protocols.limits import LINE_BYTES_MAX

_PRINTABLE = bytes(range(0x20, 0x7F))
_TAIL = 5  # a space and four digits


def check_value(body: bytes) -> int:
    """Return the CRC-16/IBM-3740 of `body`, 0 to 0xFFFF.

    Source: catalogue of parametrised CRC algorithms, poly 0x1021, init 0xFFFF, check value 0x29B1.
    Example: check_value(b"123456789") == 0x29B1.
    """
    return crc_hqx(body, 0xFFFF)


def frame(body: bytes) -> bytes:
    """Return the line that carries `body`, newline included.

    Raises: OwnError when the body is empty, not printable ASCII, or the line would be too long.
    """
    if not body or body.translate(None, _PRINTABLE):
        raise OwnError("A message body must be printable ASCII and not empty.")
    line = b"%b %04X\n" % (body, crc_hqx(body, 0xFFFF))
    if len(line) > LINE_BYTES_MAX:
        raise OwnError(f"A line of {len(line)} bytes is longer than {LINE_BYTES_MAX}.")
    return line


def unframe(line: bytes) -> bytes:
    """Return the body of one line given without its newline.

    Raises: FrameError with reason "short", "long", "characters" or "check".
    """
    if len(line) >= LINE_BYTES_MAX:
        raise FrameError(
            "long", f"A line is longer than {LINE_BYTES_MAX} bytes.", line[:LINE_BYTES_MAX]
        )
    if line.translate(None, _PRINTABLE):
        raise FrameError("characters", "A line has bytes that are not printable ASCII.", line)
    body = line[:-_TAIL]
    if not body or line[-_TAIL:-4] != b" ":
        raise FrameError("short", "A line is too short to carry a body and a check value.", line)
    if b"%04X" % crc_hqx(body, 0xFFFF) != line[-4:]:
        raise FrameError("check", "The check value of a line is wrong.", line)
    return body


class LineDecoder:
    """Cuts a stream of bytes into bodies; never holds more than one line.

    `feed` never raises: damage comes back as a FrameError in the list, in its place, so that the
    caller can count it. After an over-long line everything up to the next newline is dropped.
    """

    def __init__(self) -> None:
        self._rest = b""
        self._dropping = False

    @property
    def waiting_bytes(self) -> int:
        """Bytes of an unfinished line, at most LINE_BYTES_MAX."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[bytes | FrameError]:
        """Take bytes as they came; return the bodies and errors that they completed, in order."""
        pieces = (self._rest + data).split(b"\n")
        self._rest = pieces.pop()
        out: list[bytes | FrameError] = []
        if self._dropping and pieces:
            pieces.pop(0)
            self._dropping = False
        for piece in pieces:
            try:
                out.append(unframe(piece))
            except FrameError as error:
                out.append(error)
        if self._dropping:
            self._rest = b""
        elif len(self._rest) >= LINE_BYTES_MAX:
            out.append(
                FrameError(
                    "long",
                    f"A line is longer than {LINE_BYTES_MAX} bytes.",
                    self._rest[:LINE_BYTES_MAX],
                )
            )
            self._rest = b""
            self._dropping = True
        return out
