"""What the screens cost: first picture, processor and memory at rest and in a series, pictures a
second; and the process that reads past journals, on one of a million entries."""

from __future__ import annotations

import contextlib
import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.bench.screens import Screen
from tests.e2e.conftest import RealBench, Terminal

SECONDS = 10.0


@contextmanager
def served(folder: Path) -> Iterator[tuple[RealBench, Terminal]]:
    """A simulated bench that is ready to make portions."""
    bench = RealBench(folder)
    try:
        bench.simulate()
        bench.serve()
        hand = bench.terminal()
        bench.make_ready(hand)
        yield bench, hand
    finally:
        bench.end()


def cpu_s(pid: int) -> float:
    """Processor time that a process has used [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(pid: int, what: str = "VmRSS") -> float:
    """Memory of a process [MB]."""
    text = Path(f"/proc/{pid}/status").read_text()
    return next(int(row.split()[1]) for row in text.splitlines() if row.startswith(what)) / 1e3


def used(screen: Screen, seconds: float = SECONDS) -> dict[str, float]:
    """Share of a core, and pictures a second, over some seconds."""
    pid = screen.process.pid
    before, before_s, begun_s = screen.pictures, cpu_s(pid), time.monotonic()
    select.select([], [], [], seconds)
    took_s = time.monotonic() - begun_s
    return {
        "share": (cpu_s(pid) - before_s) / took_s,
        "pictures_per_s": (screen.pictures - before) / took_s,
    }


def cost(folder: Path) -> dict[str, float]:
    """Return all figures of the screens."""
    with served(folder) as (bench, hand):
        paints_s, opens_s, opens_cpu_s, imports_s = [], [], [], []
        for _ in range(5):
            begun_s = time.monotonic()
            subprocess.run([sys.executable, "-c", "import textual.app"], check=True)
            imports_s.append(time.monotonic() - begun_s)
            begun_s = time.monotonic()
            screen = Screen(bench.environment, folder, "watch")
            screen.wait_for(b"ENERGY    barrel ")
            paints_s.append(time.monotonic() - begun_s)
            screen.wait_for(b"SPACE = stop now")
            opens_s.append(time.monotonic() - begun_s)
            opens_cpu_s.append(cpu_s(screen.process.pid))
            screen.end()
        screen = Screen(bench.environment, folder, "watch")
        screen.wait_for(b"SPACE = stop now")
        select.select([], [], [], 2.0)
        idle = used(screen)
        hand.send("series", dough=bench.masa, every_s=5.0, count=10)
        hand.wait_for("status", lambda status: status["state"] == "PORTIONING")
        series = used(screen)
        found = {
            "first_picture_s": sorted(paints_s)[2],
            "open_s": sorted(opens_s)[2],
            "open_cpu_s": sorted(opens_cpu_s)[2],
            "import_s": sorted(imports_s)[2],
            "idle_share": idle["share"],
            "series_share": series["share"],
            "series_pictures_per_s": series["pictures_per_s"],
            "memory_mb": memory_mb(screen.process.pid, "VmHWM"),
        }
        with contextlib.suppress(ProcessLookupError):
            screen.end()
        return found


def past(journal: Path) -> dict[str, tuple[float, float]]:
    """Return for each question about a journal the time until its answer [s], and the most memory
    that the process had by then [MB]."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "benchd.cli.studying", str(journal.parent)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert process.stdin is not None
    assert process.stdout is not None

    def ask(what: str, **given: Any) -> Any:
        assert process.stdin is not None
        assert process.stdout is not None
        asked = {"id": 1, "ask": what, "journal": journal.name, **given}
        begun_s = time.monotonic()
        process.stdin.write(json.dumps(asked).encode() + b"\n")
        process.stdin.flush()
        said = json.loads(process.stdout.readline())
        times.setdefault(what, (time.monotonic() - begun_s, memory_mb(process.pid, "VmHWM")))
        return said["result"]

    times: dict[str, tuple[float, float]] = {}
    try:
        ask("journals")
        ask("entries", count=200)
        ask("portions")
        number = ask("portions")[-1]["number"]
        ask("timeline", portion=number)
        ask("why", portion=number)
        ask("judge")
    finally:
        process.terminate()
        process.wait()
    return times
