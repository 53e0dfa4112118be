"""The 8-bit board: the firmware's machine code in a simulator of its chip, in lock-step.

It does what `sim.board.Board` does and takes its place: bytes, pins and times are the same. Steps
and bytes take the time that the chip takes, to a cycle of its clock.
"""

from __future__ import annotations

import ctypes
import subprocess
from array import array
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from protocols.codes import PIN
from protocols.pins import ANALOG, BOARD_PINS, CONTACT, PORTS, BoardPin
from sim.avr import memory, tools
from sim.board import STOP_LINE, STOP_OUTPUT, OutputEdge
from sim.build_core import BuildError

STOP_RESET = 8
"""Return when the chip was reset, by its watchdog too."""

CYCLES_PER_US = tools.CPU_HZ // 1_000_000

MCUSR = {0: 0, 1: 1, 2: 2, 3: 8, 4: 4}
"""Flags of the chip for a start by each of `codes.CAUSES`."""

_CRASH = 16
_VALVE, _DRIVE = 1, 2
_TX_BYTES = 1 << 16
_EDGES = 1 << 10
_FULL_COUNTS = 1023
_OUTPUTS = ("step", "direction", "drive", "valve")
_CHANNELS = ("eye", "thrust", "air")
_BY_NAME = {row.name: row for row in BOARD_PINS}
_CONTACTS = [row for row in BOARD_PINS if row.kind == CONTACT]

_HANDLE = ctypes.c_void_p
_U32 = ctypes.c_uint32
_U64 = ctypes.c_uint64
_TEXT = ctypes.c_char_p


class _Edge(ctypes.Structure):
    _fields_ = (
        ("cycle", ctypes.c_uint64),
        ("steps", ctypes.c_int64),
        ("outputs", ctypes.c_uint32),
        ("spare", ctypes.c_uint32),
    )


# Name, result, arguments of every function of the shim.
_FUNCTIONS: tuple[tuple[str, object, tuple[object, ...]], ...] = (
    ("ba_open", _HANDLE, (_TEXT, _TEXT, _TEXT, _U32)),
    ("ba_close", None, (_HANDLE,)),
    ("ba_reset", None, (_HANDLE, _U32)),
    ("ba_pin", None, (_HANDLE, _U32, _U32, _U32)),
    ("ba_pin_at", None, (_HANDLE, _U64, _U32, _U32, _U32)),
    ("ba_adc", None, (_HANDLE, _U32, _U32)),
    ("ba_supply", None, (_HANDLE, _U32)),
    ("ba_rx", _U32, (_HANDLE, _TEXT, _U32)),
    ("ba_tx", _U32, (_HANDLE, ctypes.c_void_p, _U32)),
    ("ba_run", _U32, (_HANDLE, _U64, _U32)),
    ("ba_hang", None, (_HANDLE, _U32, _U32, _U64)),
    ("ba_pc", _U32, (_HANDLE,)),
    ("ba_cycle", _U64, (_HANDLE,)),
    ("ba_steps", ctypes.c_int64, (_HANDLE,)),
    ("ba_outputs", _U32, (_HANDLE,)),
    ("ba_overruns", _U32, (_HANDLE,)),
    ("ba_lowest_sp", _U32, (_HANDLE,)),
    ("ba_asleep", _U64, (_HANDLE,)),
    ("ba_longest_deaf", _U64, (_HANDLE, ctypes.POINTER(_U32))),
    ("ba_narrowest_step", _U64, (_HANDLE,)),
    ("ba_byte_cycles", _U32, (_HANDLE,)),
    ("ba_waiting", _U32, (_HANDLE,)),
    ("ba_data", ctypes.c_uint8, (_HANDLE, _U32)),
    ("ba_step_stop", None, (_HANDLE, _U32)),
    ("ba_edges", _U32, (_HANDLE, ctypes.POINTER(_Edge), _U32)),
    ("ba_trace", None, (_HANDLE, ctypes.c_void_p, _U64)),
    ("ba_traced", _U64, (_HANDLE,)),
    ("ba_eeprom", None, (_HANDLE, ctypes.c_void_p)),
)


@cache
def library() -> ctypes.CDLL:
    """The shim, built first if it is missing or out of date. Raises BuildError."""
    found = ctypes.CDLL(str(tools.shim()))
    for name, result, arguments in _FUNCTIONS:
        function = getattr(found, name)
        function.restype = result
        function.argtypes = arguments
    return found


@cache
def elf(baud: int = tools.BAUDS[0]) -> Path:
    """The firmware's ELF file, built first if it is missing or out of date. Raises BuildError."""
    return tools.firmware(baud)


