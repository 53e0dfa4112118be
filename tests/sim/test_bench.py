"""The simulated bench in real time: a real pseudo terminal, a real process, a host that comes and
goes."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import select
import signal
import subprocess
import sys
import termios
import time
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from protocols.errors import FrameError
from protocols.framing import LineDecoder, frame
from protocols.messages import Beat, Bench, decode
from sim import bench
from sim.controls import CONTROLS
from sim.faults import Fault, Faults
from sim.pty_port import STALE_BYTES, PortError, PtyPort
from sim.rig import SWITCHES, FaultBegan, PieceFell, Rig, TubeIn, TubeLow
from sim.rig_spec import rig_spec
from tests.sim.wire_host import EXAMPLES, example_card

LIMIT_S = 20.0
TIOCGEXCL = 0x80045440
"""Linux, asm-generic/ioctls.h; the standard library has no name for it."""
START = """
import sys
from sim.bench import run
sys.exit(run(sys.argv[1], sys.argv[2], 1, sys.argv[4:], sys.argv[3] == "json"))
"""


def started(link: Path, mode: str = "json", *faults: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", START, str(EXAMPLES / "bench.yaml"), str(link), mode, *faults]
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )


class Simulator:
    """A simulated bench as a process of its own, and what it prints."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.process = started(link)
        self._rest = b""
        self.said: list[dict[str, Any]] = []
        self.wait("ready")

    def wait(self, key: str) -> dict[str, Any]:
        """Waits for the next line that has this key."""
        assert self.process.stdout is not None
        end_s = time.monotonic() + LIMIT_S
        while True:
            while b"\n" in self._rest:
                line, _, self._rest = self._rest.partition(b"\n")
                self.said.append(json.loads(line))
                if key in self.said[-1]:
                    return self.said[-1]
            left_s = max(0.0, end_s - time.monotonic())
            ready = select.select([self.process.stdout], (), (), left_s)[0]
            assert ready, f"no '{key}'; it said {self.said}"
            data = os.read(self.process.stdout.fileno(), 4096)
            assert data, f"it ended; it said {self.said}"
            self._rest += data

    def control(self, line: str) -> dict[str, Any]:
        """Sends a control line; returns what it said to that."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n".encode())
        self.process.stdin.flush()
        done = self.wait("did")
        assert done["did"] == line
        return done

    def end(self) -> int:
        """Ends it as a service manager would."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(LIMIT_S)


class Host:
    """A host with the port open."""

    def __init__(self, path: Path) -> None:
        self.fd = os.open(path, os.O_RDWR | os.O_NOCTTY)
        termios.tcflush(self.fd, termios.TCIFLUSH)
        self._decoder = LineDecoder()
        self._heard: deque[bytes | FrameError] = deque()

    def greeting(self, boot: int | None = None) -> Bench:
        """Greets until a board answers, of another start than this one. A greeting is lost where
        it arrives while the board resets, and so is said again, as the daemon's is."""
        end_s = time.monotonic() + LIMIT_S
        while time.monotonic() < end_s:
            self.say(b"hello")
            again_s = time.monotonic() + 0.5
            while (said := self._next(again_s, Bench)) is not None:
                if said.boot != boot:
                    return said
        raise AssertionError(f"no start after {boot}")

    def next(self, *kinds: type) -> Any:
        """Waits for a message of one of these kinds; the port may be opened within a line."""
        message = self._next(time.monotonic() + LIMIT_S, *kinds)
        assert message is not None, f"nothing of {kinds}"
        return message

    def _next(self, end_s: float, *kinds: type) -> Any:
        while True:
            while self._heard:
                item = self._heard.popleft()
                if not isinstance(item, FrameError) and isinstance(m := decode(item), kinds):
                    return m
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not select.select([self.fd], (), (), left_s)[0]:
                return None
            self._heard += self._decoder.feed(os.read(self.fd, 4096))

    def hung_up(self) -> bool:
        """Reads on until the port is gone."""
        try:
            while select.select([self.fd], (), (), LIMIT_S)[0]:
                if not os.read(self.fd, 4096):
                    return True
        except OSError:
            return True
        return False

    def wait_unclaimed(self) -> None:
        """Waits until the port takes others in; root is let in anyway and would see nothing."""
        end_s = time.monotonic() + LIMIT_S
        while any(fcntl.ioctl(self.fd, TIOCGEXCL, bytes(4))):
            assert time.monotonic() < end_s, "the port is still claimed"

    def say(self, body: bytes) -> None:
        os.write(self.fd, frame(body))

    def close(self) -> None:
        os.close(self.fd)


