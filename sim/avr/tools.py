"""Compiles the firmware for the 8-bit board, and the shim through which Python runs it.

Both lie in `sim/_core/avr` and are built again when their sources change. Standard library only.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from sim.build_core import FIRMWARE, OUT_DIR, BuildError, compiler, sources

BAUDS = (250_000, 115_200)
"""Speeds the firmware is built for; the first is the usual one."""

BOARD_DIRS = (FIRMWARE / "core", FIRMWARE / "board")
AVR_DIR = OUT_DIR / "avr"
SHIM = Path(__file__).with_name("shim.c")
SHIM_SOURCES = (SHIM, SHIM.with_name("chip.h"), SHIM.with_name("serial.h"))
MCU = "atmega328p"
CPU_HZ = 16_000_000

FLAGS = (
    f"-mmcu={MCU}", f"-DF_CPU={CPU_HZ}UL", "-std=gnu++11", "-Os", "-flto", "-fuse-linker-plugin",
    "-fno-exceptions", "-fno-rtti", "-fno-threadsafe-statics",
    "-ffunction-sections", "-fdata-sections", "-Wl,--gc-sections", "-Wall", "-Wextra", "-Werror",
    # Each of these makes this compiler's code for this firmware smaller.
    "-mcall-prologues", "-mrelax", "-mstrict-X", "-fno-inline-small-functions", "-fno-tree-ter",
    "-fno-jump-tables", "-fno-tree-sra", "-fno-tree-pre", "-fira-algorithm=priority",
    "-fno-gcse", "-fira-region=all",
    "-fno-tree-loop-optimize", "-fno-tree-slsr", "-fno-move-loop-invariants", "-fshort-enums",
    "-DBENCHD_ONE_BOARD",
)  # fmt: skip

PACKAGES = "gcc-avr avr-libc binutils-avr"
SIMULATOR_PACKAGES = "libsimavr-dev"


def missing_tools() -> str:
    """Return one sentence on what the firmware's build lacks; "" where it lacks nothing."""
    needed = ("avr-g++", "avr-objcopy", "avr-objdump", "avr-nm", "avr-size")
    lacking = [name for name in needed if shutil.which(name) is None]
    if not lacking:
        return ""
    return (
        f"The 8-bit board's firmware cannot be built, because {lacking[0]} is missing; "
        f"install it with: sudo apt-get install --no-install-recommends {PACKAGES}"
    )


def missing_simulator() -> str:
    """Return one sentence on what the simulator of the chip lacks; "" where it lacks nothing."""
    if missing_tools():
        return missing_tools()
    places = ("/usr/include", "/usr/local/include")
    if any((Path(place) / "simavr" / "sim_avr.h").is_file() for place in places):
        return ""
    return (
        "The 8-bit board's firmware cannot be run, because the chip's simulator is missing; "
        f"install it with: sudo apt-get install --no-install-recommends {SIMULATOR_PACKAGES}"
    )


def build_word() -> str:
    """Start of the SHA-256 over the sources of the 8-bit firmware, as its greeting tells it."""
    return _digest(sources(BOARD_DIRS))[:8]


def firmware(baud: int = BAUDS[0], out_dir: Path = AVR_DIR) -> Path:
    """Build the firmware for this speed [bit/s] if it is out of date; return its ELF file.

    Its image for a programmer lies beside it as .hex. What is up to date needs no compiler. Raises
    BuildError with a sentence.
    """
    if baud not in BAUDS:
        speeds = " or ".join(map(str, BAUDS))
        raise BuildError(f"The firmware is built for {speeds} baud, not for {baud}.")
    files = sources(BOARD_DIRS)
    units = [str(path) for path in files if path.suffix == ".cpp"]
    elf = out_dir / f"bench-{baud}.elf"
    flags = (
        *FLAGS,
        f"-DBENCHD_BAUD={baud}L",
        f'-DBENCHD_BUILD="{build_word()}"',
        f'-DBENCHD_ROM_H="{FIRMWARE / "board" / "rom_avr.h"}"',
    )
    digest = _digest(files, *flags)

    def make(scratch: Path) -> None:
        missing = missing_tools()
        if missing:
            raise BuildError(missing)
        made = scratch / elf.name
        _run(["avr-g++", *flags, *units, "-o", str(made)])
        image = str(made.with_suffix(".hex"))
        _run(["avr-objcopy", "-O", "ihex", "-R", ".eeprom", str(made), image])

    _build((elf, elf.with_suffix(".hex")), digest, make)
    return elf


def shim(out_dir: Path = AVR_DIR) -> Path:
    """Build the shim over the chip's simulator if it is out of date; return the library.

    Raises BuildError with a sentence.
    """
    missing = missing_simulator()
    if missing:
        raise BuildError(missing)
    library = out_dir / "libbenchavr.so"
    flags = ("-O2", "-std=gnu11", "-shared", "-fPIC", "-fvisibility=hidden", "-Wall", "-Wextra")

    def make(scratch: Path) -> None:
        command = [*_c_compiler(), *flags, str(SHIM), "-o", str(scratch / library.name)]
        _run([*command, "-I/usr/include/simavr", "-lsimavr"])

    _build((library,), _digest(SHIM_SOURCES, *flags), make)
    return library


def _c_compiler() -> list[str]:
    for name in ("cc", "gcc", "clang"):
        if shutil.which(name):
            return [name]
    return [*compiler(), "-x", "c"]


def _build(targets: Sequence[Path], digest: str, make: object) -> None:
    """Make the targets in a scratch folder and bring them to their place whole."""
    assert callable(make)
    stamp = targets[0].with_suffix(".digest")
    current = stamp.is_file() and stamp.read_text("ascii") == digest
    if current and all(target.is_file() for target in targets):
        return
    folder = targets[0].parent
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder) as scratch_name:
        scratch = Path(scratch_name)
        make(scratch)
        for target in targets:
            os.replace(scratch / target.name, target)
        (scratch / stamp.name).write_text(digest, "ascii")
        os.replace(scratch / stamp.name, stamp)


def _run(command: Sequence[str]) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        said = done.stderr.strip()
        raise BuildError(f"{command[0]} refused the 8-bit board's sources; it said:\n{said}")


def _digest(files: Sequence[Path], *words: str) -> str:
    total = hashlib.sha256("\0".join(words).encode())
    for path in files:
        total.update(f"\0{path.parent.name}/{path.name}\0".encode())
        total.update(path.read_bytes())
    return total.hexdigest()
