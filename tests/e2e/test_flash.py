"""`benchd flash` with the real programmer. At the far end of the port, a pty, is a stand-in for the
chip's boot loader first, and then the chip's machine code."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from benchd.io.programmer import Job, ProgrammerError, command, write
from sim.avr import tools
from sim.avr.board import AvrBoard
from sim.board import Board
from tests.e2e.conftest import RealBench
from tests.far_board import FLASH_BYTES, FarBoard, Loader

PROGRAMMER = "" if shutil.which("avrdude") else "avrdude is not installed"
MISSING = PROGRAMMER or tools.missing_simulator()
pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(MISSING), reason=MISSING or "-")]

BAUD = 115_200


def memory_of(image: Path) -> bytes:
    """What a chip's memory holds after an Intel HEX file was written (records 00 and 01)."""
    memory = bytearray(b"\xff" * FLASH_BYTES)
    for line in image.read_text("ascii").split():
        record = bytes.fromhex(line[1:])
        assert sum(record) & 0xFF == 0
        at, kind, data = int.from_bytes(record[1:3], "big"), record[3], record[4:-1]
        if kind == 0:
            memory[at : at + len(data)] = data
    return bytes(memory)


def test_what_is_written_runs_and_greets(real_bench: RealBench) -> None:
    loader = Loader()
    link = real_bench.folder / "bench-port"
    with FarBoard(link, lambda: AvrBoard(boot=3, baud=BAUD), loader):
        done = real_bench.run("flash", "./bench-port", "--baud", str(BAUD), "--yes")
    assert done.returncode == 0, done.stderr
    assert loader.flash == memory_of(tools.firmware(BAUD).with_suffix(".hex"))
    assert f"Written and read back: build {tools.build_word()} for {BAUD} bit/s" in done.stdout
    assert "board 328p, boot number 3, started by power" in done.stdout
    assert "That is the build just written." in done.stdout


def test_a_running_daemon_keeps_its_port(real_bench: RealBench) -> None:
    real_bench.simulate()
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    terminal.wait_for("status", lambda status: status["pins"]["adopted"])
    done = real_bench.run("flash", "bench-port", "--yes")
    assert done.returncode == 1
    assert done.stderr.endswith(
        f"is in use by the daemon of bench maize (process {daemon.pid}): end it with Ctrl-C in its "
        "terminal, then try again.\n"
    )
    assert terminal.ask("status")["state"] != "NO LINK"


@pytest.mark.parametrize(
    ("loader", "says"),
    [
        (Loader(b"\x1e\x95\x14"), "is no ATmega328P but says m328, and the firmware runs on no"),
        (Loader(spoils=1000), "is not what was written, so the firmware on the board is not whole"),
    ],
    ids=["another chip", "a spoilt byte"],
)
def test_what_the_programmer_finds_wrong_is_one_sentence(
    tmp_path: Path, loader: Loader, says: str
) -> None:
    image = tools.firmware(BAUD).with_suffix(".hex")
    with FarBoard(tmp_path / "port", Board, loader), pytest.raises(ProgrammerError, match=says):
        write(Job(image, str(tmp_path / "port"), BAUD))


def test_a_dry_run_of_the_same_arguments_writes_nothing(tmp_path: Path) -> None:
    loader = Loader()
    image = tools.firmware(BAUD).with_suffix(".hex")
    with FarBoard(tmp_path / "port", Board, loader):
        typed = command(Job(image, str(tmp_path / "port"), BAUD))
        done = subprocess.run(
            [*typed, "-n", "-V"], cwd=image.parent, capture_output=True, check=False
        )
    assert done.returncode == 0, done.stderr
    assert loader.left
    assert loader.flash == b"\xff" * FLASH_BYTES
