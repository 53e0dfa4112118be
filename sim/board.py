"""The bench's board: its own firmware core, compiled for this machine, on a virtual clock.

Nothing here knows the wire; bytes go in and come out. Between two calls no time passes. Inputs stay
as they were set until they are set again; a change of a pin acts at once, as an interrupt does.
"""

from __future__ import annotations

import ctypes
import hashlib
from array import array
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

from protocols.codes import PIN
from sim import build_core

STOP_OUTPUT = 1
"""Return when the valve or the drive was switched."""

STOP_LINE = 2
"""Return when the last byte of a line has left the board."""

STOP_STEPS = 4
"""Return after as many steps as `stop_every_steps` says."""

SAFE_PINS = sum(1 << PIN[name] for name in ("guard", "stop", "ends", "home"))
"""Pins of a bench at rest: guard shut, stop not pressed, feed clear of its ends, cutter home."""

VERDICTS = ("unfinished", "good", "short", "long", "characters", "check")
"""What `judge_line` says: the words of FrameError, or that the line is good or has no newline."""

_VALVE, _DRIVE = 1, 2
_TX_BYTES = 1 << 16
_EDGES = 1 << 10
_FIELDS = 5
_LINE_BYTES = 97


class OutputEdge(NamedTuple):
    """A change of valve or drive: virtual time [us], net steps so far, levels after it."""

    t_us: float
    steps: int
    valve_on: bool
    drive_on: bool


class Judged(NamedTuple):
    """How the board reads a body: journal code (0: not its language), command number (0: none),
    refusal (0: readable) with its value and bound, and the fields as 32-bit patterns."""

    code: int
    id: int
    reason: int
    value: int
    bound: int
    fields: tuple[int, ...]


class _Edge(ctypes.Structure):
    _fields_ = (
        ("half_us", ctypes.c_uint64),
        ("steps", ctypes.c_int64),
        ("outputs", ctypes.c_uint32),
        ("spare", ctypes.c_uint32),
    )


class _Judged(ctypes.Structure):
    _fields_ = (
        ("code", ctypes.c_uint32),
        ("id", ctypes.c_uint32),
        ("reason", ctypes.c_uint32),
        ("value", ctypes.c_int32),
        ("bound", ctypes.c_int32),
        ("fields", ctypes.c_uint32 * _FIELDS),
    )


_HANDLE = ctypes.c_void_p
_U32 = ctypes.c_uint32
_U64 = ctypes.c_uint64
_TEXT = ctypes.c_char_p

# Name, result, arguments of every function of the library.
_FUNCTIONS: tuple[tuple[str, object, tuple[object, ...]], ...] = (
    ("bc_create", _HANDLE, (_U64, _U32, _U32, _TEXT, _TEXT, _U32)),
    ("bc_free", None, (_HANDLE,)),
    ("bc_reset", None, (_HANDLE, _U32, _U32)),
    ("bc_inputs", None, (_HANDLE, _U32, _U32, _U32, _U32, _U32)),
    ("bc_rx", _U32, (_HANDLE, _TEXT, _U32)),
    ("bc_tx", _U32, (_HANDLE, ctypes.c_void_p, _U32)),
    ("bc_run", _U32, (_HANDLE, _U64, _U32)),
    ("bc_hang", None, (_HANDLE, _U32)),
    ("bc_now_half_us", _U64, (_HANDLE,)),
    ("bc_steps", ctypes.c_int64, (_HANDLE,)),
    ("bc_outputs", _U32, (_HANDLE,)),
    ("bc_step_stop", None, (_HANDLE, _U32)),
    ("bc_edges", _U32, (_HANDLE, ctypes.POINTER(_Edge), _U32)),
    ("bc_trace", None, (_HANDLE, ctypes.c_void_p, _U64)),
    ("bc_traced", _U64, (_HANDLE,)),
    ("bc_ram_bytes", _U32, ()),
    ("bc_judge_line", _U32, (_TEXT, _U32, ctypes.c_char_p)),
    ("bc_judge_body", None, (_TEXT, ctypes.POINTER(_Judged))),
    ("bc_crc16", _U32, (_TEXT, _U32)),
    ("bc_crc32", _U32, (_TEXT, _U32)),
    ("bc_ramp", _U32, (_U32, _U32, _U32, _U32, _U32, ctypes.c_void_p, _U32)),
)


@cache
def library() -> ctypes.CDLL:
    """The compiled core, built first if it is missing or out of date.

    Raises build_core.BuildError when it cannot be built.
    """
    found = ctypes.CDLL(str(build_core.build()))
    for name, result, arguments in _FUNCTIONS:
        function = getattr(found, name)
        function.restype = result
        function.argtypes = arguments
    return found


@cache
def build_word() -> str:
    """Start of the SHA-256 over the core's sources, as the greeting tells it."""
    total = hashlib.sha256()
    for path in build_core.sources(build_core.SOURCE_DIRS[:1]):
        total.update(f"{path.name}\0".encode())
        total.update(path.read_bytes())
    return total.hexdigest()[:8]


