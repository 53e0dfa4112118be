"""Board time mapped to host time, with a stated error.

Each lease and the beat after it are one exchange of times. The resonator of a small board may be
off by half a percent, so offset alone is not enough: of every 16 exchanges the one with the
shortest trip is kept as an anchor, and the rate is fitted to the anchors.
"""

from __future__ import annotations

import msgspec

FOLD = 16
"""Exchanges of which the best becomes an anchor."""

ANCHORS = 16
WRAP_US = 1 << 32

DOUBT_UNFITTED = 0.005
"""How far a resonator may be off before its rate is fitted (common practice)."""

DOUBT_FITTED = 0.0001
FIT_SPAN_US = 3_000_000

Exchange = tuple[int, int, int]
"""Board time in the middle [us, unwrapped], host time in the middle [ns], delay [ns]."""


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
    """Return the full board time whose low 32 bits are `t_us`, nearest to `near_us` [us]."""
    half = WRAP_US >> 1
    return near_us + (t_us - near_us + half) % WRAP_US - half


class ClockMap(msgspec.Struct, frozen=True):
    """host_ns = host0_ns + (board_us - board0_us) * 1000 * rate, with what it was made from."""

    recent: tuple[Exchange, ...] = ()
    anchors: tuple[Exchange, ...] = ()
    board0_us: int = 0
    host0_ns: int = 0
    rate: float = 1.0
    fitted: bool = False
    error_ns: int | None = None
    """Stated error at the newest exchange; None before the first."""

    def host_ns(self, board_us: int) -> int | None:
        """Return the host time of an unwrapped board time [ns], None before the first exchange."""
        if self.error_ns is None:
            return None
        return self.host0_ns + round((board_us - self.board0_us) * 1000 * self.rate)


def add_exchange(clock: ClockMap, *, t1_ns: int, t2_us: int, t3_us: int, t4_ns: int) -> ClockMap:
    """Return the map with one more exchange. Board times are unwrapped [us], host times [ns]."""
    delay_ns = (t4_ns - t1_ns) - (t3_us - t2_us) * 1000
    if delay_ns < 0:
        return clock  # A clock was set, or the answer was for another life: no evidence.
    new = ((t2_us + t3_us) // 2, (t1_ns + t4_ns) // 2, delay_ns)
    recent = (*clock.recent, new)
    if len(recent) < FOLD and clock.anchors:
        error_ns = _error_ns(clock.anchors[-1], new, clock.fitted)
        return ClockMap(
            recent,
            clock.anchors,
            clock.board0_us,
            clock.host0_ns,
            clock.rate,
            clock.fitted,
            error_ns,
        )
    best = min(recent, key=lambda exchange: exchange[2])
    anchors = clock.anchors
    if len(recent) == FOLD:
        anchors, recent = (*anchors[-(ANCHORS - 1) :], best), ()
    rate = _rate(anchors)
    fitted = rate is not None
    return ClockMap(
        recent, anchors, best[0], best[1], rate or 1.0, fitted, _error_ns(best, new, fitted)
    )


def _error_ns(anchor: Exchange, newest: Exchange, fitted: bool) -> int:
    """Half the anchor's trip, and what the rate may have drifted since [ns]."""
    doubt = DOUBT_FITTED if fitted else DOUBT_UNFITTED
    return anchor[2] // 2 + round(abs(newest[0] - anchor[0]) * 1000 * doubt)


def _rate(anchors: tuple[Exchange, ...]) -> float | None:
    """Least-squares slope of host time over board time, dimensionless; None if not believable."""
    if len(anchors) < 3 or anchors[-1][0] - anchors[0][0] < FIT_SPAN_US:
        return None
    shortest = min(anchor[2] for anchor in anchors)
    chosen = [anchor for anchor in anchors if anchor[2] <= 2 * shortest + 200_000]
    board0, host0, _ = chosen[0]
    xs = [anchor[0] - board0 for anchor in chosen]
    ys = [(anchor[1] - host0) / 1000 for anchor in chosen]
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    spread = sum((x - mean_x) ** 2 for x in xs)
    if spread == 0:
        return None
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    return slope if 1 - 2 * DOUBT_UNFITTED < slope < 1 + 2 * DOUBT_UNFITTED else None
