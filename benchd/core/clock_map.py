"""Board time mapped to host time, with a stated error that holds.

Each lease and the beat after it are one exchange of times, which bounds the host time of one moment
of the board. The resonator of a small board may be off by half a percent, so two good exchanges, an
early and a late one, carry a straight line between them; since they bound the true line at two
places, they bound it everywhere.
"""

from __future__ import annotations

import msgspec
from msgspec.structs import replace

FOLD = 16
"""Exchanges of which the best becomes an anchor."""

ANCHORS = 16
WRAP_US = 1 << 32

DRIFT = 0.005
"""How far a resonator may be off (common practice)."""

FIT_SPAN_US = 3_000_000
"""Least time between the two exchanges that carry the line."""

AHEAD_US = 100_000
BACK_US = 1_000_000
"""The stated error holds this far past the newest exchange, when the next is due, and this far
before it even while there is no line."""

Exchange = tuple[int, int, int]
"""Board time in the middle [us, unwrapped], host time in the middle [ns], and how wide the host
time of that moment is bounded [ns]: the middle is off by at most half of it."""


def offset_and_delay(t1: float, t2: float, t3: float, t4: float) -> tuple[float, float]:
    """Return clock offset and round-trip delay of one exchange, in the unit given.

    Offset is ((t2-t1)+(t3-t4))/2, positive when the remote clock is ahead; delay is
    (t4-t1)-(t3-t2). The error of the offset is at most half the delay, whatever the asymmetry.

    Parameters: t1 : scalar [any time]; request left, local clock; t2, t3 : scalars; request came
    and answer left, remote clock; t4 : scalar; answer came, local clock.
    Source: RFC 5905, section 8.
    Example: offset_and_delay(10.0, 10.25, 10.27, 10.05) is (0.235, 0.03).
    """
    return ((t2 - t1) + (t3 - t4)) / 2, (t4 - t1) - (t3 - t2)


def unwrap(t_us: int, near_us: int) -> int:
    """Return the full board time whose low 32 bits are `t_us`, nearest to `near_us` [us].

    Source: none needed: counting modulo 2**32.
    """
    half = WRAP_US >> 1
    return near_us + (t_us - near_us + half) % WRAP_US - half


def since_s(t_us: int, from_us: int) -> float:
    """Return how long after one board time another one came, its low 32 bits given [s].

    Source: none needed: counting modulo 2**32.
    """
    return (unwrap(t_us, from_us) - from_us) / 1e6


class ClockMap(msgspec.Struct, frozen=True):
    """The line through two exchanges, or through one at rate 1, with what it was made from."""

    recent: tuple[Exchange, ...] = ()
    anchors: tuple[Exchange, ...] = ()
    early: Exchange | None = None
    """None while nothing far enough back is known: the rate is then taken as 1."""
    late: Exchange = (0, 0, 0)
    rate: float = 1.0
    error_ns: int | None = None
    """Stated error, from the early exchange (or BACK_US before the newest) until the next is due;
    None before the first."""

    def host_ns(self, board_us: int) -> int | None:
        """Return the host time of an unwrapped board time [ns], None before the first exchange."""
        if self.error_ns is None:
            return None
        return self.late[1] + round((board_us - self.late[0]) * 1000 * self.rate)


def add_exchange(clock: ClockMap, *, t1_ns: int, t2_us: int, t3_us: int, t4_ns: int) -> ClockMap:
    """Return the map with one more exchange. Board times are unwrapped [us], host times [ns].

    Source: the round trip bounds the offset, RFC 5905, section 8; a line within its bounds at two
    places is within them between (a rule of this project).
    """
    held_ns = (t3_us - t2_us) * 1000
    # How long the board held the answer is its own word, which may be off as well.
    width_ns = (t4_ns - t1_ns) - held_ns + round(abs(held_ns) * DRIFT)
    if held_ns < 0 or width_ns < 0:
        return clock  # A clock was set, or the answer was for another life: no evidence.
    new = ((t2_us + t3_us) // 2, (t1_ns + t4_ns) // 2, width_ns)
    until_us = t3_us + AHEAD_US
    recent, anchors = (*clock.recent, new), clock.anchors
    if len(recent) < FOLD and anchors:
        return replace(clock, recent=recent, error_ns=_error_ns(clock.early, clock.late, until_us))
    if len(recent) == FOLD:
        anchors, recent = (*anchors[-(ANCHORS - 1) :], min(recent, key=_width)), ()
    early, late, rate = _line(anchors, recent, until_us)
    return ClockMap(recent, anchors, early, late, rate, _error_ns(early, late, until_us))


def _width(exchange: Exchange) -> int:
    return exchange[2]


def _line(
    anchors: tuple[Exchange, ...], recent: tuple[Exchange, ...], until_us: int
) -> tuple[Exchange | None, Exchange, float]:
    """Return the exchanges that carry the line, and its rate (host time over board time)."""
    half = len(anchors) // 2
    if half:
        early, late = min(anchors[:half], key=_width), min(anchors[half:], key=_width)
        span_us = late[0] - early[0]
        rate = (late[1] - early[1]) / (span_us * 1000) if span_us >= FIT_SPAN_US else 0.0
        if abs(rate - 1) <= 2 * DRIFT:
            return early, late, rate
    near = min(anchors + recent, key=lambda exchange: _error_ns(None, exchange, until_us))
    return None, near, 1.0


def _error_ns(early: Exchange | None, late: Exchange, board_us: int) -> int:
    """Bound the error of the line at a board time, and anywhere between its two exchanges [ns]."""
    if early is None:
        return late[2] // 2 + 1 + round(max(board_us - late[0], BACK_US) * 1000 * DRIFT)
    part = (board_us - early[0]) / (late[0] - early[0])
    there = abs(part) * late[2] + abs(1 - part) * early[2]
    return round(max(there, early[2], late[2]) / 2) + 1
