"""The demo: its summary by numbers worked by hand, and one short run of the whole."""

from __future__ import annotations

import contextlib
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import scipy.stats  # noqa: F401  (Loading these takes longer than a fast test may.)

from benchd.cli.demo import EVERY_S, oddest
from benchd.cli.demo_parts import ENDINGS, Ask, Processes, end_as_by_ctrl_c, summary
from benchd.config import bench_card, dough, read_card
from benchd.core.facts import portion_time_s
from benchd.io import paths
from benchd.io.request_client import Client
from benchd.io.request_errors import Refused
from tests.cli.fake_daemon import FakeDaemon, Refusal

EXAMPLES = Path(__file__).resolve().parents[2] / "benchd" / "examples"


def record(number: int, kind: str = "normal") -> dict[str, object]:
    return {"number": number, "class": kind, "aim_kg": 0.030}


def test_the_summary_judges_normal_portions_only() -> None:
    """29, 30, 31 g: mean 30, sd 1, t(0.975, 2) = 4.303, so 30 -+ 2.48 g (NIST table 1.3.6.7.2)."""
    made = [record(1, "first"), record(2), record(3), record(4)]
    lines = list(summary(made, {1: 0.050, 2: 0.029, 3: 0.030, 4: 0.031}))
    assert lines[0] == "4 portions made, 4 weighed, 140.0 g in all."
    assert lines[1].startswith("Mean 30.0 g (27.5 g to 32.5 g), aim 30.0 g; spread 3.3 % (1.7 to ")
    assert lines[1].endswith("n 3 of class normal.")
    assert "no verdict" in lines[-1]


def test_too_few_weights_give_no_mean() -> None:
    lines = list(summary([record(1, "first"), record(2)], {1: 0.03, 2: 0.03}))
    assert lines[1:] == ["Too few normal portions for a mean with an interval."]


def test_the_portion_to_look_at_is_the_odd_one() -> None:
    assert oddest({1: 0.030, 2: 0.031, 3: 0.020, 4: 0.0305}) == 3
    assert oddest({}) == 1
    tripped = [{"number": 1, "outcome": "complete"}, {"number": 2, "outcome": "tripped"}]
    assert oddest({1: 0.030}, tripped) == 2


@pytest.mark.slow
def test_the_period_is_one_that_the_example_cards_allow() -> None:
    facts = bench_card(read_card(EXAMPLES / "bench.yaml"), "bench.yaml").facts
    masa = dough(read_card(EXAMPLES / "masa.yaml"), "masa.yaml", facts)
    assert portion_time_s(facts, masa) * 1.05 + 0.1 < EVERY_S < 6


def test_a_refusal_of_the_series_is_not_waited_for(daemon: FakeDaemon) -> None:
    daemon.answers["series"] = Refusal(-32001, "Air is low.")
    with Client("maize", path=paths.socket_path("maize")) as client:
        asked = Ask(client, "series", {})
        assert asked.failed(5.0)
        with pytest.raises(Refused, match="Air is low"):
            asked.result()


@pytest.mark.slow
def test_one_portion_from_start_to_end() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchd", "demo", "--count", "1"],
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"^ +1 first +\d+\.\d mm .* \d+ N +\d+\.\d g$", done.stdout, re.MULTILINE)
    assert "1 portion made, 1 weighed" in done.stdout
    journal = Path(done.stdout.split(" journal check ")[-1].strip())
    assert journal.resolve().suffix == ".journal"
    verified = subprocess.run(
        [sys.executable, "-m", "benchd", "replay", str(journal), "--verify"],
        capture_output=True,
        text=True,
    )
    assert verified.returncode == 0, verified.stdout


@pytest.fixture
def handlers() -> Iterator[None]:
    """What this test does to signals ends with it."""
    before = [signal.getsignal(number) for number in ENDINGS]
    yield
    for number, handler in zip(ENDINGS, before, strict=True):
        signal.signal(number, handler)


@pytest.mark.parametrize("number", ENDINGS)
def test_only_the_first_signal_interrupts(number: signal.Signals, handlers: None) -> None:
    end_as_by_ctrl_c()
    with pytest.raises(KeyboardInterrupt):
        signal.raise_signal(number)
    for again in ENDINGS:
        signal.raise_signal(again)


@pytest.mark.parametrize("number", ENDINGS)
def test_a_signal_as_the_end_begins_leaves_nothing_running(
    number: signal.Signals, handlers: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    end_as_by_ctrl_c()
    sleeper = subprocess.Popen(["sleep", "600"])
    processes = Processes(tmp_path)
    processes._running.append(("sleep", sleeper))
    change = signal.signal

    def change_late(which: signal.Signals, handler: Any) -> Any:
        monkeypatch.undo()
        signal.raise_signal(number)
        return change(which, handler)

    monkeypatch.setattr(signal, "signal", change_late)
    try:
        processes.end()
        assert sleeper.poll() is not None
    finally:
        sleeper.kill()
        sleeper.wait()


@pytest.mark.slow
@pytest.mark.parametrize("number", ENDINGS)
def test_whatever_ends_a_demo_ends_its_processes(number: signal.Signals) -> None:
    """Twice in a row, as impatient people do."""
    demo = subprocess.Popen(
        [sys.executable, "-m", "benchd", "demo", "--count", "1"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert demo.stdout is not None
    folder = demo.stdout.readline().split()[-1].rstrip(".").encode()
    for line in demo.stdout:
        if line.startswith("$ benchd tube in"):
            break
    demo.send_signal(number)
    assert demo.stderr is not None
    assert demo.stderr.readline() == "The bench is stopped.\n"
    with contextlib.suppress(ProcessLookupError):
        demo.send_signal(number)
    assert demo.wait(60) == 1
    running = subprocess.run(["ps", "-eo", "args"], capture_output=True, check=True).stdout
    assert b"ps -eo args" in running
    assert folder not in running
