"""The real thing: `benchd simulate` and `benchd serve` as processes, a pty between them."""

from __future__ import annotations

import json
import os
import re
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.waiting import WAIT_S, NotInTime

EXAMPLES = Path(__file__).parents[2] / "benchd" / "examples"
BENCHD = str(Path(sys.executable).parent / "benchd")
PROOFS = {20: ["looked", "clear", "home"], 15: ["forward", "hardware", "wired"]}


class Refusal(Exception):
    """The daemon refused; `error` is the JSON-RPC error."""

    def __init__(self, error: dict[str, Any]) -> None:
        super().__init__(error["message"])
        self.error = error


class Terminal:
    """One client connection: asks, and hears the news."""

    def __init__(self, path: Path) -> None:
        self._socket = socket.socket(socket.AF_UNIX)
        self._socket.settimeout(WAIT_S)
        self._socket.connect(str(path))
        self._rest = b""
        self._id = 0
        self.news: list[tuple[str, dict[str, Any]]] = []
        self._answers: dict[int, dict[str, Any]] = {}

    def close(self) -> None:
        """Close the connection, as a closed terminal does."""
        self._socket.close()

    def send(self, method: str, **params: Any) -> int:
        """Ask without waiting; return the number of the question."""
        self._id += 1
        ask = {"jsonrpc": "2.0", "id": self._id, "method": method, "params": params}
        self._socket.sendall(json.dumps(ask).encode() + b"\n")
        return self._id

    def answer(self, number: int) -> Any:
        """Wait for the answer to a question."""
        self._read_until(lambda: number in self._answers)
        said = self._answers.pop(number)
        if "error" in said:
            raise Refusal(said["error"])
        return said["result"]

    def ask(self, method: str, **params: Any) -> Any:
        """Ask and wait for the answer."""
        return self.answer(self.send(method, **params))

    def arm(self) -> None:
        """Arm a dry stroke, as soon as the feed has been at rest for long enough."""
        for _ in range(1000):
            try:
                self.ask("arm")
                return
            except Refusal as no:
                if no.error["data"]["condition"] != "IL-03":
                    raise
        raise NotInTime("the feed does not come to rest")

    def wait_for(self, topic: str, right: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """Wait for news of a topic that is right; news that came before count."""
        found: list[dict[str, Any]] = []

        def look() -> bool:
            found.extend(data for name, data in self.news if name == topic and right(data))
            return bool(found)

        self._read_until(look)
        return found[0]

    def _read_until(self, done: Callable[[], bool]) -> None:
        end_s = time.monotonic() + WAIT_S
        while not done():
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not select.select([self._socket], [], [], left_s)[0]:
                raise NotInTime(f"not within {WAIT_S} s; last news: {self.news[-3:]}")
            data = self._socket.recv(65_536)
            if not data:
                raise ConnectionError("the daemon closed the connection")
            *lines, self._rest = (self._rest + data).split(b"\n")
            for line in lines:
                said = json.loads(line)
                if "method" in said:
                    self.news.append((said["method"], said["params"]))
                else:
                    self._answers[said["id"]] = said


class Process:
    """A process whose output lines can be waited for."""

    def __init__(self, arguments: list[str], folder: Path, environment: dict[str, str]) -> None:
        self._process = subprocess.Popen(
            arguments,
            cwd=folder,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        self.output = ""

    @property
    def pid(self) -> int:
        """Number of the process."""
        return self._process.pid

    def wait_for(self, text: str) -> None:
        """Wait until the output has this text."""
        out = self._process.stdout
        assert out is not None
        end_s = time.monotonic() + WAIT_S
        while text not in self.output:
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not select.select([out], [], [], left_s)[0]:
                raise NotInTime(f"no '{text}' within {WAIT_S} s in: {self.output}")
            data = os.read(out.fileno(), 65_536)
            if not data:
                raise AssertionError(f"ended without saying '{text}': {self.output}")
            self.output += data.decode()

    def control(self, line: str) -> None:
        """Give the simulator a control line and wait until it is done."""
        assert self._process.stdin is not None
        self._process.stdin.write(line.encode() + b"\n")
        self._process.stdin.flush()
        self.wait_for(f'"did": "{line}"')
        self.output = ""

    def end(self, number: int = signal.SIGTERM) -> int:
        """Send a signal and wait for the end; the exit status."""
        if self._process.poll() is None:
            self._process.send_signal(number)
        rest, _ = self._process.communicate(timeout=WAIT_S)
        self.output += rest.decode()
        return self._process.returncode


class RealBench:
    """A simulated bench and its daemon in a folder of their own."""

    def __init__(self, folder: Path, card: str = "bench.yaml") -> None:
        self.folder = folder
        text = (EXAMPLES / card).read_text()
        # The simulated bench opens this port, whatever the card of a real one names.
        text = re.sub(r"^port: \S+", "port: ./bench-port", text, flags=re.MULTILINE)
        # A busy machine must not let leases lapse, which is not what these tests are about.
        self.card_text = text + "\nlease:\n  program: 4 s\n"
        (folder / "bench.yaml").write_text(self.card_text)
        self.masa = (EXAMPLES / "masa.yaml").read_text()
        (folder / "masa.yaml").write_text(self.masa)
        (folder / "run").mkdir(exist_ok=True)
        self.environment = {
            **os.environ,
            "XDG_RUNTIME_DIR": str(folder / "run"),
            "XDG_STATE_HOME": str(folder / "state"),
        }
        self._processes: list[Process] = []
        self._terminals: list[Terminal] = []

    def start(self, *arguments: str) -> Process:
        """Start a benchd command in the bench's folder."""
        process = Process([BENCHD, *arguments], self.folder, self.environment)
        self._processes.append(process)
        return process

    def simulate(self, *arguments: str) -> Process:
        """Start the simulated bench and wait until its port is there."""
        fixed = ("--link", "bench-port", "--seed", "1", "--json-lines")
        process = self.start("simulate", "bench.yaml", *fixed, *arguments)
        process.wait_for('"ready"')
        return process

    def serve(self, card: str = "bench.yaml") -> Process:
        """Start the daemon and wait until it serves."""
        process = self.start("serve", card)
        process.wait_for("is served")
        return process

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        return subprocess.run(
            [BENCHD, *arguments],
            cwd=self.folder,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=WAIT_S,
            check=False,
        )

    def terminal(self) -> Terminal:
        """Open a client connection that follows all news."""
        (path,) = (self.folder / "run" / "benchd").glob("*.socket")
        terminal = Terminal(path)
        terminal.ask("follow")
        self._terminals.append(terminal)
        return terminal

    def journals(self) -> list[Path]:
        """Return the journals of this bench, oldest first."""
        return sorted((self.folder / "state" / "benchd").glob("*/*.journal"))

    def prove(self, terminal: Terminal) -> None:
        """Do what a person does after power-up: look, prove, say where the feed stands."""
        terminal.wait_for("status", lambda status: status["pins"]["adopted"])
        for number, words in PROOFS.items():
            terminal.ask("clear", interlock=number, name="tester", words=words)
        terminal.ask("here", position_m=0.0)

    def make_ready(self, terminal: Terminal) -> None:
        """Bring the bench to where it makes portions."""
        self.prove(terminal)
        terminal.ask("tube_in", id="T1")
        assert terminal.ask("approach")["ending"] == "contact"
        assert terminal.ask("prime")["ending"] == "flowing"
        terminal.arm()
        assert terminal.ask("fire")["outcome"] == "complete"

    def make_smallest_ready(self, terminal: Terminal) -> None:
        """Likewise where no thrust tells of contact: a person jogs until the eye sees dough."""
        self.prove(terminal)
        terminal.ask("teach", what="empty")
        terminal.ask("tube_in", id="T1")
        while terminal.ask("status")["eye_counts"] < 400:
            terminal.ask("jog", distance_m=0.005)
        terminal.ask("teach", what="dough")
        terminal.ask("contact")
        assert terminal.ask("prime")["ending"] == "flowing"
        terminal.arm()
        terminal.ask("fire")

    def end(self) -> None:
        """End everything that still runs."""
        for terminal in self._terminals:
            terminal.close()
        for process in reversed(self._processes):
            process.end(signal.SIGKILL)


@pytest.fixture
def real_bench(tmp_path: Path) -> Iterator[RealBench]:
    """A bench that was not started yet."""
    bench = RealBench(tmp_path)
    yield bench
    bench.end()