@cache
def _main_loop(path: Path) -> tuple[int, int]:
    """Return where the firmware's main loop begins and ends, in bytes of program memory."""
    listing = subprocess.run(
        ["avr-nm", "-S", str(path)], capture_output=True, text=True, check=True
    ).stdout
    for line in listing.splitlines():
        words = line.split()
        if len(words) == 4 and words[3] == "main":
            return int(words[0], 16), int(words[0], 16) + int(words[1], 16)
    raise BuildError(f"{path.name} has no main loop; build the firmware again.")


def supply_read_mv(mv: int) -> int:
    """Return what the board reads of a supply [mV]: its reference in whole counts of the supply."""
    return 1100 * 1024 // (1100 * _FULL_COUNTS // mv)


class AvrBoard:
    """One 8-bit board that was just powered up.

    Arguments: now_us: virtual time to begin at. boot: number of this boot, 0 to 65535; a board with
    an empty memory begins at 0. baud: speed of its serial port. stored: what its memory holds
    instead, 1024 bytes. Raises BuildError with a sentence where tools are missing.
    """

    def __init__(
        self,
        *,
        now_us: int = 0,
        boot: int = 0,
        baud: int = tools.BAUDS[0],
        stored: bytes | None = None,
    ) -> None:
        self._lib = library()
        self._close = self._lib.ba_close
        self.elf = elf(baud)
        outputs = bytes(_place(_BY_NAME[name]) for name in _OUTPUTS)
        if stored is None:
            stored = memory.image(memory.record(boot=(boot - 1) & 0xFFFF)) if boot else None
        stored = stored if stored is not None else memory.image()
        handle = self._lib.ba_open(str(self.elf).encode(), outputs, stored, MCUSR[1])
        if not handle:
            raise BuildError(f"The chip's simulator cannot load {self.elf.name}; build it again.")
        self._handle: int = handle
        self._start_us = now_us
        self._tx = ctypes.create_string_buffer(_TX_BYTES)
        self._edges = (_Edge * _EDGES)()
        self._trace: array[int] | None = None
        self._pins = -1
        self._shown: tuple[object, ...] = ()
        self.set_inputs(0)

    def __del__(self) -> None:
        if getattr(self, "_handle", 0):
            self._close(self._handle)
            self._handle = 0

    # Time.

    @property
    def cycle(self) -> int:
        """Cycles of the chip's clock since power-up."""
        return int(self._lib.ba_cycle(self._handle))

    @property
    def now_us(self) -> int:
        """Virtual time in whole us; a reset does not set it back."""
        return self._start_us + self.cycle // CYCLES_PER_US

    def run_until(self, t_us: int, stop: int = 0) -> int:
        """Let time pass until t_us, or until one of the STOP_ reasons in `stop`.

        Returns the reasons that came up, wanted or not. An instruction that is under way at t_us is
        finished.
        """
        return self.run_until_cycle((t_us - self._start_us) * CYCLES_PER_US, stop)

    def run_until_cycle(self, cycle: int, stop: int = 0) -> int:
        """As `run_until`, up to a cycle of the chip's clock."""
        reasons = int(self._lib.ba_run(self._handle, max(cycle, 0), stop))
        if reasons & _CRASH:
            raise RuntimeError(f"The firmware {self.elf.name} ran into nowhere.")
        return reasons

    def run_for(self, dt_us: int, stop: int = STOP_OUTPUT | STOP_LINE) -> int:
        """Let at most dt_us pass; return how many us did, fewer when a reason in `stop` came."""
        before_us = self.now_us
        self.run_until(before_us + dt_us, stop)
        return self.now_us - before_us

    def stop_every_steps(self, count: int) -> None:
        """Set the number of steps behind STOP_STEPS; 0 for none."""
        self._lib.ba_step_stop(self._handle, count)

    def reset(self, cause: int) -> None:
        """Restart the board for the cause of this number in codes.CAUSES; its memory stays."""
        self._lib.ba_reset(self._handle, MCUSR[cause])

    def hang(self, ms: int) -> None:
        """Keep the main loop away for this time, once it next runs; interrupts go on."""
        first, end = _main_loop(self.elf)
        self._lib.ba_hang(self._handle, first, end, ms * 1000 * CYCLES_PER_US)

    # Inputs.

    def set_inputs(self, pins: int, adc: Sequence[int] = (0, 0, 0), supply_mv: int = 5000) -> None:
        """Set pins 0 to 7 (bits as in codes.PIN), the converter's counts (0 to 1023) of eye, thrust
        and air, and the logic supply [mV]."""
        readings = (*adc, supply_mv)
        if readings != self._shown:
            self._shown = readings
            self._lib.ba_supply(self._handle, supply_mv)
            for name, counts in zip(_CHANNELS, adc, strict=True):
                # Sensors hang on the same supply; the least voltage that reads as these counts.
                mv = -(-counts * supply_mv // _FULL_COUNTS)
                self._lib.ba_adc(self._handle, _BY_NAME[name].bit, mv)
        for row in _CONTACTS:
            bit = 1 << PIN[row.name]
            if self._pins < 0 or (self._pins ^ pins) & bit:
                self._lib.ba_pin(self._handle, *_port_bit(row), not pins & bit)
        self._pins = pins

    def pin_at(self, cycle: int, name: str, on: bool) -> None:
        """Change one contact at a cycle to come."""
        self._lib.ba_pin_at(self._handle, cycle, *_port_bit(_BY_NAME[name]), not on)
        bit = 1 << PIN[name]
        self._pins = self._pins | bit if on else self._pins & ~bit

    def rx(self, data: bytes) -> int:
        """Bytes come from the host from now on, at the speed of the line; return how many found
        room. 4096 may wait here. What the board has no room for is lost, as on a wire."""
        return int(self._lib.ba_rx(self._handle, data, len(data)))

    # Outputs.

    def tx(self) -> bytes:
        """Take the bytes that have left the board since this was last asked."""
        size = int(self._lib.ba_tx(self._handle, self._tx, _TX_BYTES))
        return ctypes.string_at(self._tx, size) if size else b""

    @property
    def steps(self) -> int:
        """Pulses with the direction line high less those with it low, since power-up."""
        return int(self._lib.ba_steps(self._handle))

    @property
    def valve_on(self) -> bool:
        """Whether the valve is driven."""
        return bool(self._lib.ba_outputs(self._handle) & _VALVE)

    @property
    def drive_on(self) -> bool:
        """Whether the stepper drive has power."""
        return bool(self._lib.ba_outputs(self._handle) & _DRIVE)

    def edges(self) -> list[OutputEdge]:
        """Take the changes of valve and drive since this was last asked, the first 1024 of them."""
        count = int(self._lib.ba_edges(self._handle, self._edges, _EDGES))
        return [
            OutputEdge(
                self._start_us + edge.cycle / CYCLES_PER_US,
                edge.steps,
                bool(edge.outputs & _VALVE),
                bool(edge.outputs & _DRIVE),
            )
            for edge in self._edges[:count]
        ]

    def trace_steps(self, most: int) -> None:
        """Record the cycles of the next steps, at most so many; what was recorded goes."""
        self._trace = array("Q", bytes(8 * most))
        address, _ = self._trace.buffer_info()
        self._lib.ba_trace(self._handle, address, most)

    def traced_cycles(self) -> list[int]:
        """Return the cycles of the steps recorded since `trace_steps`."""
        if self._trace is None:
            return []
        return self._trace[: int(self._lib.ba_traced(self._handle))].tolist()

    def traced_half_us(self) -> list[int]:
        """Return the times of the steps recorded since `trace_steps`, in half us."""
        start = 2 * self._start_us
        return [start + 2 * cycle // CYCLES_PER_US for cycle in self.traced_cycles()]

    # The chip.

    @property
    def place(self) -> int:
        """The byte of program memory where the chip is."""
        return int(self._lib.ba_pc(self._handle))

    @property
    def overruns(self) -> int:
        """Bytes that came while the chip held as many as it can."""
        return int(self._lib.ba_overruns(self._handle))

    @property
    def rx_waiting(self) -> int:
        """Bytes from the host that have not begun to come in."""
        return int(self._lib.ba_waiting(self._handle))

    @property
    def lowest_stack(self) -> int:
        """Lowest address that the stack pointer had; 0xFFFF before the first."""
        return int(self._lib.ba_lowest_sp(self._handle))

    @property
    def asleep_cycles(self) -> int:
        """Cycles since power-up in which the chip slept, having nothing to do."""
        return int(self._lib.ba_asleep(self._handle))

    def longest_deaf(self) -> tuple[int, int]:
        """Return the longest time with interrupts off since this was last asked [cycles], and the
        place in program memory before it."""
        at = _U32()
        cycles = int(self._lib.ba_longest_deaf(self._handle, ctypes.byref(at)))
        return cycles, at.value

    @property
    def narrowest_step_cycles(self) -> int:
        """Cycles of the shortest step pulse so far."""
        return int(self._lib.ba_narrowest_step(self._handle))

    @property
    def byte_cycles(self) -> int:
        """Cycles that a byte takes on the line, as the firmware has set it."""
        return int(self._lib.ba_byte_cycles(self._handle))

    def stored(self) -> bytes:
        """Return what the board's memory holds, 1024 bytes."""
        out = ctypes.create_string_buffer(memory.BYTES)
        self._lib.ba_eeprom(self._handle, out)
        return out.raw

    def ram(self, at: int) -> int:
        """Return one byte of the chip's data memory, registers included."""
        return int(self._lib.ba_data(self._handle, at))


def _place(row: BoardPin) -> int:
    port, bit = _port_bit(row)
    return port << 3 | bit


def _port_bit(row: BoardPin) -> tuple[int, int]:
    return PORTS.index(row.port), row.bit


assert {row.name for row in BOARD_PINS if row.kind == ANALOG} == set(_CHANNELS)
