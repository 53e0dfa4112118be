"""Both local switches pressed: IL-22 holds no latch, and is up as long as they are."""

from __future__ import annotations

from benchd.core.snapshot import snapshot
from tests.core.script import Script


def test_both_local_switches_stop_but_latch_nothing() -> None:
    s = Script().ready()
    s.board.pins |= {"forward", "reverse"}
    s.board.trip(22, s.now_ns)
    s.run(1.5)
    assert not s.state.latches[22].latched
    assert s.refused(s.ask("clear", interlock=22)).condition == "IL-22"
    s.board.pins -= {"forward", "reverse"}
    s.run(0.2)
    assert 22 not in s.state.latches
    trips = [(t["interlock"], t["up"]) for t in s.records("trip") if t["interlock"] == "IL-22"]
    assert trips == [("IL-22", True), ("IL-22", False)]


def test_both_local_switches_stand_in_status_while_they_are_pressed() -> None:
    s = Script().ready()
    s.board.pins |= {"forward", "reverse"}
    s.run(0.3)
    seen = snapshot(s.state, s.now_ns)
    one = seen.abnormals[0]
    assert (one.code, one.what, one.latched) == (
        "IL-22", "Both local switches are pressed.", False
    )  # fmt: skip
    assert one.do_what == "It goes by itself when the cause is gone."
    assert seen.state != "TRIPPED"
    assert s.refused(s.ask("jog", distance_m=0.001)).condition == "IL-22"
    s.board.pins.discard("forward")
    s.run(0.3)
    assert "IL-22" not in [one.code for one in snapshot(s.state, s.now_ns).abnormals]


def test_both_switches_in_a_beat_are_told_even_if_their_trip_never_came() -> None:
    s = Script().ready()
    s.board.pins |= {"forward", "reverse"}
    s.run(0.2)
    assert 22 in s.state.latches
    assert not s.records("trip")[-1:] or s.records("trip")[-1]["interlock"] != "IL-22"
    s.run(1.2)
    assert s.records("trip")[-1]["interlock"] == "IL-22"
