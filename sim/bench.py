"""The simulated bench alone, in real time, behind a pseudo terminal: `benchd simulate`."""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from benchd.config import CardError, bench_card, read_card
from benchd.io.clock import wall_us
from sim.board import Board
from sim.build_core import BuildError
from sim.faults import KINDS, Faults
from sim.machine import Machine
from sim.pty_port import PortError, PtyPort
from sim.rig import SWITCHES, FaultBegan, News, PieceFell, Rig, TubeIn, TubeLow
from sim.rig_spec import dough_of, rig_spec

TICK_NS = 5_000_000
"""Time between two looks at the clock [ns]."""

LATE_NS = 20_000_000
"""Lateness of this process that board time still follows [ns]; the rest is dropped, so that a
lease does not lapse because the simulator slept."""

Say = Callable[[str, dict[str, Any]], None]


def run(
    card_path: str | Path,
    link: str | Path,
    seed: int,
    faults: Iterable[str] = (),
    json_lines: bool = False,
    resets_when_opened: bool = False,
    board: str = "host",
    dough_path: str | Path | None = None,
) -> int:
    """Run a simulated bench until SIGINT or SIGTERM; return the exit status.

    Parameters: card_path: the bench card; link: where the port shall be found; seed: of everything
    that chance decides; faults: as `sim.faults` writes them; json_lines: print one JSON object a
    line instead of sentences; resets_when_opened: restart the board whenever a host opens the port,
    as many real ones do; board: "host" for the firmware's core compiled for this machine, "avr" for
    its machine code in a simulator of the 8-bit chip; dough_path: a dough card whose dough it shall
    have, instead of the usual one. Standard input takes the lines of `sim.controls`.
    """
    say = _json_sayer() if json_lines else _sentence_sayer()
    try:
        card = bench_card(read_card(card_path), str(card_path))
        dough = dough_of(read_card(dough_path), str(dough_path), card) if dough_path else None
        # A board counts its boots in EEPROM, so that the daemon tells two lives of it apart; this
        # one has no memory and takes the seconds.
        boot = wall_us() // 1_000_000 & 0xFFFF
        rig = Rig(
            rig_spec(card, dough),
            seed,
            Faults.parse(faults),
            # What is looked at every 5 ms need not be computed more often.
            quantum_us=TICK_NS // 1000,
            fidelity="physical",
            board=_board(board, boot),
        )
        port = PtyPort(Path(link))
    except (BuildError, CardError, PortError, ValueError) as error:
        sys.stderr.write(f"{error}\n")
        return 1
    bench = Bench(rig, port, say, resets_when_opened)
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: bench.end())
    # Started in the background of a shell it must not be stopped for looking at its input.
    signal.signal(signal.SIGTTIN, signal.SIG_IGN)
    try:
        text = f"The simulated bench '{card.facts.name}' is at {link}. End it with Ctrl-C."
        say(text, {"ready": str(link)})
        bench.serve(_stdin_fd(), time.monotonic_ns)
    finally:
        port.unplug()
    return 0


def _board(kind: str, boot: int) -> Machine:
    if kind == "host":
        return Board(boot=boot)
    # Loaded only where it is asked for: it needs compiler and simulator of the 8-bit chip.
    from sim.avr.board import AvrBoard

    return AvrBoard(boot=boot)


