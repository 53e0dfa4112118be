"""A daemon killed at any moment loses nothing that it had acknowledged.

The writer runs as a process of its own and is killed after a random number of acknowledgements,
in the midst of whatever it does then: a commit, a checkpoint, closing a file, making the next.
BENCHD_KILL_ROUNDS sets how often. A kill keeps what the operating system already has; what a
power cut takes is SQLite's promise for synchronous = FULL, which test_journal asks for.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from benchd.analysis.integrity import check
from benchd.analysis.reader import JournalReader, JournalState
from tests.io.journal_writer import entry

ROUNDS = int(os.environ.get("BENCHD_KILL_ROUNDS", "10"))
ROOT = Path(__file__).parents[2]


def run_until_killed(folder: Path, turn: int, acknowledgements: int) -> dict[int, int]:
    """Start the writer, kill it after so many lines; the last entry acknowledged per file."""
    command = [sys.executable, "-m", "tests.io.journal_writer", "endless", str(folder), str(turn)]
    acknowledged: dict[int, int] = {}
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        for lines, line in enumerate(writer.stdout, 1):
            number, last = map(int, line.split())
            acknowledged[number] = last
            if lines == acknowledgements:
                writer.kill()
    assert writer.returncode == -9
    return acknowledged


def verify(path: Path, acknowledged: int) -> JournalState:
    report = check(path)
    assert report.findings == []
    found = list(JournalReader(path).entries())
    assert len(found) == report.entries >= acknowledged
    assert found == [(i, entry(i)) for i in range(1, len(found) + 1)]
    assert report.state is not None
    return report.state


@pytest.mark.slow
@pytest.mark.parametrize(("turn", "most"), [(10**9, 400), (400, 60)], ids=["one_file", "many"])
def test_a_kill_loses_nothing_acknowledged(tmp_path: Path, seed: int, turn: int, most: int) -> None:
    chance = random.Random(seed)
    for round_number in range(ROUNDS):
        folder = tmp_path / str(round_number)
        acknowledged = run_until_killed(folder, turn, chance.randint(1, most))
        paths = sorted(folder.glob("*.journal"))
        assert len(paths) >= len(acknowledged)
        states = [verify(path, acknowledged.get(i, 0)) for i, path in enumerate(paths)]
        assert set(states[:-1]) <= {JournalState.CLOSED}
        assert JournalState.OPEN not in states


@pytest.mark.slow
def test_reading_a_cut_short_journal_leaves_it_as_it_is(tmp_path: Path) -> None:
    run_until_killed(tmp_path, 10**9, 30)
    (path,) = tmp_path.glob("*.journal")
    kept = [path, path.with_name(path.name + "-wal")]
    before = [file.read_bytes() for file in kept]
    assert len(before[1]) > 0
    assert verify(path, 1) is JournalState.CUT_SHORT
    assert [file.read_bytes() for file in kept] == before
