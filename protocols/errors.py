"""What can go wrong on the wire, and whose fault it is."""

from __future__ import annotations


class WireError(ValueError):
    """A line or message breaks SPEC.md; the text says in one sentence how."""


class FrameError(WireError):
    """Bytes that are no line of ours: wrong check value, too long, not printable ASCII.

    `reason` is a stable word for counting: "check", "long", "characters" or "short".
    """

    def __init__(self, reason: str, text: str, line: bytes = b"") -> None:
        super().__init__(text)
        self.reason = reason
        self.line = line


class PeerError(WireError):
    """A line with a good check value that the other side should not have sent."""


class OwnError(WireError):
    """A message that this side tried to build and that SPEC.md does not allow."""


class QueueFull(WireError):
    """More commands wait for the board than a session keeps; the new one was not taken."""
