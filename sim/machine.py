"""What the simulated boards have in common: a compiled library that holds one of them, the bytes,
steps and edges that come out of it, and time that passes only when it is asked to."""

from __future__ import annotations

import ctypes
from abc import ABC, abstractmethod
from array import array
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

STOP_OUTPUT = 1
"""Return when the valve or the drive was switched."""

STOP_LINE = 2
"""Return when the last byte of a line has left the board."""

STOP_STEPS = 4
"""Return after as many steps as `stop_every_steps` says."""

VALVE, DRIVE, LEAVING = 1, 2, 8
"""Bits of what is driven."""

_TX_BYTES = 1 << 16
_EDGES = 1 << 10


class OutputEdge(NamedTuple):
    """A change of valve or drive: virtual time [us], net steps so far, levels after it."""

    t_us: float
    steps: int
    valve_on: bool
    drive_on: bool


class _Edge(ctypes.Structure):
    _fields_ = (
        ("ticks", ctypes.c_uint64),
        ("steps", ctypes.c_int64),
        ("outputs", ctypes.c_uint32),
        ("spare", ctypes.c_uint32),
    )


HANDLE = ctypes.c_void_p
U32 = ctypes.c_uint32
U64 = ctypes.c_uint64
TEXT = ctypes.c_char_p
Row = tuple[str, object, tuple[object, ...]]
"""Name without the library's prefix, result, and arguments of one function."""

# What every such library has, beside its own.
_FUNCTIONS: tuple[Row, ...] = (
    ("free", None, (HANDLE,)),
    ("rx", U32, (HANDLE, TEXT, U32)),
    ("tx", U32, (HANDLE, HANDLE, U32)),
    ("run", U32, (HANDLE, U64, U32)),
    ("steps", ctypes.c_int64, (HANDLE,)),
    ("outputs", U32, (HANDLE,)),
    ("step_stop", None, (HANDLE, U32)),
    ("edges", U32, (HANDLE, ctypes.POINTER(_Edge), U32)),
    ("trace", None, (HANDLE, HANDLE, U64)),
    ("traced", U64, (HANDLE,)),
)


def functions(library: Path, prefix: str, own: Iterable[Row]) -> SimpleNamespace:
    """Load a library; return its functions, the common ones and its own, by their names without
    the prefix."""
    loaded = ctypes.CDLL(str(library))
    found = SimpleNamespace()
    for name, result, arguments in (*_FUNCTIONS, *own):
        function = getattr(loaded, prefix + name)
        function.restype = result
        function.argtypes = arguments
        setattr(found, name, function)
    return found


class Machine(ABC):
    """One simulated board. Nothing here knows the wire; bytes go in and come out.

    Arguments: lib: the functions of its library. handle: what they call it by.
    ticks_per_us: of the clock that the library counts. start_us: virtual time at its first tick.
    """

    def __init__(
        self, lib: SimpleNamespace, handle: int, ticks_per_us: int, start_us: int = 0
    ) -> None:
        self._lib = lib
        self._free = lib.free
        self._handle = handle
        self._ticks_per_us = ticks_per_us
        self._start_us = start_us
        # Asked so often that looking each up would be felt.
        self._get_steps, self._get_outputs = (
            partial(lib.steps, handle),
            partial(lib.outputs, handle),
        )
        self._tx = ctypes.create_string_buffer(_TX_BYTES)
        self._edges = (_Edge * _EDGES)()
        self._trace: array[int] | None = None

    def __del__(self) -> None:
        if getattr(self, "_handle", 0):
            self._free(self._handle)
            self._handle = 0

    # Time.

    @property
    @abstractmethod
    def now_us(self) -> int:
        """Virtual time in whole us; a reset does not set it back."""

    @abstractmethod
    def run_until(self, t_us: int, stop: int = 0) -> int:
        """Let time pass until t_us, or until one of the STOP_ reasons in `stop`.

        Returns the reasons that came up, wanted or not. Time that is past does nothing.
        """

    def run_for(self, dt_us: int, stop: int = STOP_OUTPUT | STOP_LINE) -> int:
        """Let at most dt_us pass; return how many us did, fewer when a reason in `stop` came."""
        before_us = self.now_us
        self.run_until(before_us + dt_us, stop)
        return self.now_us - before_us

    def stop_every_steps(self, count: int) -> None:
        """Set the number of steps behind STOP_STEPS; 0 for none."""
        self._lib.step_stop(self._handle, count)

    @abstractmethod
    def reset(self, cause: int) -> None:
        """Restart the board for the cause of this number in codes.CAUSES; its EEPROM stays."""

    @abstractmethod
    def hang(self, ms: int) -> None:
        """Keep the main loop away for this time; interrupts go on."""

    # Inputs.

    @abstractmethod
    def set_inputs(self, pins: int, adc: Sequence[int] = (0, 0, 0), supply_mv: int = 5000) -> None:
        """Set pins 0 to 7 (bits as in codes.PIN), with bit `codes.DROP` the drop eye, the
        converter's counts (0 to 1023) of eye, thrust and air, and the logic supply [mV]."""

    def rx(self, data: bytes) -> int:
        """Bytes come from the host from now on, at the speed of the line; return how many found
        room. 4096 may wait here. What the board has no room for is lost, as on a wire."""
        return int(self._lib.rx(self._handle, data, len(data)))

    # Outputs.

    def tx(self) -> bytes:
        """Take the bytes that have left the board since this was last asked."""
        size = int(self._lib.tx(self._handle, self._tx, _TX_BYTES))
        return ctypes.string_at(self._tx, size) if size else b""

    @property
    def steps(self) -> int:
        """Pulses with the direction line high less those with it low, since power-up."""
        return int(self._get_steps())

    @property
    def outputs(self) -> int:
        """What is driven now, as bits of VALVE, DRIVE and LEAVING among others."""
        return int(self._get_outputs())

    @property
    def valve_on(self) -> bool:
        """Whether the valve is driven."""
        return bool(self.outputs & VALVE)

    @property
    def leaving(self) -> bool:
        """Whether the machine downstream is told that a portion leaves."""
        return bool(self.outputs & LEAVING)

    @property
    def drive_on(self) -> bool:
        """Whether the stepper drive has power."""
        return bool(self.outputs & DRIVE)

    def edges(self) -> list[OutputEdge]:
        """Take the changes of valve and drive since this was last asked, the first 1024 of them."""
        count = int(self._lib.edges(self._handle, self._edges, _EDGES))
        return [
            OutputEdge(
                self._start_us + edge.ticks / self._ticks_per_us,
                edge.steps,
                bool(edge.outputs & VALVE),
                bool(edge.outputs & DRIVE),
            )
            for edge in self._edges[:count]
        ]

    def trace_steps(self, most: int) -> None:
        """Record the times of the next steps, at most so many; what was recorded goes."""
        self._trace = array("Q", bytes(8 * most))
        address, _ = self._trace.buffer_info()
        self._lib.trace(self._handle, address, most)

    def traced_half_us(self) -> list[int]:
        """Return the times of the steps recorded since `trace_steps`, in half us."""
        start = 2 * self._start_us
        return [start + 2 * ticks // self._ticks_per_us for ticks in self._traced_ticks()]

    def _traced_ticks(self) -> list[int]:
        if self._trace is None:
            return []
        return self._trace[: int(self._lib.traced(self._handle))].tolist()
