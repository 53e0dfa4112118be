"""Board time mapped to host time, with a stated error.

Each lease and the beat after it are one exchange of times. The resonator of a small board may be
off by half a percent, so
offset alone is not enough: rate and offset are fitted to the exchanges with the shortest trips.
"""

from __future__ import annotations

import msgspec

WINDOW = 64
WRAP_US = 1 << 32


def offset_and_delay(t1: float, t2: float, t3: float, t4: float) -> tuple[float, float]:
    """Return clock offset and round-trip delay of one exchange, in the unit given.

    Offset is ((t2-t1)+(t3-t4))/2, positive when the remote clock is ahead; delay is
    (t4-t1)-(t3-t2). The error of the offset is at
    most half the delay, whatever the asymmetry of the way.

    Parameters: t1 : scalar [any time]; request left, local clock; t2, t3 : scalars; request came
    and answer left, remote clock;
    t4 : scalar; answer came, local clock.
    Source: RFC 5905, section 8.
    Example: offset_and_delay(10.0, 10.25, 10.27, 10.05) is (0.235, 0.03).
    """
    return ((t2 - t1) + (t3 - t4)) / 2, (t4 - t1) - (t3 - t2)


def unwrap(t_us: int, near_us: int) -> int:
    """Return the full board time whose low 32 bits are `t_us`, nearest to `near_us` [us]."""
    half = WRAP_US >> 1
    return near_us + (t_us - near_us + half) % WRAP_US - half


class ClockMap(msgspec.Struct, frozen=True):
    """The exchanges kept, and the line fitted to them: host_ns = host0_ns + (board_us - board0_us)
    * 1000 * rate."""

    exchanges: tuple[tuple[int, int, int], ...] = ()
    """(board time in the middle [us, unwrapped], host time in the middle [ns], delay [ns]) each."""
    board0_us: int = 0
    host0_ns: int = 0
    rate: float = 1.0
    error_ns: int | None = None
    """Stated error; None before the first exchange."""

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
    kept = (
        *clock.exchanges[-(WINDOW - 1) :],
        ((t2_us + t3_us) // 2, (t1_ns + t4_ns) // 2, delay_ns),
    )
    best = min(kept, key=lambda exchange: exchange[2])
    chosen = [exchange for exchange in kept if exchange[2] <= 2 * best[2] + 200_000]
    span_us = kept[-1][0] - kept[0][0]
    rate = _rate(chosen) if span_us > 1_000_000 and len(chosen) >= 8 else clock.rate
    board0_us, host0_ns = best[0], best[1]
    age_us = kept[-1][0] - board0_us
    doubt = 0.0 if len(chosen) >= 8 and span_us > 1_000_000 else 0.005
    return ClockMap(
        kept, board0_us, host0_ns, rate, best[2] // 2 + round(abs(age_us) * 1000 * doubt)
    )


def _rate(chosen: list[tuple[int, int, int]]) -> float:
    """Least-squares slope of host time over board time, dimensionless; 1 when it is not
    believable."""
    n = len(chosen)
    board0, host0, _ = chosen[0]
    xs = [exchange[0] - board0 for exchange in chosen]
    ys = [(exchange[1] - host0) / 1000 for exchange in chosen]
    mean_x, mean_y = sum(xs) / n, sum(ys) / n
    spread = sum((x - mean_x) ** 2 for x in xs)
    if spread == 0:
        return 1.0
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    return slope if 0.98 < slope < 1.02 else 1.0