class Bench:
    """A rig on a port, moved on by the wall clock."""

    def __init__(self, rig: Rig, port: PtyPort, say: Say, resets_when_opened: bool = False) -> None:
        self._rig = rig
        self._port = port
        self._say = say
        self._resets_when_opened = resets_when_opened
        self._ended = False

    def end(self) -> None:
        """Make `serve` return soon; may be called from a signal handler."""
        self._ended = True

    def serve(self, control_fd: int | None, now_ns: Callable[[], int]) -> None:
        """Run until `end`: rig and port, and control lines from control_fd if there is one."""
        rest = b""
        last_ns = now_ns()
        while not self._ended:
            fds = [fd for fd in (self._port.fd, control_fd) if fd is not None]
            readable = select.select(fds, (), (), TICK_NS / 1e9)[0]
            last_ns = self._catch_up(last_ns, now_ns())
            if self._port.share() and self._resets_when_opened:
                self._rig.reset("button")
                self._say("The port was opened, and the board restarted.", {"opened": True})
            if self._port.fd in readable:
                self._rig.rx(self._port.read())
            if control_fd in readable and control_fd is not None:
                data = _read(control_fd)
                if not data:
                    control_fd = None
                *lines, rest = (rest + data).split(b"\n")
                for line in lines:
                    self.control(line.decode("utf-8", "replace").strip())

    def _catch_up(self, last_ns: int, now_ns: int) -> int:
        """Bring the rig up to now; return the time [ns] up to which it came."""
        last_ns = max(last_ns, now_ns - TICK_NS - LATE_NS)
        passed_us = (now_ns - last_ns) // 1000
        self._port.write(self._rig.run_until(self._rig.t_us + passed_us))
        for news in self._rig.news():
            self._say(*told(news))
        return last_ns + passed_us * 1000

    def control(self, line: str) -> None:
        """Do what one line of `sim.controls.CONTROLS` says, and say so, or why not."""
        words = line.split()
        if not words:
            return
        try:
            self._do(words)
        except (ValueError, PortError) as error:
            why = str(error.args[0])
            self._say(why, {"did": line, "done": False, "why": why})
        else:
            self._say(f"Done: {line}.", {"did": line, "done": True})

    def _do(self, words: list[str]) -> None:
        match words:
            case ["press", name, ("on" | "off") as level] if name in SWITCHES:
                self._rig.press(name, level == "on")
            case ["load"]:
                self._rig.load_tube()
            case ["reset"]:
                self._rig.reset()
            case ["reset", cause]:
                self._rig.reset(cause)
            case ["unplug"]:
                self._port.unplug()
            case ["plug"]:
                self._port.plug()
            case _:
                raise ValueError(
                    f"'{' '.join(words)}' is not understood; it can be 'press NAME on', "
                    "'press NAME off', 'load', 'reset', 'unplug' or 'plug'."
                )


def told(news: News) -> tuple[str, dict[str, Any]]:
    """Return the sentence and the JSON object of one piece of news. Raises: TypeError for none."""
    match news:
        case PieceFell(_, portion, mass_kg, scale_kg):
            scale_g, mass_g = round(scale_kg * 1e3, 3), round(mass_kg * 1e3, 3)
            what = f"Portion {portion} fell" if portion else "A piece fell outside any portion"
            values = {"piece": portion, "scale_g": scale_g, "mass_g": mass_g}
            return f"{what}; the scale reads {scale_g:g} g.", values
        case FaultBegan(_, fault):
            text = f"Portion {fault.portion} has the fault '{fault.name}': "
            return text + KINDS[fault.name].sentence, {
                "fault": fault.name,
                "portion": fault.portion,
                "severity": fault.severity,
            }
        case TubeLow(_, left_m):
            left_mm = round(left_m * 1e3, 1)
            text = f"The tube is nearly empty: {left_mm:g} mm of feed are left."
            return text, {"tube": "low", "left_mm": left_mm}
        case TubeIn():
            return "A fresh tube is in.", {"tube": "in"}
    raise TypeError(f"No words for {type(news).__name__}.")


def _sentence_sayer() -> Say:
    def say(sentence: str, values: dict[str, Any]) -> None:
        _print(sentence)

    return say


def _json_sayer() -> Say:
    def say(sentence: str, values: dict[str, Any]) -> None:
        _print(json.dumps(values))

    return say


def _print(text: str) -> None:
    try:
        sys.stdout.write(f"{text}\n")
        sys.stdout.flush()
    except OSError:
        # Nobody reads any more; the bench goes on, and so must the interpreter at its end.
        with contextlib.suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _stdin_fd() -> int | None:
    """Standard input, None where there is none."""
    try:
        fd = sys.stdin.fileno()
        os.fstat(fd)
    except (AttributeError, OSError, ValueError):
        return None
    return fd


def _read(fd: int) -> bytes:
    try:
        return os.read(fd, 4096)
    except OSError:
        return b""
