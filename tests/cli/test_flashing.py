"""`benchd flash`: caution and consent first, one sentence for whatever fails, and the board's own
word for what it runs. A stand-in for the programmer keeps its arguments."""

from __future__ import annotations

import fcntl
import os
import socket
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from benchd.cli.cautions import GENERAL, LOADER
from benchd.io import paths, ports
from benchd.io.ports import Holder
from sim.avr import tools
from sim.board import Board, build_word
from sim.build_core import BuildError
from sim.pty_port import PtyPort
from tests.cli.conftest import Outcome
from tests.far_board import FarBoard

Benchd = Callable[..., Outcome]
FIRMWARE = tools.firmware


class Programmer:
    """A program of the programmer's name on the path."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.does("", 0)

    def does(self, said: str, code: int) -> None:
        """Let it say this and end with this code."""
        (self.folder / "said").write_text(said)
        script = self.folder / "avrdude"
        script.unlink(missing_ok=True)
        script.write_text(
            f'#!/bin/sh\nprintf "%s\\n" "$PWD" "$@" >"{self.folder}/typed"\n'
            f'/bin/cat "{self.folder}/said" >&2\nexit {code}\n'
        )
        script.chmod(0o755)

    @property
    def typed(self) -> list[str]:
        """The folder it ran in, and its arguments; empty if it never ran."""
        file = self.folder / "typed"
        return file.read_text().splitlines() if file.exists() else []


@pytest.fixture
def programmer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Programmer:
    """Nothing but the stand-in is on the path."""
    folder = tmp_path / "bin"
    folder.mkdir()
    monkeypatch.setenv("PATH", str(folder))
    return Programmer(folder)


@pytest.fixture(autouse=True)
def image(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A firmware that counts as built, of the build that the simulated board greets with."""

    def firmware(baud: int) -> Path:
        return tmp_path / f"bench-{baud}.elf"

    monkeypatch.setattr(tools, "firmware", firmware)
    monkeypatch.setattr(tools, "build_word", build_word)
    return tmp_path / "bench-250000.hex"


@pytest.fixture
def port(tmp_path: Path) -> Iterator[str]:
    """The port of a board whose firmware runs."""
    link = tmp_path / "bench-port"
    with FarBoard(link, lambda: Board(boot=7)):
        yield str(link)


def test_the_firmware_is_written_and_the_board_says_what_it_runs(
    benchd: Benchd, programmer: Programmer, port: str, image: Path
) -> None:
    shown = benchd("flash", port, "--yes")
    assert shown.code == 0, shown.err
    assert programmer.typed == [
        str(image.parent),
        *("-p", "m328p", "-c", "arduino", "-P", port, "-b", "115200", "-D"),
        *("-U", f"flash:w:{image.name}:i"),
    ]
    assert f"protocol 1, firmware 0.1.0, build {build_word()}" in shown.out
    assert "board host, boot number 7, started by power" in shown.out
    assert "That is the build just written." in shown.out
    assert "'baud: 250000'" in shown.out


def test_both_speeds_can_be_chosen(
    benchd: Benchd, programmer: Programmer, port: str, image: Path
) -> None:
    shown = benchd("flash", port, "--baud", "115200", "--loader-baud", "57600", "--yes")
    assert shown.code == 0, shown.err
    typed = programmer.typed
    assert typed[typed.index("-b") + 1] == "57600"
    assert typed[-1] == "flash:w:bench-115200.hex:i"
    assert "'baud: 115200'" in shown.out
    refused = benchd("flash", port, "--baud", "9600")
    assert refused.code == 2
    assert "115200" in refused.err


def test_another_build_than_the_one_written_is_said(
    benchd: Benchd, programmer: Programmer, port: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tools, "build_word", lambda: "00c0ffee")
    shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    assert f"The board runs build {build_word()}, not 00c0ffee that was just written" in shown.err
    assert "That is the build" not in shown.out


# Before anything happens.


def test_the_cautions_come_first_and_nothing_happens_without_a_yes(
    benchd: Benchd, programmer: Programmer, port: str, typing: Callable[[str], None]
) -> None:
    shown = benchd("flash", port)
    assert shown.code == 2
    assert "add --yes" in shown.err
    for text in (GENERAL, LOADER):
        assert f"! {text}" in shown.err
    assert "motor supply off and the air shut and vented" in shown.err
    typing("no\n")
    assert benchd("flash", port).code == 1
    assert programmer.typed == []
    typing("yes\n")
    assert benchd("flash", port).code == 0
    assert programmer.typed != []