@pytest.fixture
def simulator(tmp_path: Path) -> Iterator[Simulator]:
    made = Simulator(tmp_path / "port")
    yield made
    if made.process.poll() is None:
        made.process.kill()
        made.process.wait(LIMIT_S)
    for pipe in (made.process.stdin, made.process.stdout, made.process.stderr):
        assert pipe is not None
        with contextlib.suppress(BrokenPipeError):
            pipe.close()


@pytest.mark.slow
def test_a_host_may_come_go_and_come_again(simulator: Simulator) -> None:
    first = Host(simulator.link)
    greeting = first.greeting()
    nonce = first.next(Beat).nonce
    # A real port forgets who claimed it; ours stays open in the simulator and must be told to.
    fcntl.ioctl(first.fd, termios.TIOCEXCL)
    first.close()
    second = Host(simulator.link)
    if sys.platform == "linux":
        second.wait_unclaimed()
    assert second.greeting().boot == greeting.boot
    assert second.next(Beat).nonce > nonce
    second.close()
    assert simulator.end() == 0
    assert not simulator.link.is_symlink()


@pytest.mark.slow
def test_switches_and_resets_by_control_lines(simulator: Simulator) -> None:
    host = Host(simulator.link)
    boot = host.greeting().boot
    assert simulator.control("reset watchdog")["done"]
    again = host.greeting(boot)
    assert (again.boot, again.cause) == (boot + 1, "watchdog")
    why = simulator.control("press lamp on")
    assert not why["done"]
    assert "press NAME on" in why["why"]
    assert simulator.control("press guard off")["done"]
    host.close()


@pytest.mark.slow
def test_unplugging_hangs_up_and_plugging_brings_the_same_board(simulator: Simulator) -> None:
    host = Host(simulator.link)
    boot = host.greeting().boot
    simulator.control("unplug")
    assert not os.path.lexists(simulator.link)
    assert host.hung_up()
    host.close()
    simulator.control("plug")
    host = Host(simulator.link)
    assert host.greeting().boot == boot
    host.close()


@pytest.mark.slow
def test_what_cannot_be_started_says_why(tmp_path: Path) -> None:
    taken = tmp_path / "port"
    taken.write_text("precious")
    process = started(taken, "text", "void@0")
    _, errors = process.communicate(timeout=LIMIT_S)
    assert process.returncode == 1
    assert b"void@7" in errors
    process = started(taken, "text")
    _, errors = process.communicate(timeout=LIMIT_S)
    assert process.returncode == 1
    assert errors.count(b"\n") == 1
    assert b"--link" in errors
    assert taken.read_text() == "precious"


def test_a_link_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    link = tmp_path / "port"
    first = PtyPort(link)
    second = PtyPort(link)
    first.unplug()
    assert link.is_symlink()
    second.unplug()
    assert not link.is_symlink()


def test_no_folder_for_the_link_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(PortError, match="no such file") as caught:
        PtyPort(tmp_path / "missing" / "port")
    assert "\n" not in str(caught.value)


