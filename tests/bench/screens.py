"""The stop key of the screens: from the key in the terminal to the stop line on the board's wire.

Everything is real but the board: `benchd watch` in a terminal of its own, the daemon, and the
simulated bench, with a wire between daemon and bench that is listened to.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import random
import select
import signal
import statistics
import struct
import subprocess
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.e2e.conftest import BENCHD, WAIT_S, RealBench, Terminal

PRESSES = 120
JOG_M, JOG_SPEED_M_S = 0.02, 0.006
REPEAT_S = 0.033
"""Time between two repeats of a key held (common practice)."""

TRY_S = 2.0
"""How long it is waited for what a key does."""

PICTURE_GAP_S = 0.04
"""What is drawn within so long is one picture."""
STOP = b"stop "


class Wire:
    """A pty whose bytes are handed on to the simulated bench and back, and listened to."""

    def __init__(self, folder: Path) -> None:
        self._daemon, slave = pty.openpty()
        tty.setraw(slave)
        self._slave = slave
        (folder / "wire").symlink_to(os.ttyname(slave))
        self._board = os.open(folder / "bench-port", os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self._board)
        self.stopped_s = 0.0
        self.stopped = threading.Event()
        threading.Thread(target=self._hand_on, daemon=True).start()

    def _hand_on(self) -> None:
        with contextlib.suppress(OSError):  # One of the two has ended.
            while True:
                ready, _, _ = select.select([self._daemon, self._board], [], [])
                for one in ready:
                    data = os.read(one, 65_536)
                    if not data:
                        return
                    if one == self._daemon and STOP in data:
                        self.stopped_s = time.monotonic()
                        self.stopped.set()
                    os.write(self._board if one == self._daemon else self._daemon, data)


class Screen:
    """A benchd command in a terminal of 80 by 24; what it draws is read."""

    def __init__(
        self,
        environment: dict[str, str],
        folder: Path,
        *words: str,
        terminal: str = "xterm-256color",
    ) -> None:
        self.terminal, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("4H", 24, 80, 0, 0))
        self.drawn = b""
        self.pictures = 0
        self._drawn_s = 0.0
        self._ready = threading.Condition()
        self.process = subprocess.Popen(
            [BENCHD, *words],
            cwd=folder,
            env={**environment, "TERM": terminal},
            stdin=slave,
            stdout=slave,
            stderr=slave,
            start_new_session=True,
        )
        os.close(slave)
        self._closing = threading.Event()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        while True:
            if self._closing.is_set():
                os.close(self.terminal)
                return
            try:
                data = os.read(self.terminal, 65_536)
            except OSError:
                return
            now_s = time.monotonic()
            self.pictures += now_s - self._drawn_s > PICTURE_GAP_S
            self._drawn_s = now_s
            with self._ready:
                self.drawn = (self.drawn + data)[-200_000:]
                self._ready.notify_all()

    def shows(self, text: bytes, within_s: float = WAIT_S) -> bool:
        """Wait until this was drawn; whether it was."""
        with self._ready:
            return self._ready.wait_for(lambda: text in self.drawn, within_s)

    def wait_for(self, text: bytes) -> None:
        """Wait until this was drawn. Raises: TimeoutError."""
        if not self.shows(text):
            raise TimeoutError(f"{text!r} was not drawn")

    def forget(self) -> None:
        """Wait only for what is drawn from now on."""
        with self._ready:
            self.drawn = b""

    def press(self, keys: bytes) -> None:
        """Press keys."""
        os.write(self.terminal, keys)

    def close(self) -> None:
        """Close the terminal, as soon as something is drawn next."""
        self._closing.set()

    def end(self) -> None:
        """End the command, if it still runs."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        self.process.wait(WAIT_S)


@contextmanager
def shown_bench(folder: Path) -> Iterator[tuple[Wire, Screen, Terminal]]:
    """A simulated bench behind a wire, its daemon, the screens, and a client that is in control."""
    bench = RealBench(folder)
    try:
        bench.simulate()
        wire = Wire(folder)
        process = bench.start("serve", "bench.yaml", "--port", "wire", "--yes")
        process.wait_for("is served")
        hand = bench.terminal()
        bench.prove(hand)
        hand.ask("drive", on=True)
        screen = Screen(bench.environment, folder, "watch")
        try:
            screen.wait_for(b"SPACE = stop now")
            screen.press(b"f")
            screen.wait_for(b"-- Feed")
            yield wire, screen, hand
        finally:
            screen.end()
    finally:
        bench.end()


