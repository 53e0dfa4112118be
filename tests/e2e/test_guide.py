"""The guide's page of the whole job tells the truth: every command on it runs as it stands, in the
order of the page, on a simulated bench in the place of a real one."""

from __future__ import annotations

import re
import shlex
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.e2e.conftest import Process, RealBench, Terminal

PAGE = Path(__file__).parents[2] / "benchd" / "guide" / "job.md"

CONSENT = ("jog", "tube", "cut", "portion", "series", "resume", "relieve")
"""Commands that ask before they move something; the reader says yes."""

PROOFS = {
    "clear IL-20": ("--name", "reader", "--words", "looked,clear,home"),
    "clear IL-15": ("--name", "reader", "--words", "forward,hardware,wired"),
}
"""What the reader types when a proof is asked for."""


def typed() -> list[str]:
    """The commands of the page's blocks, in order, without the program's name."""
    blocks = re.findall(r"^```\n(.*?)^```", PAGE.read_text("utf-8"), re.MULTILINE | re.DOTALL)
    return [line.removeprefix("benchd ") for block in blocks for line in block.splitlines()]


class Reader:
    """Somebody who follows the page: one terminal for the job, another to look and to pause."""

    def __init__(self, bench: RealBench) -> None:
        self.bench = bench
        self.daemon = bench.serve()
        self.terminal: Terminal = bench.terminal()
        self.terminal.wait_for("status", lambda status: status["pins"]["adopted"])
        self.running: Process | None = None

    def type(self, command: str) -> None:
        """Do what a person does who types this command now."""
        words = shlex.split(command)
        given = [*words, *PROOFS.get(command, ())]
        if words[0] in CONSENT:
            given.append("--yes")
        SPECIAL.get(words[0], Reader.run)(self, given)

    def run(self, words: list[str]) -> None:
        """Run a command to its end; it must do what it was asked."""
        done = self.bench.run(*words)
        assert done.returncode == 0, (words, done.stdout, done.stderr)
        assert "Traceback" not in done.stderr

    def series(self, words: list[str]) -> None:
        """Start or resume a series in this terminal, and wait until its portion is under way."""
        # A fresh connection: news of what was typed before would be taken for those of this.
        self.terminal = self.bench.terminal()
        self.running = self.bench.start(*words)
        self.terminal.wait_for("status", lambda status: status["phase"] == "push")

    def pause(self, words: list[str]) -> None:
        """Pause or finish from the other terminal; the series in the first one says so."""
        self.run(words)
        what = {"pause": "paused", "finish": "ended"}[words[0]]
        self.terminal.wait_for("series", lambda series: series["what"] == what)
        assert self.running is not None
        self.running.wait_for(f"Series {what}")

    def journal(self, words: list[str]) -> None:
        """The day is closed with Ctrl-C in the daemon's terminal before its journals are listed."""
        if words[1] == "list":
            assert self.daemon.end(signal.SIGINT) == 0
        self.run(words)


SPECIAL: dict[str, Callable[[Reader, list[str]], None]] = {
    "series": Reader.series,
    "resume": Reader.series,
    "pause": Reader.pause,
    "finish": Reader.pause,
    "journal": Reader.journal,
}


def test_the_page_has_the_whole_job_on_it() -> None:
    names = [shlex.split(command)[0] for command in typed()]
    order = [
        *("status", "clear", "here", "jog", "eye", "set", "cut", "tube", "portion", "weigh"),
        *("series", "pause", "resume", "finish", "replay", "relieve"),
    ]
    firsts = [names.index(name) for name in order]
    assert firsts == sorted(firsts)


@pytest.mark.slow
def test_the_whole_job_runs_as_the_page_says(real_bench: RealBench) -> None:
    real_bench.simulate()
    reader = Reader(real_bench)
    for command in typed():
        reader.type(command)
