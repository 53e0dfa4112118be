"""Every command does what its example says, on a day that has the portions, the tube and
the groups that the examples name."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchd.cli.command import Row
from benchd.cli.table import COMMANDS
from benchd.io import paths
from protocols.requests import REQUESTS
from protocols.status import Abnormal, SeriesStatus
from tests.analysis import bench_journal
from tests.analysis import weights as make
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon
from tests.cli.test_commands import MOVED, RECORD
from tests.quiet_status import told

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "benchd" / "examples"
ELSEWHERE = {
    "flash": "needs a board; tests/e2e/test_flash.py has one of the simulator",
    "conform": "needs a board; tests/protocols/conform has one of the simulator",
    "demo": "lasts for minutes; tests/e2e/test_screens.py makes two portions of it",
    "serve": "goes on until it is ended; tests/e2e/conftest.py starts it in every test there",
    "simulate": "likewise",
    "watch": "needs a terminal; tests/e2e/test_terminal.py has one",
}
MORE = {"cut": ["--yes"]}
"""The second answer of a dry stroke has a time; tests/cli/test_cutting.py gives it."""
PAUSED = SeriesStatus(3, 20, 8.0, None, paused=True, finishing=False)
ENDS_WITH = {"status": 1}
"""What follows the daemon ends when it hangs up, and says so."""


def day(folder: str) -> None:
    """A journal of the day: tube T7, portions 1 to 24 in the groups 3 and 4, all weighed."""
    entries = [make.told_of(0.05, 0.5), make.tube_in("T7")]
    for number in range(1, 25):
        group = 3 if number <= 12 else 4
        entries.append(make.portion(number, number, "T7", group=group, position_m=0.02))
        entries.append(make.weight(number, 0.0300 + number % 5 * 1e-4))
    opened = datetime(2027, 1, 15, 8, tzinfo=UTC)
    paths.make_private(folder)
    path = Path(folder) / f"{opened:%Y%m%dT%H%M%S}.000000Z-00000001.journal"
    make.write_journal(path, entries, opened_us=round(opened.timestamp() * 1e6))


def answers(name: str) -> dict[str, Any]:
    """What a bench in good order answers; one with a paused series where it is to go on."""
    up = [Abnormal(code, 1, code, "", "", 1, True, "ack") for code in ("IL-09", "IL-28")]
    ended = {"what": "ended", "made": 20, "count": 20, "reason": "", "skipped": 0}
    fixed = {
        "status": told(abnormals=up, series=PAUSED if name == "resume" else None),
        "proofs": {"statements": []},
        "plan": {"stroke_m": 0.0133, "shortest_s": 4.3},
        "portion": RECORD,
        "series": ended,
        "resume": ended,
        "jog": MOVED,
        "relieve": MOVED | {"ending": "relieved"},
        "approach": MOVED | {"ending": "contact"},
        "prime": MOVED | {"ending": "flowing"},
        "teach": {"what": "empty", "mean": 120.4, "spread": 6.1, "both": False},
        "fire": {"outcome": "complete"},
        "stop": {"stopped": True, "level": 0},
        "seen": {"seen": ["IL-28"]},
        "weigh": {"portion": 12, "mass_kg": 0.0318, "left": 0},
        "set": {"group": 5},
    }

    def asked(method: str) -> Callable[[dict[str, Any]], Any]:
        def answer(params: dict[str, Any]) -> Any:
            msgspec.convert(params, REQUESTS[method])
            return fixed.get(method, {})

        return answer

    return {method: asked(method) for method in REQUESTS if method != "follow"}


def words_of(row: Row, journal: Path) -> list[str]:
    """What is typed, without the program's name; what a shell would run for another program's use
    is taken out of it."""
    inside = re.search(r"\$\((.+)\)", row.example)
    words = shlex.split(inside[1] if inside else row.example)
    assert words[:2] == ["benchd", row.name]
    return [str(journal) if word == "JOURNAL" else word for word in words[1:]]


@pytest.mark.parametrize(
    "row", [row for row in COMMANDS if row.name not in ELSEWHERE], ids=lambda row: row.name
)
def test_the_example_of_a_command_does_what_it_says(
    row: Row,
    benchd: Callable[..., Outcome],
    daemon: FakeDaemon,
    typing: Callable[[str], None],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    for card in ("bench.yaml", "masa.yaml"):
        Path(card).write_bytes((EXAMPLES / card).read_bytes())
    journal = tmp_path / "a.journal"
    if "JOURNAL" in row.example:
        bench_journal.written(journal, bench_journal.at_work())
    day(paths.state_dir("maize"))
    daemon.answers, daemon.hang_up_after_news = answers(row.name), True
    daemon.news = [("status", told())]
    typing("yes\n" * 3)
    shown = benchd(*words_of(row, journal), *MORE.get(row.name, []))
    assert shown.code == ENDS_WITH.get(row.name, 0), (shown.out, shown.err)
    assert shown.out


def test_only_commands_are_left_out() -> None:
    assert set(ELSEWHERE) <= {row.name for row in COMMANDS}