def take_control(screen: Screen) -> None:
    """Press a key that needs control, and take it from the other terminal when that is asked."""
    taken = b"This terminal is in control now"
    screen.forget()
    for _ in range(10):  # A busy machine may keep a key for too long.
        screen.press(b"\x1b[C")
        select.select([], [], [], 0.4)
        if b"take it?" in screen.drawn:
            screen.press(b"\r")
            select.select([], [], [], 0.4)
        if taken in screen.drawn:
            return
    screen.wait_for(taken)


@contextmanager
def held(screen: Screen, hand: Terminal, sign: bytes) -> Iterator[None]:
    """A nudge key that is held, in a terminal that tells of repeats and releases (progressive
    keyboard protocol); the feed goes on by it."""
    # A busy machine may keep keys for too long, and they then do nothing: once more.
    for _ in range(30):
        screen.press(b"\x1b[1;1:1" + sign)
        if _came(hand, "move", lambda move: move["ending"] == "reached"):
            with _repeats(screen, sign):
                if _came(hand, "status", lambda status: status["state"] == "NUDGING"):
                    yield
                    return
        screen.press(b"\x1b[1;1:3" + sign)
        select.select([], [], [], 10 * REPEAT_S)
    raise TimeoutError("A held key moves nothing.")


@contextmanager
def _repeats(screen: Screen, sign: bytes) -> Iterator[None]:
    let_go = threading.Event()

    def repeat() -> None:
        while not let_go.wait(REPEAT_S):
            screen.press(b"\x1b[1;1:2" + sign)

    repeats = threading.Thread(target=repeat, daemon=True)
    repeats.start()
    try:
        yield
    finally:
        let_go.set()
        repeats.join()
        screen.press(b"\x1b[1;1:3" + sign)


def _came(hand: Terminal, topic: str, true: Callable[[dict[str, Any]], bool]) -> bool:
    """Whether news comes in time; what came before does not count."""
    hand.news.clear()
    end_s = time.monotonic() + TRY_S
    while time.monotonic() < end_s:
        hand.ask("status")
        if any(one == topic and true(said) for one, said in hand.news):
            return True
        select.select([], [], [], 0.02)
    return False


def key_to_stop(folder: Path, presses: int = PRESSES, seed: int = 1) -> dict[str, float]:
    """Return the time from the stop key to the stop line [ms], while the feed moves by a key that
    is held and the screens are drawn at their full rate; how many pictures a second that was; and
    the time of a bare request to the same daemon."""
    chance = random.Random(seed)
    times_ms: list[float] = []
    bare_ms: list[float] = []
    pictures, looked_s = 0, 0.0
    with shown_bench(folder) as (wire, screen, hand):
        hand.ask("jog", distance_m=JOG_M, speed_m_s=JOG_SPEED_M_S)
        take_control(screen)
        screen.press(b"\x1b[102;1:3u")
        screen.wait_for(b"tells when a key is let go")
        for n in range(presses):
            with held(screen, hand, b"CD"[n % 2 :][:1]):
                before, begun_s = screen.pictures, time.monotonic()
                # The moment in which a key comes has nothing to do with that of a picture.
                select.select([], [], [], chance.uniform(0.4, 0.6))
                pictures += screen.pictures - before
                looked_s += time.monotonic() - begun_s
                wire.stopped.clear()
                begun_s = time.monotonic()
                screen.press(b" ")
                if not wire.stopped.wait(WAIT_S):
                    alive = screen.process.poll() is None
                    raise TimeoutError(f"no stop line came at press {n}; alive: {alive}")
                times_ms.append((wire.stopped_s - begun_s) * 1000)
                hand.wait_for("move", lambda move: move["kind"] == "held")
            hand.news.clear()
            hand.wait_for("status", lambda status: status["state"] != "NUDGING")
            begun_s = time.monotonic()
            hand.ask("status")
            bare_ms.append((time.monotonic() - begun_s) * 1000)
    return {
        "p50_ms": statistics.median(times_ms),
        "p99_ms": statistics.quantiles(times_ms, n=100)[98],
        "max_ms": max(times_ms),
        "pictures_per_s": pictures / looked_s,
        "bare_p50_ms": statistics.median(bare_ms),
        "bare_p99_ms": statistics.quantiles(bare_ms, n=100)[98],
    }
