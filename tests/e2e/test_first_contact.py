"""First contact as a person meets it: `benchd serve` on real ptys with the wrong thing, or nothing,
at their other end. Each condition is told once on its output, and stands in `benchd status`."""

from __future__ import annotations

import json
import os
import pty
import random
import select
import signal
import tty
from collections.abc import Callable, Iterator

import pytest

from protocols.framing import frame
from protocols.limits import PROTOCOL
from protocols.messages import Beat, Bench, encode
from tests.core.test_first_contact import bits_of, sampled
from tests.e2e.conftest import BENCHD, WAIT_S, Process, RealBench

pytestmark = pytest.mark.slow


class Peer:
    """Whatever sits at the far end of a port."""

    def __init__(self) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)

    def say(self, data: bytes) -> None:
        """Bytes for the host."""
        os.write(self.master, data)

    def hear(self, until: bytes) -> None:
        """Wait until the host has said this."""
        heard = b""
        while until not in heard:
            heard += read_soon(self.master)

    def close(self) -> None:
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def peer() -> Iterator[Peer]:
    made = Peer()
    yield made
    made.close()


def beats(count: int) -> bytes:
    return b"".join(
        frame(encode(Beat(n, 100_000 * n, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0))) for n in range(count)
    )


def wrong_speed() -> bytes:
    return sampled(bits_of(beats(60), random.Random(1)), 115_200, 250_000)


def greeting(version: int) -> bytes:
    board = Bench(version, "0.9.0", "abcdef12", "atm", 3, "power", 12, 0, 0, 0)
    return frame(encode(board))


CASES: dict[str, tuple[Callable[[], bytes], tuple[str, ...]]] = {
    "nothing": (lambda: b"", ("Nothing answers on ", "nothing came in 4 s", "benchd ports")),
    "something else": (
        lambda: b"\r\nconsole login: \r\n" * 45,
        ("Something else than a bench board answers", "'console login:'", "benchd ports"),
    ),
    "wrong speed": (wrong_speed, ("cannot be read at 250000 bit/s", "set 'baud'")),
    "other version": (
        lambda: greeting(PROTOCOL + 1),
        (f"speaks version {PROTOCOL + 1}", f"this program version {PROTOCOL}", "update benchd."),
    ),
    "deaf": (lambda: beats(5), ("does not hear us (5 good lines",)),
    "echo": (lambda: frame(b"hello") * 2, ("Only our own words come back", "2 lines")),
}


def serve_on(bench: RealBench, port: str, *options: str) -> Process:
    daemon = bench.start("serve", "bench.yaml", "--port", port, *options)
    daemon.wait_for("is served")
    return daemon


@pytest.mark.parametrize("case", CASES)
def test_who_is_there_is_told_once_and_stands_in_the_status(
    real_bench: RealBench, peer: Peer, case: str
) -> None:
    says, sentence = CASES[case]
    daemon = serve_on(real_bench, peer.path)
    terminal = real_bench.terminal()
    peer.hear(b"hello")
    peer.say(says())
    status = terminal.wait_for(
        "status", lambda data: all(part in data["waits_for"] for part in sentence)
    )
    assert status["state"] == "NO LINK"
    lines = real_bench.run("status").stdout
    assert lines.startswith("NO LINK; waits for the board; bench maize;")
    assert " ".join(sentence[0].split()) in " ".join(lines.split())
    refused = real_bench.run("jog", "+1mm", "--yes")
    assert refused.returncode == 1
    assert sentence[0] in refused.stderr
    assert daemon.end() == 0
    assert daemon.output.count(sentence[0]) == 1
    assert "Traceback" not in daemon.output


def test_a_board_that_answers_after_all_is_told(real_bench: RealBench) -> None:
    daemon = real_bench.start("serve", "bench.yaml")
    daemon.wait_for("There is no port ")
    real_bench.simulate()
    daemon.wait_for("The board answers: firmware ")
    assert daemon.output.count("There is no port ") == 1


