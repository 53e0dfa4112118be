"""The real daemon against the machine code of the 8-bit board, on a pty: a whole series."""

from __future__ import annotations

import pytest

from benchd.analysis.integrity import check
from benchd.analysis.replay import verify_file
from sim.avr import tools
from tests.e2e.conftest import RealBench

MISSING = tools.missing_simulator()
pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(MISSING), reason=MISSING or "-")]

PORTIONS = 12


def test_a_series_of_twelve_portions(real_bench: RealBench) -> None:
    # As quick as this bench feeds, which is the most work for the chip and the least time.
    dough = real_bench.masa.replace("push_speed: 6 mm/s", "push_speed: 8 mm/s")
    assert dough != real_bench.masa
    real_bench.simulate("--board", "avr")
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    series = terminal.send("series", dough=dough, every_s=4.0, count=PORTIONS)
    terminal.news.clear()
    made: list[int] = []
    for _ in range(PORTIONS):
        portion = terminal.wait_for("portion", lambda told: told["number"] not in made)
        made.append(portion["number"])
        assert portion["outcome"] == "complete"
        assert portion["made_steps"] == portion["asked_steps"]
    answer = terminal.answer(series)
    assert (answer["what"], answer["made"]) == ("ended", PORTIONS)
    assert made == list(range(made[0], made[0] + PORTIONS))
    assert "on 328p" in terminal.ask("status")["board"]
    trips = {data["interlock"] for topic, data in terminal.news if topic == "trip"}
    # A busy machine makes a slow bench, whose times are then uncertain; nothing else may be amiss.
    assert trips <= {"IL-30"}
    assert daemon.end() == 0
    (journal,) = real_bench.journals()
    assert check(journal).clean
    verdict = verify_file(journal)
    assert verdict.same
    assert verdict.inputs > 2000
