"""What takes over a second shows that it goes on, on a terminal and elsewhere, and is gone then."""

from __future__ import annotations

import io
import os
import pty
import re
import select
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from benchd.cli import explaining, journals, judging, progress, replaying, trying
from benchd.cli.command import note, say
from protocols.requests import REQUESTS
from tests.analysis import weights as make
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon

Benchd = Callable[..., Outcome]


class Screen(io.StringIO):
    """Standard error as a terminal."""

    def isatty(self) -> bool:
        return True

    def line(self) -> str:
        """Return what stands in the last line, as a terminal shows it."""
        shown = ""
        for part in self.getvalue().rpartition("\n")[2].split("\r"):
            shown = part + shown[len(part) :]
        return shown.rstrip()


@pytest.fixture(autouse=True)
def _fresh() -> Iterator[None]:
    progress._shown = ""
    yield
    progress._shown = ""


def terminal(monkeypatch: pytest.MonkeyPatch, term: str = "xterm") -> Screen:
    # Called by each test itself: pytest puts its own stream back after the fixtures.
    made = Screen()
    monkeypatch.setattr(sys, "stderr", made)
    monkeypatch.setenv("TERM", term)
    return made


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What commands say that they do, in order; two at a time are an error."""
    labels: list[str] = []
    within: list[str] = []

    @contextmanager
    def working(label: str) -> Iterator[None]:
        assert not within, "two lines would be written over one another"
        labels.append(label)
        within.append(label)
        try:
            yield
        finally:
            within.pop()

    for module in (explaining, journals, judging, replaying, trying):
        monkeypatch.setattr(module, "working", working)
    return labels


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "labels"),
    [
        (["judge"], ["The journals are read", "The weights are judged"]),
        (["why"], ["The journals are read", "The portions are compared"]),
        (["report"], ["The page is made"]),
        (["journal", "show"], ["The journal is read"]),
    ],
)
def test_what_may_take_long_tells_one_thing_at_a_time(
    words: list[str],
    labels: list[str],
    shown: list[str],
    benchd: Benchd,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    path = make.write_journal(tmp_path / "a.journal", make.series([30.0] * 9))
    assert benchd(*words, str(path)).code == 0
    assert shown == labels


def test_replay_and_trial_tell_what_takes_long(
    shown: list[str], benchd: Benchd, tmp_path: Path
) -> None:
    path = str(make.write_journal(tmp_path / "a.journal", make.series([30.0] * 9)))
    # It has no state to replay from and no travel to tell places by, and is read all the same.
    assert benchd("replay", path).code == 1
    assert benchd("replay", path, "--portion", "4", "--json").code == 1
    assert benchd("replay", path, "--verify").code == 1
    assert benchd("trial", "--journal", path, "1-4", "5-8").code == 1
    assert shown == [
        *["The journal is read"] * 2,
        "Every entry is read and its hash compared",
        "The stored inputs run through the core",
        "The journals are read",
        "The two groups are compared",
    ]


def test_on_a_terminal_one_line_counts_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = terminal(monkeypatch)
    progress.tick("jog", 1.0)
    assert screen.line() == "The feed moves ... 1 s"
    progress.tick("jog", 12.0)
    assert screen.line() == "The feed moves ... 12 s"
    progress.tick("fire", 13.0)
    assert screen.line() == "The blade moves ... 13 s"
    assert "\n" not in screen.getvalue()


@pytest.mark.parametrize("speak", [note, say])
def test_it_is_gone_before_something_else_is_said(
    speak: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    screen = terminal(monkeypatch)
    progress.tick("jog", 1.0)
    speak("Done.")
    said = screen.getvalue().removesuffix("Done.\n")
    assert said == f"\rThe feed moves ... 1 s\r{' ' * 22}\r"


@pytest.mark.parametrize("term", ["dumb", ""])
def test_a_terminal_that_cannot_go_back_is_told_once(
    term: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    screen = terminal(monkeypatch, term)
    for seconds in (1.0, 2.0, 3.0):
        progress.tick("prime", seconds)
    progress.clear()
    assert screen.getvalue() == "Priming ...\n"


def test_elsewhere_it_is_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    for seconds in (1.0, 2.0):
        progress.tick("status", seconds)
    progress.forget()
    said = capsys.readouterr()
    assert said.err == "Waiting for the daemon's answer to 'status' ...\n"
    assert said.out == ""


def test_every_word_is_of_a_request() -> None:
    assert set(progress.WORDS) <= set(REQUESTS)


def test_what_is_quick_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = terminal(monkeypatch)
    with progress.working("Counting"):
        pass
    assert screen.getvalue() == ""


def test_what_takes_long_counts_until_it_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = terminal(monkeypatch)
    shown = threading.Event()
    monkeypatch.setattr(progress, "AFTER_S", 0.001)
    real = progress.show

    def show(label: str, seconds: float) -> None:
        real(label, seconds)
        shown.set()

    monkeypatch.setattr(progress, "show", show)
    with progress.working("Counting"):
        assert shown.wait(5.0)
    assert "Counting ... " in screen.getvalue()
    assert screen.line() == ""
    with pytest.raises(ValueError, match="within"), progress.working("Failing"):
        raise ValueError("within")
    assert screen.line() == ""


@pytest.mark.slow
def test_a_command_that_waits_for_the_daemon_says_so(
    benchd: Benchd, daemon: FakeDaemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = threading.Event()
    real = progress.show

    def show(label: str, seconds: float) -> None:
        real(label, seconds)
        told.set()

    monkeypatch.setattr(progress, "show", show)

    def slowly(params: dict[str, Any]) -> dict[str, Any]:
        assert told.wait(30.0)
        return {"moved_m": 0.001, "ending": "reached", "position_m": 0.051}

    daemon.answers["jog"] = slowly
    shown = benchd("jog", "+1mm", "--yes")
    assert shown.code == 0
    assert "The feed moves ...\n" in shown.err


# Colour.


def on_a_terminal(words: list[str], environment: dict[str, str]) -> bytes:
    """Run a command with a terminal as all of its streams, and return what it wrote."""
    master, slave = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "benchd", *words],
        stdin=slave, stdout=slave, stderr=slave, env={**os.environ, **environment},
    ) as process:  # fmt: skip
        os.close(slave)
        text = b""
        try:
            while select.select([master], [], [], 30.0)[0]:
                text += os.read(master, 65_536)
        except OSError:
            pass  # The command has ended, and the terminal with it.
        process.wait(30.0)
    os.close(master)
    return text


@pytest.mark.slow
@pytest.mark.parametrize(
    "environment", [{"TERM": "xterm-256color"}, {"TERM": "dumb"}, {"NO_COLOR": "1"}]
)
@pytest.mark.parametrize("words", [["--help"], ["status"], ["jog", "--help"], ["jgo"], ["ports"]])
def test_no_command_prints_colour_or_control_sequences(
    words: list[str], environment: dict[str, str], daemon: FakeDaemon
) -> None:
    text = on_a_terminal(words, environment)
    assert text
    assert not re.search(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)
