"""The bench's board: its own firmware core, compiled for this machine, on a virtual clock.

Between two calls no time passes. Inputs stay as they were set until they are set again; a change of
a pin acts at once, as an interrupt does.
"""

from __future__ import annotations

import ctypes
import hashlib
from array import array
from collections.abc import Sequence
from functools import cache, partial
from types import SimpleNamespace
from typing import NamedTuple

from protocols.codes import PIN
from sim import build_core
from sim.machine import HANDLE, TEXT, U32, U64, Machine, Row, functions

SAFE_PINS = sum(1 << PIN[name] for name in ("guard", "stop", "ends", "home"))
"""Pins of a bench at rest: guard shut, stop not pressed, feed clear of its ends, cutter home."""

VERDICTS = ("unfinished", "good", "short", "long", "characters", "check")
"""What `judge_line` says: the words of FrameError, or that the line is good or has no newline."""

_TICKS_PER_US = 2
_FIELDS = 5
_LINE_BYTES = 97


class Judged(NamedTuple):
    """How the board reads a body: journal code (0: not its language), command number (0: none),
    refusal (0: readable) with its value and bound, and the fields as 32-bit patterns."""

    code: int
    id: int
    reason: int
    value: int
    bound: int
    fields: tuple[int, ...]


class _Judged(ctypes.Structure):
    _fields_ = (
        ("code", ctypes.c_uint32),
        ("id", ctypes.c_uint32),
        ("reason", ctypes.c_uint32),
        ("value", ctypes.c_int32),
        ("bound", ctypes.c_int32),
        ("fields", ctypes.c_uint32 * _FIELDS),
    )


# Functions of the library beside those that every machine has.
_FUNCTIONS: tuple[Row, ...] = (
    ("create", HANDLE, (U64, U32, U32, TEXT, TEXT, U32)),
    ("reset", None, (HANDLE, U32, U32)),
    ("inputs", None, (HANDLE, U32, U32, U32, U32, U32)),
    ("hang", None, (HANDLE, U32)),
    ("now_half_us", U64, (HANDLE,)),
    ("ram_bytes", U32, ()),
    ("judge_line", U32, (TEXT, U32, TEXT)),
    ("judge_body", None, (TEXT, ctypes.POINTER(_Judged))),
    ("crc16", U32, (TEXT, U32)),
    ("crc32", U32, (TEXT, U32)),
    ("ramp", U32, (U32, U32, U32, U32, U32, HANDLE, U32)),
)


@cache
def library() -> SimpleNamespace:
    """The functions of the compiled core, built first if it is missing or out of date.

    Raises build_core.BuildError when it cannot be built.
    """
    return functions(build_core.build(), "bc_", _FUNCTIONS)


@cache
def build_word() -> str:
    """Start of the SHA-256 over the core's sources, as the greeting tells it."""
    total = hashlib.sha256()
    for path in build_core.sources(build_core.SOURCE_DIRS[:1]):
        total.update(f"{path.name}\0".encode())
        total.update(path.read_bytes())
    return total.hexdigest()[:8]


class Board(Machine):
    """One board that was just powered up.

    Arguments: now_us: virtual time to begin at. board_us: what its own clock shows then, 0 to
    2**32-1, so that tests can begin just before it wraps. boot: number of this boot, 0 to 65535;
    a board with an empty EEPROM begins at 0.
    """

    def __init__(self, *, now_us: int = 0, board_us: int = 0, boot: int = 0) -> None:
        lib = library()
        build = build_word().encode("ascii")
        handle = lib.create(now_us, board_us, 1, b"host", build, boot)
        if not handle:
            raise MemoryError("There is no memory for a simulated board.")
        super().__init__(lib, handle, _TICKS_PER_US)
        self._run, self._set = partial(lib.run, handle), partial(lib.inputs, handle)

    @property
    def now_us(self) -> int:
        """Virtual time in whole us; a reset does not set it back."""
        return int(self._lib.now_half_us(self._handle)) // _TICKS_PER_US

    def run_until(self, t_us: int, stop: int = 0) -> int:
        """Let time pass as `Machine.run_until` says."""
        return int(self._run(t_us, stop))

    def reset(self, cause: int, board_us: int = 0) -> None:
        """Restart the board for the cause of this number in codes.CAUSES; its EEPROM stays."""
        self._lib.reset(self._handle, cause, board_us)

    def hang(self, ms: int) -> None:
        """Keep the main loop away for this time; interrupts go on."""
        self._lib.hang(self._handle, ms)

    def set_inputs(self, pins: int, adc: Sequence[int] = (0, 0, 0), supply_mv: int = 5000) -> None:
        """Set what `Machine.set_inputs` says."""
        self._set(pins, *adc, supply_mv)


# The core's own functions, for tests.


def ram_bytes() -> int:
    """Size of the firmware's whole state on this machine."""
    return int(library().ram_bytes())


def judge_line(line: bytes) -> tuple[str, bytes]:
    """Give one line, newline included, to the board's receiver; return its verdict and the body."""
    body = ctypes.create_string_buffer(_LINE_BYTES)
    verdict = library().judge_line(line, len(line), body)
    return VERDICTS[verdict], body.value


def judge_body(body: bytes) -> Judged:
    """Return how the board reads the body of a line from the host."""
    out = _Judged()
    library().judge_body(body, ctypes.byref(out))
    return Judged(out.code, out.id, out.reason, out.value, out.bound, tuple(out.fields))


def crc16(data: bytes) -> int:
    """The core's CRC-16/IBM-3740."""
    return int(library().crc16(data, len(data)))


def crc32(data: bytes) -> int:
    """The core's CRC-32/ISO-HDLC."""
    return int(library().crc32(data, len(data)))


def ramp_ticks(
    steps: int, speed: int, accel: int, *, stop_after: int = 0, decel: int = 1
) -> list[int]:
    """Return the intervals between the steps of one move, in ticks of 0.5 us.

    A stop with `decel` begins after step number `stop_after`, if that is not 0.
    """
    out = array("I", bytes(4 * (steps + 1)))
    address, _ = out.buffer_info()
    count = library().ramp(steps, speed, accel, stop_after, decel, address, steps + 1)
    return out[:count].tolist()