def test_without_the_programmer_it_says_how_to_get_it(
    benchd: Benchd, programmer: Programmer, port: str
) -> None:
    (programmer.folder / "avrdude").unlink()
    shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    assert shown.err.endswith("sudo apt-get install avrdude (macOS: brew install avrdude)\n")
    assert shown.err.count("\n") == 1


def test_without_a_compiler_what_is_built_will_do(
    programmer: Programmer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tools, "firmware", FIRMWARE)
    out = tmp_path / "avr"
    monkeypatch.setattr(tools, "_digest", lambda *_: "d" * 64)
    with pytest.raises(BuildError, match=r"avr-g\+\+ is missing; install it with: sudo apt-get"):
        tools.firmware(250_000, out)
    # What a build leaves behind.
    for name, text in (("elf", "-"), ("hex", "-"), ("digest", "d" * 64)):
        (out / f"bench-250000.{name}").write_text(text)
    assert tools.firmware(250_000, out) == out / "bench-250000.elf"


def test_a_firmware_that_cannot_be_built_ends_it_in_one_sentence(
    benchd: Benchd, programmer: Programmer, port: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_: int) -> Path:
        raise BuildError("avr-g++ refused the sources; it said:\nline 1\nline 2")

    monkeypatch.setattr(tools, "firmware", fails)
    shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    assert shown.err.count("\n") == 1
    assert Path(paths.state_home(), "benchd", "flash.log").read_text() == "line 1\nline 2"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("/dev/no-such-port", "There is no port /dev/no-such-port"),
        ("missing", "There is no port "),
        ("FILE", "is not a serial port"),
        ("socket://localhost:1", "is not a serial port"),
    ],
)
def test_what_is_no_port_gets_the_usual_sentence(
    benchd: Benchd, programmer: Programmer, tmp_path: Path, name: str, says: str
) -> None:
    if name == "FILE":
        (tmp_path / "FILE").write_text("")
        name = str(tmp_path / "FILE")
    shown = benchd("flash", name, "--yes")
    assert shown.code == 1
    assert says in shown.err
    assert programmer.typed == []


def test_a_port_that_is_not_ours_to_use_gets_the_usual_sentence(
    benchd: Benchd, programmer: Programmer, port: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "is_real", lambda _: True)
    monkeypatch.setattr(ports, "may_open", lambda _: False)
    shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    assert shown.err == f"{ports.no_permission_sentence(port)}\n"
    monkeypatch.setattr(ports, "may_open", lambda _: True)
    monkeypatch.setattr(ports, "holders", lambda _: (Holder(4711, "screen"),))
    shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    assert shown.err.startswith(f"The port {port} is in use by screen (process 4711): end that")
    assert programmer.typed == []