def test_a_busy_port_names_who_has_it(real_bench: RealBench) -> None:
    real_bench.simulate()
    first = real_bench.serve()
    other = real_bench.card_text.replace("bench: maize", "bench: other")
    (real_bench.folder / "other.yaml").write_text(other)
    second = real_bench.start("serve", "other.yaml", "--log-json", "-v")
    second.wait_for("is served")
    assert second.end() == 0
    said = [json.loads(line) for line in second.output.splitlines() if line.startswith("{")]
    texts = [line["text"] for line in said if line["event"] == "said"]
    assert any("is in use by" in text and f"(process {first.pid})" in text for text in texts)
    assert all(line["time"].endswith("Z") for line in said)


def test_a_failure_that_lasts_is_told_and_recorded_once(real_bench: RealBench) -> None:
    daemon = real_bench.start("serve", "bench.yaml")
    daemon.wait_for("is served")
    terminal = real_bench.terminal()
    # Each second another try; each beat of the daemon's own clock publishes a status.
    began = terminal.ask("status")["now_ns"]
    terminal.wait_for("status", lambda data: data["now_ns"] > began + 2_500_000_000)
    assert daemon.end() == 0
    assert daemon.output.count("There is no port ") == 1
    shown = real_bench.run("journal", "show", "--everything", "--json").stdout
    assert shown.count('"input": "link-down"') == 1, shown


# The first serve on a real port.


def read_soon(fd: int) -> bytes:
    assert select.select([fd], [], [], WAIT_S)[0], "nothing more is said"
    return os.read(fd, 4096)


def type_into(bench: RealBench, arguments: list[str], answer: bytes) -> tuple[int, str]:
    """Run a command with a terminal in front of it; answer its question; return code and text."""
    pid, fd = pty.fork()
    if pid == 0:
        os.chdir(bench.folder)
        os.execve(str(arguments[0]), arguments, bench.environment)
    text = b""
    try:
        while b"Type yes:" not in text:
            text += read_soon(fd)
        os.write(fd, answer)
        while b"is served" not in text:
            text += read_soon(fd)
        os.kill(pid, signal.SIGTERM)
        while True:
            text += read_soon(fd)
    except OSError:
        pass  # The terminal is gone once the command has ended.
    finally:
        os.close(fd)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), text.decode()


@pytest.fixture
def real_port(real_bench: RealBench) -> str:
    """A name that counts as a real port though nothing is there: none is at hand in a test."""
    return "/dev/ttyACM77"


def test_a_real_port_is_asked_about_once(real_bench: RealBench, real_port: str) -> None:
    serve = [BENCHD, "serve", "bench.yaml", "--port", real_port]
    refused = real_bench.run(*serve[1:])
    assert refused.returncode == 2
    assert "add --yes" in refused.stderr
    assert "Stored force" in refused.stderr
    code, text = type_into(real_bench, serve, b"no\n")
    assert code == 1
    assert "Nothing was done" in text
    code, text = type_into(real_bench, serve, b"yes\n")
    assert code == 0
    assert f"There is no port {real_port}" in text
    again = serve_on(real_bench, real_port)
    again.end()
    assert "Stored force" not in again.output
    assert "does not make the bench safe" in again.output


def test_scripts_agree_with_yes_and_that_is_remembered(
    real_bench: RealBench, real_port: str
) -> None:
    for options in (("--yes",), ()):
        daemon = serve_on(real_bench, real_port, *options)
        daemon.end()
        assert ("Stored force" in daemon.output) == bool(options)


def test_a_name_that_becomes_a_real_port_meanwhile_is_not_opened(real_bench: RealBench) -> None:
    daemon = serve_on(real_bench, "./bench-port")
    (real_bench.folder / "bench-port").symlink_to("/dev/null")
    daemon.wait_for("is a real one by now, and nobody has agreed to it")