class Board:
    """One board that was just powered up.

    Arguments: now_us: virtual time to begin at. board_us: what its own clock shows then, 0 to
    2**32-1, so that tests can begin just before it wraps. boot: number of this boot, 0 to 65535;
    a board with an empty EEPROM begins at 0.
    """

    def __init__(self, *, now_us: int = 0, board_us: int = 0, boot: int = 0) -> None:
        self._lib = library()
        self._free = self._lib.bc_free
        build = build_word().encode("ascii")
        handle = self._lib.bc_create(now_us, board_us, 1, b"host", build, boot)
        if not handle:
            raise MemoryError("There is no memory for a simulated board.")
        self._handle: int = handle
        self._tx = ctypes.create_string_buffer(_TX_BYTES)
        self._edges = (_Edge * _EDGES)()
        self._trace: array[int] | None = None

    def __del__(self) -> None:
        if getattr(self, "_handle", 0):
            self._free(self._handle)
            self._handle = 0

    # Time.

    @property
    def now_us(self) -> int:
        """Virtual time in whole us; a reset does not set it back."""
        return int(self._lib.bc_now_half_us(self._handle)) // 2

    def run_until(self, t_us: int, stop: int = 0) -> int:
        """Let time pass until t_us, or until one of the STOP_ reasons in `stop`.

        Returns the reasons that came up, wanted or not. Time that is past does nothing.
        """
        return int(self._lib.bc_run(self._handle, t_us, stop))

    def run_for(self, dt_us: int, stop: int = STOP_OUTPUT | STOP_LINE) -> int:
        """Let at most dt_us pass; return how many us did, fewer when a reason in `stop` came."""
        before_us = self.now_us
        self._lib.bc_run(self._handle, before_us + dt_us, stop)
        return self.now_us - before_us

    def stop_every_steps(self, count: int) -> None:
        """Set the number of steps behind STOP_STEPS; 0 for none."""
        self._lib.bc_step_stop(self._handle, count)

    def reset(self, cause: int, board_us: int = 0) -> None:
        """Restart the board for the cause of this number in codes.CAUSES; its EEPROM stays."""
        self._lib.bc_reset(self._handle, cause, board_us)

    def hang(self, ms: int) -> None:
        """Keep the main loop away for this time; interrupts go on."""
        self._lib.bc_hang(self._handle, ms)

    # Inputs.

    def set_inputs(self, pins: int, adc: Sequence[int] = (0, 0, 0), supply_mv: int = 5000) -> None:
        """Set pins 0 to 7 (bits as in codes.PIN), the converter's counts (0 to 1023) of eye, thrust
        and air, and the logic supply [mV]."""
        self._lib.bc_inputs(self._handle, pins, adc[0], adc[1], adc[2], supply_mv)

    def rx(self, data: bytes) -> int:
        """Bytes come from the host, one every 40 us from now on; return how many found room.

        4096 may wait here. What the board has no room for is lost, as on a wire.
        """
        return int(self._lib.bc_rx(self._handle, data, len(data)))

    # Outputs.

    def tx(self) -> bytes:
        """Take the bytes that have left the board since this was last asked."""
        size = int(self._lib.bc_tx(self._handle, self._tx, _TX_BYTES))
        return ctypes.string_at(self._tx, size) if size else b""

    @property
    def steps(self) -> int:
        """Pulses with the direction line high less those with it low, since power-up."""
        return int(self._lib.bc_steps(self._handle))

    @property
    def valve_on(self) -> bool:
        """Whether the valve is driven."""
        return bool(self._lib.bc_outputs(self._handle) & _VALVE)

    @property
    def drive_on(self) -> bool:
        """Whether the stepper drive has power."""
        return bool(self._lib.bc_outputs(self._handle) & _DRIVE)

    def edges(self) -> list[OutputEdge]:
        """Take the changes of valve and drive since this was last asked, the first 1024 of them."""
        count = int(self._lib.bc_edges(self._handle, self._edges, _EDGES))
        return [
            OutputEdge(
                edge.half_us / 2,
                edge.steps,
                bool(edge.outputs & _VALVE),
                bool(edge.outputs & _DRIVE),
            )
            for edge in self._edges[:count]
        ]

    def trace_steps(self, most: int) -> None:
        """Record the times of the next steps, at most so many; what was recorded goes."""
        self._trace = array("Q", bytes(8 * most))
        address, _ = self._trace.buffer_info()
        self._lib.bc_trace(self._handle, address, most)

    def traced_half_us(self) -> list[int]:
        """Return the times of the steps recorded since `trace_steps`, in half us."""
        if self._trace is None:
            return []
        return self._trace[: int(self._lib.bc_traced(self._handle))].tolist()


# The core's own functions, for tests.


def ram_bytes() -> int:
    """Size of the firmware's whole state on this machine."""
    return int(library().bc_ram_bytes())


def judge_line(line: bytes) -> tuple[str, bytes]:
    """Give one line, newline included, to the board's receiver; return its verdict and the body."""
    body = ctypes.create_string_buffer(_LINE_BYTES)
    verdict = library().bc_judge_line(line, len(line), body)
    return VERDICTS[verdict], body.value


def judge_body(body: bytes) -> Judged:
    """Return how the board reads the body of a line from the host."""
    out = _Judged()
    library().bc_judge_body(body, ctypes.byref(out))
    return Judged(out.code, out.id, out.reason, out.value, out.bound, tuple(out.fields))


def crc16(data: bytes) -> int:
    """The core's CRC-16/IBM-3740."""
    return int(library().bc_crc16(data, len(data)))


def crc32(data: bytes) -> int:
    """The core's CRC-32/ISO-HDLC."""
    return int(library().bc_crc32(data, len(data)))


def ramp_ticks(
    steps: int, speed: int, accel: int, *, stop_after: int = 0, decel: int = 1
) -> list[int]:
    """Return the intervals between the steps of one move, in ticks of 0.5 us.

    A stop with `decel` begins after step number `stop_after`, if that is not 0.
    """
    out = array("I", bytes(4 * (steps + 1)))
    address, _ = out.buffer_info()
    count = library().bc_ramp(steps, speed, accel, stop_after, decel, address, steps + 1)
    return out[:count].tolist()
