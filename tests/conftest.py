"""House rules of a test run: nothing skipped in CI, seeds to replay, slow tests named."""

from __future__ import annotations

import os
import secrets
import signal
import tempfile
import time
import zlib
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings, strategies

if TYPE_CHECKING:
    from tests.mosquitto import Mosquitto, Watcher

IN_CI = os.environ.get("CI") == "true"
SLOW_AFTER_S = 0.25
TOO_SLOW_CPU_S = 4 * SLOW_AFTER_S
"""Processor time of this process at which a test without the mark `slow` fails: on a busy machine
it lasts longer, and takes hardly more of that."""

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A script's shell has what runs in its background ignore Ctrl-C, and so would all started here.
    signal.signal(signal.SIGINT, signal.default_int_handler)

# In CI the same commit must give the same verdict; elsewhere each run looks somewhere new.
settings.register_profile("ci", derandomize=True, print_blob=True, deadline=None)
settings.register_profile("here", print_blob=True, deadline=None)
settings.load_profile("ci" if IN_CI else "here")


@pytest.fixture
def short_folder() -> Iterator[Path]:
    """A folder with a short name, for a socket's path must be short."""
    with tempfile.TemporaryDirectory(prefix="b-") as name:
        yield Path(name)


@pytest.fixture
def seed(request: pytest.FixtureRequest) -> int:
    """A seed for this test: BENCHD_SEED if set, fixed per test in CI, else new each time.

    A failing test shows its seed, and the variable that replays it.
    """
    asked = os.environ.get("BENCHD_SEED")
    if asked is not None:
        return int(asked)
    if IN_CI:
        return zlib.crc32(request.node.nodeid.encode())
    return secrets.randbits(32)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker of this test's own."""
    from tests.mosquitto import Mosquitto

    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Mosquitto(folder)
    yield broker
    broker.end()


@pytest.fixture
def watcher(broker: Mosquitto) -> Iterator[Watcher]:
    """One who hears what that broker is given."""
    from tests.mosquitto import Watcher

    watcher = Watcher(broker.port)
    yield watcher
    watcher.end()


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Has the table of all signs ready, which takes seconds once and is kept in a folder."""
    if item.get_closest_marker("hypothesis") is not None:
        strategies.text().validate()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None]:
    """Fails a test that works for far too long and is not marked slow."""
    before_s = time.process_time()
    yield
    cpu_s = time.process_time() - before_s
    if cpu_s > TOO_SLOW_CPU_S and item.get_closest_marker("slow") is None:
        pytest.fail(f"{cpu_s:.2f} s of processor time: mark it slow, or make it quicker", False)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Adds the seed to a failure, and makes a skip a failure in CI."""
    report = yield
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"Skipped, which CI does not allow: {_reason(report.longrepr)}"
    if report.failed and "seed" in getattr(item, "funcargs", {}):
        replay = f"BENCHD_SEED={item.funcargs['seed']} replays this test."
        report.sections.append(("seed", replay))
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Makes a whole file that skips itself a failure in CI."""
    report = yield
    if IN_CI and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"Skipped, which CI does not allow: {_reason(report.longrepr)}"
    return report


def _reason(longrepr: object) -> str:
    return str(longrepr[2]) if isinstance(longrepr, tuple) else str(longrepr)


def pytest_configure(config: pytest.Config) -> None:
    """Starts the list of tests that took too long without being marked slow."""
    config.pluginmanager.register(SlowWatch(), "slow-watch")


class SlowWatch:
    """Notes each test over the limit that lacks the mark `slow`, and lists them at the end."""

    def __init__(self) -> None:
        self.found: list[tuple[str, float]] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Notes the test if its own part took too long."""
        too_long = report.when == "call" and report.duration > SLOW_AFTER_S
        if too_long and "slow" not in report.keywords:
            self.found.append((report.nodeid, report.duration))

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Lists what was noted."""
        if self.found:
            title = f"over {SLOW_AFTER_S} s and not marked slow"
            terminalreporter.section(title, yellow=True)
            for nodeid, duration_s in sorted(self.found, key=lambda pair: -pair[1]):
                terminalreporter.write_line(f"{duration_s:.2f} s  {nodeid}")
