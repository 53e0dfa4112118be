"""What the firmware takes of the 8-bit chip, held against what it may take."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import NamedTuple

from sim.avr import stack

FLASH_BYTES = 32_256
"""Program memory, less the 512 bytes of the usual boot loader."""

RAM_BYTES = 2_048

FLASH_MOST = FLASH_BYTES * 3 // 4
RAM_MOST = RAM_BYTES * 3 // 4
"""Three quarters of each, as the ledger of SPEC.md has it: the rest is for versions to come."""

_RAM_SECTIONS = (".data", ".bss", ".noinit")
_FLASH_SECTIONS = (".text", ".data")


class Use(NamedTuple):
    """What one program takes, in bytes: program memory, variables, and the deepest stack of the
    main loop and of the deepest interrupt upon it, each with the way there."""

    flash: int
    variables: int
    main: stack.Depth
    interrupt: stack.Depth

    @property
    def stack(self) -> int:
        """Deepest stack in all."""
        return self.main.stack + self.interrupt.stack

    @property
    def ram(self) -> int:
        """Variables and deepest stack."""
        return self.variables + self.stack


def measure(elf: Path) -> Use:
    """Return what a program takes. Raises stack.StackError where its stack has no bound."""
    listing = subprocess.run(
        ["avr-size", "-A", str(elf)], capture_output=True, text=True, check=True
    ).stdout
    sizes = {
        words[0]: int(words[1])
        for line in listing.splitlines()
        if len(words := line.split()) == 3 and words[1].isdigit()
    }
    main, interrupt = stack.deepest(stack.read_functions(elf))
    return Use(
        sum(sizes.get(name, 0) for name in _FLASH_SECTIONS),
        sum(sizes.get(name, 0) for name in _RAM_SECTIONS),
        main,
        interrupt,
    )


def lines(use: Use) -> list[str]:
    """Return the ledger of a program, a line for each entry."""
    return [
        _line("program memory", use.flash, FLASH_MOST, FLASH_BYTES),
        _line("RAM in all", use.ram, RAM_MOST, RAM_BYTES),
        f"  variables         {use.variables:6} bytes",
        f"  main loop's stack {use.main.stack:6} bytes, deepest in {_short(use.main)}",
        f"  interrupt upon it {use.interrupt.stack:6} bytes, deepest in {_short(use.interrupt)}",
    ]


def breaches(use: Use) -> list[str]:
    """Return a sentence for each budget that a program exceeds."""
    rows = (("program memory", use.flash, FLASH_MOST), ("RAM", use.ram, RAM_MOST))
    return [
        f"The firmware takes {taken} bytes of {what}, and {most} is what it may take: make it "
        "smaller, or change the ledger and say why."
        for what, taken, most in rows
        if taken > most
    ]


def _line(what: str, taken: int, most: int, there: int) -> str:
    share = 100 * taken / there
    return f"{what:19} {taken:6} bytes, {share:.1f} % of {there}; may take {most}"


def _short(depth: stack.Depth) -> str:
    names = (name.split("(")[0].removeprefix("core::") for name in depth.way)
    return " > ".join(names)
