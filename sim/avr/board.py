"""The 8-bit board: the firmware's machine code in a simulator of its chip, in lock-step.

It does what `sim.board.Board` does and takes its place: bytes, pins and times are the same. Steps
and bytes take the time that the chip takes, to a cycle of its clock.
"""

from __future__ import annotations

import ctypes
import subprocess
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from types import SimpleNamespace

from protocols.codes import DROP, PIN
from protocols.pins import ANALOG, BOARD_PINS, CONTACT, PORTS, BoardPin
from sim.avr import memory, tools
from sim.build_core import BuildError
from sim.machine import HANDLE, TEXT, U32, U64, Machine, Row, functions

STOP_RESET = 8
"""Return when the chip was reset, by its watchdog too."""

CYCLES_PER_US = tools.CPU_HZ // 1_000_000

MCUSR = {0: 0, 1: 1, 2: 2, 3: 8, 4: 4}
"""Flags of the chip for a start by each of `codes.CAUSES`."""

_CRASH = 16
_FULL_COUNTS = 1023
DATA_MEMORY = 0x800000
_OUTPUTS = ("step", "direction", "drive", "valve", "leaving")
_CHANNELS = ("eye", "thrust", "air")
_BY_NAME = {row.name: row for row in BOARD_PINS}
_CONTACTS = [row for row in BOARD_PINS if row.kind == CONTACT]

# Functions of the shim beside those that every machine has.
_FUNCTIONS: tuple[Row, ...] = (
    ("open", HANDLE, (TEXT, TEXT, TEXT, U32)),
    ("reset", None, (HANDLE, U32)),
    ("leave_loader", None, (HANDLE, U32)),
    ("pin", None, (HANDLE, U32, U32, U32)),
    ("pin_at", None, (HANDLE, U64, U32, U32, U32)),
    ("adc", None, (HANDLE, U32, U32)),
    ("supply", None, (HANDLE, U32)),
    ("hang", None, (HANDLE, U32, U32, U64)),
    ("pc", U32, (HANDLE,)),
    ("cycle", U64, (HANDLE,)),
    ("overruns", U32, (HANDLE,)),
    ("lowest_sp", U32, (HANDLE,)),
    ("asleep", U64, (HANDLE,)),
    ("longest_deaf", U64, (HANDLE, ctypes.POINTER(U32))),
    ("narrowest_step", U64, (HANDLE,)),
    ("byte_cycles", U32, (HANDLE,)),
    ("waiting", U32, (HANDLE,)),
    ("data", ctypes.c_uint8, (HANDLE, U32)),
    ("set_data", None, (HANDLE, U32, U32)),
    ("eeprom", None, (HANDLE, HANDLE)),
)


@cache
def library() -> SimpleNamespace:
    """The functions of the shim, built first if it is missing or out of date. Raises BuildError."""
    return functions(tools.shim(), "ba_", _FUNCTIONS)


@cache
def elf(baud: int = tools.BAUDS[0]) -> Path:
    """The firmware's ELF file, built first if it is missing or out of date. Raises BuildError."""
    return tools.firmware(baud)


@cache
def _symbol(path: Path, name: str) -> tuple[int, int]:
    """Return where a function or variable of the firmware begins and ends, in bytes of its memory;
    data memory begins at 0x800000."""
    listing = subprocess.run(
        ["avr-nm", "-S", str(path)], capture_output=True, text=True, check=True
    ).stdout
    for line in listing.splitlines():
        words = line.split()
        if len(words) == 4 and words[3] == name:
            return int(words[0], 16), int(words[0], 16) + int(words[1], 16)
    raise BuildError(f"{path.name} has no '{name}'; build the firmware again.")


def supply_read_mv(mv: int) -> int:
    """Return what the board reads of a supply [mV]: its reference in whole counts of the supply."""
    return 1100 * 1024 // (1100 * _FULL_COUNTS // mv)


