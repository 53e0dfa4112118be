"""The numbers both ends obey: line sizes, time limits, and the values loaded into the board.

`LIMITS` is the single table of everything that a bench card loads into the board. The Python side,
the C++ firmware (through `protocols.gen`) and SPEC.md all read it from here, so that none of them
can drift.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping
from typing import NamedTuple

PROTOCOL = 1
"""Version of the line protocol; both ends refuse any other."""

LINE_BYTES_MAX = 96
"""Longest line in bytes, newline included, in either direction."""

WINDOW_BYTES = 60
"""Most bytes from the host that the board may not have taken yet; its receive ring holds 64."""

STOP_RESERVE_BYTES = 12
"""Part of the window that only the stop line may use, so that a stop never waits for room."""

HOST_LINE_BYTES_MAX = WINDOW_BYTES - STOP_RESERVE_BYTES
"""Longest line from the host other than stop, newline included."""

BEAT_MS = 100
BEAT_HELD_MS = 40
"""Time between two beats of the board; the shorter one while a key is held."""

SILENCE_MS = 500
"""Without a word from the board for longer than this the host shows NO LINK (IL-19)."""

FRESH_MS = 250
"""A lease number is fresh while its beat is at most this old; an older one is refused."""

ARM_MS = 3000
"""An armed dry stroke lapses after this time."""

RESEND_MS = 300
"""Events not acknowledged within this time are sent again, oldest first."""

DRIVE_OFF_MS = 5000
"""Without any lease for this long the board takes power off the drive (IL-18, stop category 1)."""

HOME_STEADY_MS = 50
"""The cutter counts as home when its home switch has been on for this long (IL-04)."""

RING_EVENTS = 24
"""Events the board can hold until they are acknowledged, 20 bytes each."""

RING_EVENTS_NEEDED = 22
"""Free places that a portion needs before it may start."""

BUTTON_MS = 60000
"""A portion that waits for the local button is dropped after this time."""

COLLAPSE_PERCENT = 40
COLLAPSE_MS = 50
COLLAPSE_FLOOR_DN = 300
"""IL-12: thrust that falls by more than this share within this time, from at least this (0.1 N)."""

RELIEVED_DN = 100
"""Thrust at or below which the barrel counts as relieved (0.1 N)."""

JOG_MAX_M = 0.05
"""Longest single jog [m]; a longer way takes several, each looked at (house rule of the host)."""

SHELVED_MAX_S = 3600.0
"""Longest time for which an alarm is put aside at once [s] (house rule of the host)."""

HELD_MAX_M = 0.02
HELD_SPEED_MAX_M_S = 0.001
"""Longest way [m] and highest speed [m/s] of a move that lasts while a key is held (house rules of
the host)."""

HELD_LEAST_S, HELD_MOST_S = 0.06, 0.15
"""How long each word that the key is still held may count [s]: the host's own lease, shorter than
`held_ms`, so that a key let go stops the feed and trips nothing."""

SPREAD_LEAST = 8
"""Weights below which no spread is told (common practice, as for a verdict)."""

WEIGHTS_TOLD = 24
"""The newest weights that each status tells one by one: as many as a screen shows in its strip."""

NOT_FITTED = 65535
"""What a 16-bit reading says when the sensor is not fitted."""


class Limit(NamedTuple):
    """One value loaded into the board: number on the wire, name, unit, range, group and meaning."""

    key: int
    name: str
    unit: str
    low: int
    high: int
    start: int
    group: str
    meaning: str


FITTED_BITS: dict[str, int] = {
    "guard": 0,
    "stop": 1,
    "home": 2,
    "far": 3,
    "ends": 4,
    "eye": 5,
    "thrust": 6,
    "air": 7,
    "supply": 8,
    "local": 9,
    "button": 10,
    "dump": 11,
    "ready": 12,
    "drop": 13,
}
"""Bit of each fitted sensor or output in the limit `fitted`."""

I32 = 2_147_483_647

LIMITS: tuple[Limit, ...] = (
    Limit(1, "fitted", "bits", 0, 16_383, 0, "wiring", "what is fitted, one bit each"),
    Limit(2, "accel", "steps/s2", 100, 500_000, 20_000, "motion", "acceleration of the feed"),
    Limit(3, "stop_decel", "steps/s2", 100, 500_000, 80_000, "motion", "deceleration after stop"),
    Limit(4, "speed_max", "steps/s", 10, 20_000, 8_000, "motion", "fastest feed"),
    Limit(5, "travel_min", "steps", -I32, I32, 0, "motion", "soft limit in reverse"),
    Limit(6, "travel_max", "steps", -I32, I32, 0, "motion", "soft limit forward, before the heel"),
    Limit(7, "local_speed", "steps/s", 10, 20_000, 800, "motion", "feed on the local switches"),
    Limit(8, "draw_speed", "steps/s", 10, 20_000, 8_000, "motion", "feed in draw-back and ease"),
    Limit(
        9, "drive_hold", "bits", 0, 3, 3, "motion", "1: held at rest; 2: position outlives release"
    ),
    Limit(
        10,
        "release_ms",
        "ms",
        0,
        60_000,
        2_000,
        "motion",
        "rest before a drive not held is released",
    ),
    Limit(11, "valve_home", "0/1", 0, 1, 0, "air", "valve level that brings the cutter home"),
    Limit(12, "cut_ms", "ms", 20, 5_000, 350, "air", "usual time of the cut stroke"),
    Limit(13, "return_ms", "ms", 20, 5_000, 350, "air", "usual time of the return stroke"),
    Limit(14, "cut_max_ms", "ms", 20, 10_000, 1_050, "air", "IL-06: longest cut stroke"),
    Limit(15, "return_max_ms", "ms", 20, 10_000, 1_050, "air", "IL-07: longest return stroke"),
    Limit(
        16,
        "valve_max_ms",
        "ms",
        20,
        20_000,
        2_000,
        "air",
        "IL-24: longest time the valve is driven",
    ),
    Limit(17, "still_ms", "ms", 0, 5_000, 100, "motion", "IL-03: feed at rest before a cut"),
    Limit(18, "eye_on", "counts", 0, 1023, 0, "eye", "level at which dough is seen"),
    Limit(19, "eye_off", "counts", 0, 1023, 0, "eye", "level at which dough is gone"),
    Limit(20, "gap", "steps", 1, I32, 4_000, "eye", "IL-09: feed without dough, once seen"),
    Limit(
        21, "first_flow", "steps", 1, I32, 20_000, "eye", "IL-09: feed without dough, before any"
    ),
    Limit(22, "thrust_max", "0.1 N", 0, 65_534, 3_000, "motion", "IL-11: highest thrust"),
    Limit(23, "ease", "steps", 0, 100_000, 1_200, "motion", "IL-11: feed back after a thrust trip"),
    Limit(24, "thrust_zero", "counts", 0, 1023, 102, "wiring", "thrust reading at no force"),
    Limit(25, "thrust_full", "0.1 N", 1, 65_534, 5_000, "wiring", "thrust at 1023 counts"),
    Limit(26, "air_zero", "counts", 0, 1023, 102, "wiring", "air reading at no gauge pressure"),
    Limit(27, "air_full", "hPa", 1, 65_534, 10_000, "wiring", "gauge air pressure at 1023 counts"),
    Limit(28, "air_min", "hPa", 0, 65_534, 0, "air", "IL-16: least air for a cut"),
    Limit(29, "air_max", "hPa", 0, 65_534, 65_534, "air", "IL-16: most air for a cut"),
    Limit(
        30, "supply_min", "mV", 0, 6_000, 4_500, "wiring", "IL-29: least logic supply for the valve"
    ),
    Limit(31, "sample_ms", "ms", 10, 10_000, 500, "wiring", "time between samples at rest"),
    Limit(32, "sample_busy_ms", "ms", 5, 10_000, 50, "wiring", "time between samples in motion"),
    Limit(33, "lease_ms", "ms", 100, 5_000, 500, "motion", "length of a lease for programs"),
    Limit(34, "held_ms", "ms", 50, 5_000, 200, "motion", "length of a lease for a held key"),
    Limit(35, "push_max_ms", "ms", 100, 120_000, 30_000, "motion", "IL-24: longest push in one go"),
    Limit(36, "contact", "0.1 N", 0, 65_534, 200, "motion", "thrust rise that means contact"),
    Limit(37, "prime_flow", "steps", 1, I32, 8_000, "eye", "dough seen without a gap: primed"),
    Limit(
        38,
        "direction",
        "0/1",
        0,
        1,
        0,
        "wiring",
        "level of the direction line while the feed steps in reverse",
    ),
)
"""Every value loaded into the board, in the order of the digest."""

LIMIT_BY_NAME: dict[str, Limit] = {limit.name: limit for limit in LIMITS}

GROUPS: tuple[str, ...] = ("wiring", "motion", "air", "eye")


def digest(values: Mapping[str, int]) -> int:
    """Return the CRC-32/ISO-HDLC over all limit values, as the board computes it.

    Each value goes in as four bytes, little-endian two's complement, in the order of LIMITS.

    Raises: KeyError when a value is missing, struct.error when one does not fit
        32 bits.
    Source: CRC-32/ISO-HDLC of the public catalogue of parametrised CRCs, which zlib.crc32 computes.
    Example: digest({limit.name: limit.start for limit in LIMITS}) is the digest of a board just
        reset.
    """
    return zlib.crc32(b"".join(struct.pack("<i", values[limit.name]) for limit in LIMITS))


def group_digest(values: Mapping[str, int], group: str) -> int:
    """Return the CRC-32/ISO-HDLC over the values of one group ("wiring", "motion", "air" or "eye").

    A proof names the groups it rests on, so that a change elsewhere in the card voids nothing.
    """
    return zlib.crc32(
        b"".join(struct.pack("<i", values[limit.name]) for limit in LIMITS if limit.group == group)
    )
