"""What the core makes of clocks that jump: the machine slept, or somebody set the time of day."""

from __future__ import annotations

from benchd.core.inputs import Wake, WallClock
from tests.core.script import S, Script

HOUR = 3_600


def sleep(script: Script, seconds: float) -> None:
    """The machine sleeps: its clock goes on, nobody hears the board, and then it wakes."""
    script.now_ns += round(seconds * S)
    agenda = sorted(script.board.agenda)
    script.board.agenda = [(max(t_ns, script.now_ns), n, do) for t_ns, n, do in agenda]
    script.tell(Wake())


def test_a_machine_that_slept_in_a_series_pauses_it_and_bunches_nothing_up() -> None:
    s = Script().ready()
    series = s.ask("series", every_s=10.0, count=20)
    s.run(13)
    made = len(s.records("portion"))
    sleep(s, HOUR)
    s.run(30)
    assert len(s.records("portion")) <= made + 1
    assert s.state.series is not None
    assert s.state.series.paused
    assert s.result(series)["what"] == "paused"
    s.run(300)
    assert len(s.records("portion")) <= made + 1


def test_a_wall_clock_set_back_or_on_changes_labels_only() -> None:
    s = Script().ready()
    before = (s.state.link, dict(s.state.latches), s.state.last_word_ns, s.state.board)
    for step_us in (-HOUR * 1_000_000, HOUR * 1_000_000):
        passed_us = (s.now_ns - s.state.wall_ns) // 1000
        s.tell(WallClock(s.state.wall_us + passed_us + step_us))
        assert (s.state.link, dict(s.state.latches), s.state.last_word_ns, s.state.board) == before
    told = [record["text"] for record in s.records("message")]
    assert [text.split(";")[0] for text in told] == [
        "The time of day jumped back by 3600 s",
        "The time of day jumped forward by 3600 s",
    ]
    s.run(60)
    s.tell(WallClock(s.state.wall_us + 61_000_000))  # Slewed by a second: no jump.
    assert len(s.records("message")) == 2
    s.must("jog", distance_m=0.001)