class AvrBoard(Machine):
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
        lib = library()
        self.elf = elf(baud)
        outputs = bytes(_place(_BY_NAME[name]) for name in _OUTPUTS)
        if stored is None:
            stored = memory.image(memory.record(boot=(boot - 1) & 0xFFFF)) if boot else None
        stored = stored if stored is not None else memory.image()
        handle = lib.open(str(self.elf).encode(), outputs, stored, MCUSR[1])
        if not handle:
            raise BuildError(f"The chip's simulator cannot load {self.elf.name}; build it again.")
        super().__init__(lib, handle, CYCLES_PER_US, now_us)
        self._pins = -1
        self._shown: tuple[object, ...] = ()
        self.set_inputs(0)

    # Time.

    @property
    def cycle(self) -> int:
        """Cycles of the chip's clock since power-up."""
        return int(self._lib.cycle(self._handle))

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
        """As `run_until`, up to a cycle of the chip's clock. Raises: RuntimeError after a crash."""
        reasons = int(self._lib.run(self._handle, max(cycle, 0), stop))
        if reasons & _CRASH:
            raise RuntimeError(f"The firmware {self.elf.name} ran into nowhere.")
        return reasons

    def reset(self, cause: int) -> None:
        """Restart the board for the cause of this number in codes.CAUSES; its memory stays."""
        self._lib.reset(self._handle, MCUSR[cause])

    def leave_loader(self, flags: int) -> None:
        """Start the firmware as a boot loader does: no reset, `flags` of the last one in register
        2, and every pin of the ports left high."""
        self._lib.leave_loader(self._handle, flags)

    def hang(self, ms: int) -> None:
        """Keep the main loop away for this time, once it next runs; interrupts go on."""
        first, end = _symbol(self.elf, "main")
        self._lib.hang(self._handle, first, end, ms * 1000 * CYCLES_PER_US)

    # Inputs.

    def set_inputs(self, pins: int, adc: Sequence[int] = (0, 0, 0), supply_mv: int = 5000) -> None:
        """Set what `Machine.set_inputs` says."""
        readings = (*adc, supply_mv)
        if readings != self._shown:
            self._shown = readings
            self._lib.supply(self._handle, supply_mv)
            for name, counts in zip(_CHANNELS, adc, strict=True):
                # Sensors hang on the same supply; the least voltage that reads as these counts.
                mv = -(-counts * supply_mv // _FULL_COUNTS)
                self._lib.adc(self._handle, _BY_NAME[name].bit, mv)
        for row in _CONTACTS:
            bit = 1 << PIN[row.name]
            if self._pins < 0 or (self._pins ^ pins) & bit:
                self._lib.pin(self._handle, *_port_bit(row), not pins & bit)
        if self._pins < 0 or (self._pins ^ pins) >> DROP & 1:
            self._lib.pin(self._handle, *_port_bit(_BY_NAME["drop-eye"]), pins >> DROP & 1)
        self._pins = pins

    def pin_at(self, cycle: int, name: str, on: bool) -> None:
        """Change one contact at a cycle to come."""
        self._lib.pin_at(self._handle, cycle, *_port_bit(_BY_NAME[name]), not on)
        bit = 1 << PIN[name]
        self._pins = self._pins | bit if on else self._pins & ~bit

    # The chip.

    def traced_cycles(self) -> list[int]:
        """Return the cycles of the steps recorded since `trace_steps`."""
        return self._traced_ticks()

    @property
    def place(self) -> int:
        """The byte of program memory where the chip is."""
        return int(self._lib.pc(self._handle))

    @property
    def overruns(self) -> int:
        """Bytes that came while the chip held as many as it can."""
        return int(self._lib.overruns(self._handle))

    @property
    def rx_waiting(self) -> int:
        """Bytes from the host that have not begun to come in."""
        return int(self._lib.waiting(self._handle))

    @property
    def lowest_stack(self) -> int:
        """Lowest address that the stack pointer had; 0xFFFF before the first."""
        return int(self._lib.lowest_sp(self._handle))

    @property
    def asleep_cycles(self) -> int:
        """Cycles since power-up in which the chip slept, having nothing to do."""
        return int(self._lib.asleep(self._handle))

    def longest_deaf(self) -> tuple[int, int]:
        """Return the longest time with interrupts off since this was last asked [cycles], and the
        place in program memory before it."""
        at = U32()
        cycles = int(self._lib.longest_deaf(self._handle, ctypes.byref(at)))
        return cycles, at.value

    @property
    def narrowest_step_cycles(self) -> int:
        """Cycles of the shortest step pulse so far."""
        return int(self._lib.narrowest_step(self._handle))

    @property
    def byte_cycles(self) -> int:
        """Cycles that a byte takes on the line, as the firmware has set it."""
        return int(self._lib.byte_cycles(self._handle))

    def stored(self) -> bytes:
        """Return what the board's memory holds, 1024 bytes."""
        out = ctypes.create_string_buffer(memory.BYTES)
        self._lib.eeprom(self._handle, out)
        return out.raw

    def set_clock_us(self, t_us: int) -> None:
        """Let the board's own clock be near this time, as if it had run for so long."""
        at = _symbol(self.elf, "clock_rounds_us")[0] - DATA_MEMORY
        for k, byte in enumerate(t_us.to_bytes(4, "little")):
            self._lib.set_data(self._handle, at + k, byte)

    def ram(self, at: int) -> int:
        """Return one byte of the chip's data memory, registers included."""
        return int(self._lib.data(self._handle, at))


def _place(row: BoardPin) -> int:
    port, bit = _port_bit(row)
    return port << 3 | bit


def _port_bit(row: BoardPin) -> tuple[int, int]:
    return PORTS.index(row.port), row.bit


assert {row.name for row in BOARD_PINS if row.kind == ANALOG} == set(_CHANNELS)