def test_bytes_that_nobody_reads_are_lost_and_new_ones_come(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "port")
    fd = os.open(port.link, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    for number in range(200):
        before = unread(fd)
        port.write(b"%095d\n" % number)
        end_s = time.monotonic() + LIMIT_S
        # The kernel carries bytes across by itself, a moment later.
        while unread(fd) == before:
            assert time.monotonic() < end_s
    waiting = os.read(fd, 100_000)
    assert len(waiting) <= STALE_BYTES + 96
    assert int(waiting.split(b"\n")[-2]) == 199
    os.close(fd)
    port.unplug()


def unread(fd: int) -> int:
    return int.from_bytes(fcntl.ioctl(fd, termios.FIONREAD, bytes(4)), sys.byteorder)


class LateClock:
    """A clock that jumps now and then, and ends the bench after so many looks."""

    def __init__(self, jumps_ns: list[int]) -> None:
        self.now_ns = 0
        self._jumps_ns = jumps_ns
        self.bench: bench.Bench | None = None

    def __call__(self) -> int:
        if not self._jumps_ns:
            assert self.bench is not None
            self.bench.end()
            return self.now_ns
        self.now_ns += self._jumps_ns.pop(0)
        return self.now_ns


@pytest.mark.slow
def test_board_time_follows_the_clock_but_not_its_own_lateness(tmp_path: Path) -> None:
    rig = Rig(rig_spec(example_card()), 1, Faults())
    port = PtyPort(tmp_path / "port")
    ms = 1_000_000
    clock = LateClock([0, 5 * ms, 7 * ms, 25 * ms, 10_000 * ms, 5 * ms + 300])
    clock.bench = bench.Bench(rig, port, lambda *_: None)
    clock.bench.serve(None, clock)
    # 5 + 7 + 25 ms as they came; of the ten seconds no more than a tick and 20 ms.
    assert rig.t_us == 5_000 + 7_000 + 25_000 + 25_000 + 5_000
    port.unplug()


def test_every_control_that_help_names_is_understood(tmp_path: Path) -> None:
    said: list[dict[str, Any]] = []
    port = PtyPort(tmp_path / "port")
    rig = Rig(rig_spec(example_card()), 1)
    served = bench.Bench(rig, port, lambda _, values: said.append(values))
    lines = [line.split() for line in CONTROLS.splitlines() if not line.startswith(" ")]
    for word, *_ in lines:
        typed = [f"press {name} {on}" for name in SWITCHES for on in ("on", "off")]
        for line in typed if word == "press" else [word]:
            served.control(line)
    served.control("reset lowvolt")
    assert len(said) == 2 * len(SWITCHES) + len(lines)
    assert all(values["done"] for values in said), said
    served.control("jump")
    assert said[-1]["done"] is False
    port.unplug()


def test_each_piece_of_news_has_a_sentence_and_an_object() -> None:
    told = [
        bench.told(news)
        for news in (
            PieceFell(1, 3, 0.0301873, 0.0302),
            PieceFell(1, 0, 0.010, 0.0101),
            FaultBegan(1, Fault("void", 7, 2.5)),
            TubeIn(1),
            TubeLow(1, 0.0199),
        )
    ]
    assert all(sentence[-1] == "." and "\n" not in sentence for sentence, _ in told)
    assert [json.loads(json.dumps(values)) for _, values in told] == [values for _, values in told]
    assert len({sentence for sentence, _ in told}) == len(told)
    assert told[0] == (
        "Portion 3 fell; the scale reads 30.2 g.",
        {"piece": 3, "scale_g": 30.2, "mass_g": 30.187},
    )


def test_a_dough_card_that_is_none_or_no_paste_is_refused_in_sentences(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paste = tmp_path / "paste.yaml"
    text = (EXAMPLES / "masa.yaml").read_text("utf-8")
    paste.write_text(f"{text}flow:\n  law: paste\n", "utf-8")
    card, link = EXAMPLES / "bench.yaml", tmp_path / "port"
    assert bench.run(card, link, 1, dough_path=paste) == 1
    assert "give 'paste.entry_rise' or 'paste.wall_rise' above 0" in capsys.readouterr().err
    assert bench.run(card, link, 1, dough_path=card) == 1
    assert "'dough' is missing" in capsys.readouterr().err
    assert not link.exists()
