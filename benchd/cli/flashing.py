"""`benchd flash`: writes the firmware into the board, then asks the board what it runs."""

from __future__ import annotations

import argparse
import os
from typing import TYPE_CHECKING

from benchd.cli.command import OK, Parts, Wrong, caution, confirm, note, say, whole_from

if TYPE_CHECKING:
    from pathlib import Path

    from benchd.io.programmer import Job
    from benchd.io.serial_link import LinkError
    from protocols.messages import Bench

LOADER_BAUD = 115_200
"""What most serial boot loaders of boards with this chip listen at; older ones at 57600."""


PATIENCE_S = 10.0
"""Wait for the greeting [s]: a board that restarts stays in its boot loader for up to 2 s."""


def _options(parser: argparse.ArgumentParser) -> None:
    from sim.avr.tools import BAUDS

    parser.add_argument("port", metavar="PORT", help="the board's port; 'benchd ports' lists them")
    parser.add_argument(
        "--baud", type=int, choices=BAUDS, default=BAUDS[0],
        help="speed of the line that the firmware is built for, and 'baud' in the bench card; "
        "%(default)s if left out",
    )  # fmt: skip
    parser.add_argument(
        "--loader-baud", type=whole_from(1200, 2_000_000), default=LOADER_BAUD, metavar="BAUD",
        help="speed of the board's boot loader; %(default)s if left out, 57600 for older ones",
    )  # fmt: skip
    parser.add_argument("--yes", action="store_true", help="go ahead without asking, for scripts")
    parser.add_argument(
        "-v", "--verbose", action="store_true", help="also show what the programmer says"
    )


def flash(options: argparse.Namespace) -> int:
    """Write the firmware of this release, and say what the board answers with."""
    from benchd.io.programmer import Job, missing_sentence
    from sim.avr.tools import build_word

    port = look_at(options.port)
    missing = missing_sentence()
    if missing:
        raise Wrong(missing)
    image = _image(options.baud)
    caution("flash")
    confirm(
        f"will write firmware build {build_word()} for {options.baud} bit/s into the board on "
        f"{port}, in the place of what is on it, and restart the board. Go on once you have read "
        "the cautions above, with the motor supply off and the air shut and vented",
        yes=options.yes,
    )
    _write(Job(image, port, options.loader_baud), verbose=options.verbose)
    say(f"Written and read back: build {build_word()} for {options.baud} bit/s.")
    return _greet(port, options.baud, build_word())


def look_at(name: str) -> str:
    """Return a port's path; refuse one that cannot be used, without opening it where that would
    restart a board.

    Raises: Wrong with the sentence that every command has for it.
    """
    from benchd.io import ports
    from benchd.io.serial_link import LinkError, held

    if "://" in name:
        raise Wrong(ports.not_serial_sentence(name))
    port = os.path.abspath(name)
    if ports.is_real(port) and os.path.exists(port):
        if not ports.may_open(port):
            raise Wrong(ports.no_permission_sentence(port))
        if ports.holders(port):
            raise Wrong(whose(port) or ports.busy_sentence(port))
        return port
    try:
        with held(port):
            return port
    except LinkError as error:
        raise Wrong(why_not(port, error)) from None


def why_not(port: str, error: LinkError) -> str:
    """Return the sentence for a port that cannot be used, naming a daemon of ours that has it."""
    from benchd.io.serial_link import PortBusyError

    return (whose(port) if isinstance(error, PortBusyError) else "") or str(error)


def whose(port: str) -> str:
    """Return the sentence for a port that a daemon of ours has; "" where none has it."""
    from benchd.io import paths, ports
    from benchd.io.request_socket import peer_process

    pids = {holder.pid for holder in ports.holders(port)}
    for bench in paths.benches():
        pid = peer_process(paths.socket_path(bench))
        if pid in pids:
            return (
                f"The port {port} is in use by the daemon of bench {bench} (process {pid}): end it "
                "with Ctrl-C in its terminal, then try again."
            )
    return ""


def _image(baud: int) -> Path:
    """Return the firmware's image for this speed, built first where it is out of date.

    Raises: Wrong with one sentence where it cannot be built.
    """
    from benchd.cli.progress import working
    from sim.avr.tools import firmware
    from sim.build_core import BuildError

    try:
        with working("The firmware is built"):
            return firmware(baud).with_suffix(".hex")
    except BuildError as error:
        sentence, _, details = str(error).partition("\n")
        raise Wrong(f"{sentence}{_kept(details)}" if details else sentence) from None
    except OSError as error:
        raise Wrong(
            f"The firmware cannot be built: {error.strerror} ({error.filename}); install benchd "
            "where you may write, such as in a virtual environment of your own."
        ) from None


def _write(job: Job, *, verbose: bool) -> None:
    """Write the image, alone on the port.

    Raises: Wrong with one sentence; what the programmer said is in the log.
    """
    from benchd.cli.progress import working
    from benchd.io import programmer
    from benchd.io.serial_link import LinkError, held

    try:
        with held(job.port), working("The board is written and read back"):
            output = programmer.write(job)
    except LinkError as error:
        raise Wrong(why_not(job.port, error)) from None
    except KeyboardInterrupt:
        raise Wrong(programmer.broke_off(job, "was ended by Ctrl-C")) from None
    except programmer.ProgrammerError as error:
        if verbose:
            note(f"{programmer.told(programmer.command(job))}\n{error.output.strip()}")
        raise Wrong(f"{error}{_kept(error.output)}") from None
    if verbose:
        note(f"{programmer.told(programmer.command(job))}\n{output.strip()}")


def _kept(details: str) -> str:
    """Keep what a program said beside the journals; return words that say where."""
    from benchd.io import paths

    folder = os.path.join(paths.state_home(), "benchd")
    path = os.path.join(folder, "flash.log")
    if not details.strip():
        return ""
    try:
        paths.make_private(folder)
        with open(path, "w", encoding="utf-8") as file:
            file.write(details)
    except OSError:
        return " (--verbose shows what the program said)"
    return f" (what the program said: {path})"


def _greet(port: str, baud: int, written: str) -> int:
    """Ask the board who it is, and hold it against what was written.

    Raises: Wrong with one sentence when no board of ours answers.
    """
    from benchd.cli.progress import working
    from benchd.io.greeting import greeting_of
    from benchd.io.serial_link import LinkError

    try:
        with working("The board starts"):
            board = greeting_of(port, baud, PATIENCE_S)
    except LinkError as error:
        raise Wrong(f"The firmware was written, but: {why_not(port, error)}") from None
    for line in lines(board, port):
        say(line)
    if board.build != written:
        raise Wrong(
            f"The board runs build {board.build}, not {written} that was just written: another "
            "board may be on this port; unplug all others and flash again."
        )
    say("That is the build just written.")
    say(
        f"Put 'baud: {baud}' into the bench card. Other firmware makes another bench: prove it "
        "again ('benchd clear IL-15') before dough goes in; 'benchd guide wiring' says what to try "
        "first on a new board."
    )
    return OK


def lines(board: Bench, port: str) -> list[str]:
    """Return what a greeting says, for a person."""
    return [
        f"The board on {port} greets:",
        f"  protocol {board.protocol}, firmware {board.firmware}, build {board.build}",
        f"  board {board.board}, boot number {board.boot}, started by {board.cause}",
    ]


PARTS = {"flash": Parts(_options, flash)}