@pytest.mark.skipif(sys.platform != "linux", reason="no other system tells who listens")
def test_a_daemon_is_named_only_where_the_port_is_taken(
    benchd: Benchd, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever words the name of a port holds."""
    missing = str(tmp_path / "in use")
    monkeypatch.setattr(ports, "holders", lambda _: (Holder(os.getpid(), "benchd"),))
    paths.make_private(paths.runtime_dir())
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(paths.socket_path("maize"))
        listening.listen()
        shown = benchd("flash", missing, "--yes")
    assert shown.err == f"{ports.no_port_sentence(missing)}\n"


@pytest.mark.skipif(sys.platform != "linux", reason="no other system tells who listens")
def test_a_daemon_that_has_the_port_is_named(
    benchd: Benchd, programmer: Programmer, port: str
) -> None:
    paths.make_private(paths.runtime_dir())
    with socket.socket(socket.AF_UNIX) as listening, open(port, "rb+", buffering=0) as held:
        listening.bind(paths.socket_path("maize"))
        listening.listen()
        fcntl.flock(held, fcntl.LOCK_EX)
        shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    assert shown.err == (
        f"The port {port} is in use by the daemon of bench maize (process {os.getpid()}): end it "
        "with Ctrl-C in its terminal, then try again.\n"
    )
    assert programmer.typed == []


# What the programmer says when it fails, of the versions that people have.


class Failure(NamedTuple):
    """What version 7.1 says (run here on a stand-in for a boot loader), or 6.3 (from memory),
    and what a person reads."""

    said: str
    reads: tuple[str, ...]


FAILURES = {
    "no loader, 7.1": Failure(
        "avrdude error: programmer is not responding\n"
        "avrdude warning: attempt 10 of 10: not in sync: resp=0x00\n"
        "avrdude error: unable to open programmer arduino on port /dev/ttyUSB0\n",
        ("No boot loader answers on ", "115200 bit/s", "nothing was written", "57600"),
    ),
    "no loader, 6.3": Failure(
        "avrdude: stk500_getsync() attempt 10 of 10: not in sync: resp=0x00\n",
        ("No boot loader answers on ", "nothing was written"),
    ),
    "other chip": Failure(
        "avrdude: device signature = 0x1e9514 (probably m328)\n"
        "avrdude error: expected signature for ATmega328P is 1E 95 0F\n",
        ("is no ATmega328P but says m328", "nothing was written"),
    ),
    "mismatch, 7.1": Failure(
        "avrdude: writing 27672 bytes flash ...\navrdude: 27672 bytes of flash written\n"
        "avrdude error: verification mismatch\n        device 0x0d != input 0x0c at addr 0x0000\n",
        ("is not what was written", "not whole", "flash again before anything else"),
    ),
    "mismatch, 6.3": Failure(
        "avrdude: verification error, first mismatch at byte 0x0000\n",
        ("is not what was written", "not whole"),
    ),
    "half way, 7.1": Failure(
        "avrdude: writing 27672 bytes flash ...\navrdude error: programmer is not responding\n",
        ("broke off", "not whole", "flash again before anything else"),
    ),
    "half way, 6.3": Failure(
        "avrdude: writing flash (27672 bytes):\nser_recv(): programmer is not responding\n",
        ("broke off", "not whole"),
    ),
    "not permitted": Failure(
        "avrdude OS error: cannot open port /dev/ttyUSB0: Permission denied\n",
        ("may not use the port",),
    ),
    "busy": Failure(
        "avrdude OS error: cannot open port /dev/ttyUSB0: Device or resource busy\n",
        ("is in use by ",),
    ),
    "gone": Failure(
        "avrdude OS error: cannot open port /dev/ttyUSB0: No such file or directory\n",
        ("There is no port ",),
    ),
    "anything else": Failure(
        "avrdude error: the moon is full\n", ("could not write the board", "ended with 3")
    ),
}


@pytest.mark.parametrize("case", FAILURES)
def test_a_failure_of_the_programmer_is_one_sentence_and_a_log(
    benchd: Benchd, programmer: Programmer, port: str, case: str
) -> None:
    said, reads = FAILURES[case]
    programmer.does(said, 3)
    shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    last = shown.err.splitlines()[-1]
    for part in reads:
        assert part in last
    assert "avrdude" not in last or case == "anything else"
    assert "greets" not in shown.out
    log = Path(paths.state_home(), "benchd", "flash.log")
    assert f"(what the program said: {log})" in last
    assert log.read_text() == said


def test_verbose_shows_what_the_programmer_said(
    benchd: Benchd, programmer: Programmer, port: str
) -> None:
    programmer.does("Writing | ### | 100%\n", 0)
    assert "Writing | ###" not in benchd("flash", port, "--yes").err
    shown = benchd("flash", port, "--yes", "--verbose")
    assert "Writing | ### | 100%\n" in shown.err
    assert f"avrdude -p m328p -c arduino -P {port}" in shown.err
    programmer.does("Writing | #\n", 1)
    assert "Writing | #\n" in benchd("flash", port, "--yes", "-v").err


def test_ctrl_c_while_the_board_is_written_says_what_that_leaves(
    benchd: Benchd, programmer: Programmer, port: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def pressed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("subprocess.run", pressed)
    shown = benchd("flash", port, "--yes")
    assert shown.code == 1
    assert "ended by Ctrl-C" in shown.err
    assert "not whole" in shown.err


def test_a_board_that_does_not_greet_is_judged_as_at_first_contact(
    benchd: Benchd, programmer: Programmer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = PtyPort(tmp_path / "silent")
    try:
        monkeypatch.setattr("benchd.cli.flashing.PATIENCE_S", 0.1)
        shown = benchd("flash", str(port.link), "--yes")
    finally:
        port.unplug()
    assert shown.code == 1
    assert "The firmware was written, but: Nothing answers on " in shown.err
