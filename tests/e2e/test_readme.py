"""The README tells the truth: its commands run as they stand, on a simulated bench in the place of
a real one."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path

import pytest

from tests.e2e.conftest import RealBench

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")

ANSWERS: dict[str, list[str]] = {
    "clear IL-20": ["--name", "reader", "--words", "looked,clear,home"],
    "clear IL-15": ["--name", "reader", "--words", "forward,hardware,wired"],
    "jog +0.5mm": ["--yes"],
    "cut": ["--yes"],
    "size": ["bench.yaml", "masa.yaml"],
    "tube in": ["T1", "--yes"],
    "tube in T1 --net 430g": ["--yes"],
    "portion": ["masa.yaml", "--yes"],
    "portion masa.yaml": ["--yes"],
    "series": ["masa.yaml", "--count", "1", "--every", "6s", "--yes"],
    "series masa.yaml --count 3 --every 4.6s": ["--yes"],
}
"""What the reader types besides what the README shows: names and consent."""


REFUSED = {"eye --dough": "overlap"}
"""Nobody holds dough before the eye of the simulated bench, and it says so."""


def commands(heading: str) -> list[str]:
    """The benchd commands in the text of a part of the README, in order."""
    part = README.split(f"## {heading}")[1].split("\n## ")[0]
    found = re.findall(r"`benchd ([^`\n]+)`", part)
    elsewhere = ("serve", "flash", "conform", "watch")
    return [command for command in found if not command.startswith(elsewhere)]


def test_the_readme_begins_with_the_job_in_one_paragraph() -> None:
    head, job, *_ = README.split("\n\n")
    assert head.startswith("# benchd")
    for word in ("stepper", "screw", "nozzle", "blade", "sensor", "microcontroller", "scale"):
        assert word in job


def test_make_knows_the_targets_that_the_pages_name() -> None:
    pages = README + (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = set(re.findall(r"(?:^|`)make ([a-z]+)", pages, re.MULTILINE))
    assert {"demo", "test", "bench"} <= named
    listed = subprocess.run(["make"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for target in named:
        assert re.search(rf"^\s*(make )?{target}\b", listed, re.MULTILINE), target


@pytest.mark.slow
@pytest.mark.parametrize("heading", ["Five minutes", "The simulated bench by hand"])
def test_each_walk_works_as_written(real_bench: RealBench, heading: str) -> None:
    real_bench.simulate()
    real_bench.serve()
    terminal = real_bench.terminal()
    terminal.wait_for("status", lambda status: status["pins"]["adopted"])
    shown = commands(heading)
    assert len(shown) >= 8
    for command in shown:
        done = real_bench.run(*shlex.split(command), *ANSWERS.get(command, []))
        if command in REFUSED:
            assert done.returncode == 1
            assert REFUSED[command] in done.stderr
        else:
            assert done.returncode == 0, (command, done.stdout, done.stderr)
        assert "Traceback" not in done.stderr
