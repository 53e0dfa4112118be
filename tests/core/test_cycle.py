"""Jobs, portions and series: how they begin, go on and end."""

from __future__ import annotations

from itertools import pairwise

import pytest
from msgspec.structs import replace

from benchd.core.cycle import at_rest, needed_steps, shortest_period_s
from benchd.core.inputs import Tube
from benchd.core.snapshot import snapshot
from protocols import messages as m
from protocols.codes import PIN
from tests.core.script import ALL, MASA, MS, OTHER, S, Script, bench, proven


def starts(s: Script) -> list[float]:
    """When each portion began to move [s], from the board's own events."""
    return [record["phases"][0]["t_us"] / 1e6 for record in s.records("portion")]


# One portion.


def test_a_portion_is_one_program_and_one_record() -> None:
    s = Script().ready()
    ask = s.ask("portion")
    s.run(4)
    assert [words[0] for words in s.sent()[-4:]] == ["drive", "draft", "detail", "run"]
    assert s.sent("draft")[-1][2:] == ["1", "1600", "10400", "8000"]
    assert s.sent("detail")[-1][2:] == ["1", "1600", "300", "50"]
    record = s.result(ask)
    assert record == s.records("portion")[-1]
    assert (record["number"], record["class"], record["outcome"]) == (1, "first", "complete")
    assert s.state.carry.unweighed == (1,)


def test_a_portion_waits_for_the_local_button_when_asked_to() -> None:
    s = Script().ready()
    ask = s.ask("portion", button=True)
    s.run(30)
    assert s.sent("run")[-1][3] == "1"
    assert s.reply(ask) is None
    assert s.refused(s.ask("jog", distance_m=0.001)).condition == "busy"
    s.board.press_button(s.now_ns)
    s.run(4)
    assert s.result(ask)["outcome"] == "complete"


def test_a_portion_that_waits_for_the_button_dies_with_its_terminal() -> None:
    s = Script().ready()
    ask = s.ask("portion", button=True)
    s.run(5)
    s.gone()
    assert s.refused(ask).condition == "gone"
    assert s.stops() == [0]
    assert "waiting" not in s.board.pins
    s.run(1)
    assert at_rest(s.state)


def test_a_portion_under_way_outlives_its_terminal() -> None:
    s = Script().ready()
    s.ask("portion", button=True)
    s.run(1)
    s.board.press_button(s.now_ns)
    s.run(1)
    s.gone()
    s.run(4)
    assert not s.stops()
    assert s.records("portion")[-1]["outcome"] == "complete"


def test_a_portion_past_the_heel_is_not_begun() -> None:
    s = Script().ready(at_m=0.180)
    assert s.refused(s.ask("portion")).condition == "travel"


def test_a_portion_after_which_no_other_fits_is_the_tail() -> None:
    s = Script().ready(at_m=0.170)
    s.must("portion", seconds=4)
    assert s.records("portion")[-1]["class"] == "tail"


@pytest.mark.parametrize(("interlock", "kind"), [(9, "tail"), (11, "flagged")])
def test_a_portion_that_tripped_is_a_tail_or_flagged(interlock: int, kind: str) -> None:
    s = Script().ready()
    ask = s.ask("portion")
    s.run(1)
    s.board.trip(interlock, s.now_ns)
    s.run(0.5)
    assert (s.result(ask)["class"], s.result(ask)["outcome"]) == (kind, "tripped")
    assert s.state.carry.unweighed == ()


def test_a_portion_is_first_in_its_tube_then_normal_then_after_a_pause() -> None:
    s = Script().ready().must("portion", seconds=4).must("portion", seconds=4)
    s.run(61).must("portion", seconds=4).must("tube_out", seconds=20)
    s.must("tube_in", id="T2")
    s.board.pins.add("dough")
    s.run(1).must("portion", seconds=4)
    kinds = [record["class"] for record in s.records("portion")]
    assert kinds == ["first", "normal", "after-pause", "first"]
    assert [record["index"] for record in s.records("portion")] == [1, 2, 3, 1]


def test_portion_numbers_never_repeat_and_are_never_none_on_the_wire() -> None:
    s = Script(carry=proven(bench(*ALL), last_portion=65_534)).ready()
    for _ in range(3):
        s.must("portion", seconds=4)
    assert [record["number"] for record in s.records("portion")] == [65_535, 65_537, 65_538]
    assert [words[2] for words in s.sent("draft")] == ["65535", "1", "2"]


@pytest.mark.parametrize(("method", "params"), [("portion", {}), ("series", {"every_s": 8.0})])
def test_nothing_is_portioned_without_a_tube(method: str, params: dict[str, float]) -> None:
    s = Script(carry=proven(bench(*ALL), tube=False)).ready()
    assert s.refused(s.ask(method, **params)).condition == "tube"
    assert s.state.work is None


def test_a_paused_series_does_not_go_on_without_its_tube_nor_with_one_not_primed() -> None:
    s = Script().ready()
    s.ask("series", count=3, every_s=5.0)
    s.run(1).must("pause", seconds=4).must("tube_out", seconds=40)
    made = len(s.records("portion"))
    assert s.refused(s.ask("resume")).condition == "tube"
    s.must("tube_in", id="T2")
    assert "not primed" in s.refused(s.ask("resume")).message
    s.run(10)
    assert len(s.records("portion")) == made


def test_a_daemon_that_begins_anew_within_a_tube_does_not_call_its_next_portion_the_first() -> None:
    carry = proven(bench(*ALL))
    s = Script(carry=replace(carry, tube=Tube("T1", portions=6, primed=True))).ready()
    s.must("portion", seconds=4).must("portion", seconds=4)
    assert [(r["index"], r["class"]) for r in s.records("portion")] == [
        (7, "after-pause"),
        (8, "normal"),
    ]


def test_a_push_in_which_no_dough_was_seen_pauses_the_series_and_asks_for_no_weight() -> None:
    s = Script().ready()
    s.board.smeared = True  # With no level in the pins: nothing comes.
    ask = s.ask("series", count=5, every_s=5.0)
    s.run(20)
    assert s.result(ask)["what"] == "paused"
    assert "saw no dough in portion 1" in s.result(ask)["reason"]
    (record,) = s.records("portion")
    assert (record["class"], record["outcome"]) == ("flagged", "complete")
    assert "no dough" in record["seen"][0]
    assert s.state.carry.unweighed == ()


def test_a_program_that_the_board_refuses_is_closed_in_the_books() -> None:
    s = Script().ready()
    s.board.refuse["draft"] = (42, 5, 8000)
    ask = s.ask("portion")
    s.run(1)
    assert s.refused(ask).condition == "range"
    assert not s.sent("detail", "run")
    assert s.records("portion")[-1]["outcome"] == "unseen"
    assert at_rest(s.state)


def test_the_portions_own_answer_may_be_lost_on_the_way() -> None:
    s = Script().ready()
    s.board.deaf.add("run")
    ask = s.ask("portion")
    s.run(4)
    assert s.result(ask)["outcome"] == "complete"


def test_the_answer_to_a_jog_may_be_lost_on_the_way() -> None:
    s = Script().ready()
    s.board.deaf.add("move")
    ask = s.ask("jog", distance_m=0.002)
    s.run(3)
    assert s.result(ask)["moved_m"] == pytest.approx(0.002)


def test_the_end_and_the_lost_answer_of_a_short_jog_may_come_in_any_order() -> None:
    s = Script().ready()
    s.board.deaf.add("move")
    ask = s.ask("jog", distance_m=0.0001)
    s.run(0.1)
    assert s.result(ask)["moved_m"] == pytest.approx(0.0001)


def test_the_end_of_an_earlier_jog_does_not_end_the_next() -> None:
    s = Script().ready().run(0.05)
    ask = s.ask("jog", distance_m=0.002)
    s.board.agenda, agenda = [], s.board.agenda
    s.tell(m.Moved(50, 0, 0, 1, 0, 100, 0, 2000, 5000))  # Of a jog that was stopped just before.
    s.board.agenda = agenda
    assert s.reply(ask) is None
    s.run(3)
    assert s.result(ask)["ending"] == "reached"


# Series.


def test_a_series_makes_its_count_on_the_beat_and_ends() -> None:
    s = Script().ready()
    ask = s.ask("series", count=4, every_s=5.0)
    s.run(25)
    assert s.result(ask) == {
        "what": "ended", "made": 4, "count": 4, "reason": "all made", "first": 1
    }  # fmt: skip
    gaps = [after - before for before, after in pairwise(starts(s))]
    assert gaps == pytest.approx([5.0] * 3, abs=0.1)
    assert [r["what"] for r in s.records("series")] == ["began", "ended"]


def test_local_switches_are_locked_for_a_series_and_freed_after_it() -> None:
    s = Script().ready()
    s.ask("series", count=2, every_s=5.0)
    s.run(2)
    assert "local-lock" in s.board.pins
    s.run(10)
    assert "local-lock" not in s.board.pins
    assert len(s.sent("lock")) == 2


def test_a_late_beat_waits_and_the_next_keep_their_distance() -> None:
    s = Script().ready()
    s.board.limits[12] = 4000  # One cut takes long.
    s.ask("series", count=4, every_s=5.0)
    s.run(1)
    s.board.limits[12] = 350
    s.run(30)
    gaps = [after - before for before, after in pairwise(starts(s))]
    assert gaps[0] > 6
    assert gaps[1:] == pytest.approx([5.0, 5.0], abs=0.1)
    late_s = [record["late_s"] for record in s.records("portion")]
    assert late_s == [0.0, pytest.approx(gaps[0] - 5.0, abs=0.2), 0.0, 0.0]
    assert s.records("message")[-1]["text"] == (
        f"Portion 2 began {late_s[1]:.1f} s late: the one before was not over when its beat came "
        "(5 s)."
    )


def test_a_late_beat_counts_in_the_status_of_its_series() -> None:
    s = Script().ready()
    s.board.limits[12] = 4000
    s.ask("series", count=4, every_s=5.0)
    s.run(9)
    series = snapshot(s.state, s.now_ns).series
    assert series is not None
    assert series.late == 1


def test_a_beat_that_begins_a_little_late_does_not_push_the_next_ones() -> None:
    s = Script().ready()
    s.ask("series", count=3, every_s=5.0)
    assert s.state.series is not None
    first_ns = s.state.series.next_ns
    s.run(4.9)
    s.now_ns += 150 * MS
    s.run(0.5)
    assert s.state.series.next_ns == first_ns + 5 * S


def test_a_series_until_the_end_ends_with_the_tube() -> None:
    s = Script().ready(at_m=0.150)
    ask = s.ask("series", every_s=5.0)
    s.run(30)
    assert s.result(ask)["reason"] == "end of the tube"
    assert s.result(ask)["made"] == 2
    assert [r["class"] for r in s.records("portion")] == ["first", "tail"]


def test_a_counted_series_pauses_at_the_end_of_the_tube_and_goes_on_with_the_next() -> None:
    s = Script().ready(at_m=0.150)
    ask = s.ask("series", count=3, every_s=5.0)
    s.run(20)
    assert s.result(ask)["what"] == "paused"
    assert "put a new one in" in s.result(ask)["reason"]
    s.must("tube_out", seconds=40).must("tube_in", id="T2")
    s.board.pins.add("dough")
    s.run(1)
    again = s.ask("resume")
    s.run(6)
    assert s.result(again)["what"] == "ended"
    assert s.records("portion")[-1]["tube"] == "T2"


def test_a_portion_that_went_wrong_pauses_its_series() -> None:
    s = Script().ready()
    ask = s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.board.ended(3, s.now_ns)
    s.run(10)
    assert s.result(ask)["reason"] == "portion 1 ended lapsed"
    assert s.result(ask)["made"] == 0
    assert len(s.records("portion")) == 1


def test_a_trip_pauses_the_series_with_its_reason() -> None:
    s = Script().ready()
    ask = s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.board.trip(9, s.now_ns, 4000, 4000)
    s.run(10)
    assert s.result(ask)["reason"].startswith("IL-09: No dough for 21.7 mm of strand")
    assert s.refused(s.ask("resume")).condition == "IL-09"
    s.must("clear", interlock=9)
    assert "Portion 1 was pushed and not cut" in s.refused(s.ask("resume")).message
    s.must("arm").must("fire")
    again = s.ask("resume")
    s.run(40)
    assert s.result(again)["made"] == 5
    assert s.records("portion")[1]["class"] == "after-pause"


def test_a_trip_between_two_portions_pauses_before_the_next() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=8.0)
    s.run(5)
    s.board.latches |= 1 << 15
    s.run(10)
    assert s.state.series is not None
    assert s.state.series.paused
    assert len(s.records("portion")) == 1


def test_what_must_hold_is_looked_at_again_before_every_portion() -> None:
    s = Script().ready()
    ask = s.ask("series", count=5, every_s=8.0)
    s.run(5)
    s.board.pins.discard("known")
    s.run(10)
    assert "Nobody said where the feed stands" in s.result(ask)["reason"]
    assert len(s.records("portion")) == 1


def test_a_refusal_of_the_board_pauses_the_series() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=5.0)
    s.run(4)
    s.board.refuse["run"] = (47, 3, 22)
    s.run(10)
    series = s.state.series
    assert series is not None
    assert series.paused
    assert "too many events" in series.pause_reason
    assert len(s.sent("run")) == 2


def test_an_unseen_end_pauses_the_series() -> None:
    s = Script().ready()
    s.board.lose.add(m.Ended)
    s.ask("series", count=5, every_s=5.0)
    s.run(20)
    assert s.state.series is not None
    assert s.state.series.paused
    assert len(s.sent("run")) == 1


def test_the_shortest_period_is_refused_below_and_taken_at() -> None:
    s = Script().ready()
    shortest_s = shortest_period_s(s.state, MASA)
    refusal = s.refused(s.ask("series", count=2, every_s=shortest_s - 0.1))
    assert refusal.bound == shortest_s
    assert f"Shortest is {shortest_s:.1f} s" in refusal.message
    ask = s.ask("series", count=3, every_s=shortest_s)
    s.run(15)
    assert s.result(ask)["made"] == 3


@pytest.mark.parametrize("wrong", [{"count": 0}, {"count": 10_001}, {"every_s": 3601.0}])
def test_a_series_has_bounds(wrong: dict[str, float]) -> None:
    s = Script().ready()
    assert s.refused(s.ask("series", **{"every_s": 8.0, **wrong})).condition == "range"


def test_a_needed_feed_counts_take_up_and_stroke() -> None:
    assert needed_steps(Script().state, MASA) == 12_000


def test_a_smeared_eye_pauses_after_so_many_portions_without_a_change() -> None:
    s = Script().ready()
    s.board.smeared = True
    s.board.pins.add("dough")
    s.ask("series", count=9, every_s=5.0)
    s.run(40)
    assert s.state.smear_run == 3
    assert len(s.records("portion")) == 3
    s.run(1).must("clear", interlock=10)
    assert s.state.smear_run == 0


def test_an_eye_that_sees_no_dough_at_all_is_not_smeared() -> None:
    s = Script().ready()
    s.board.lose.add(m.Edge)
    s.must("portion", seconds=4)
    assert s.state.smear_run == 0


def test_without_an_eye_nothing_is_said_of_it() -> None:
    facts = bench("home", "far")
    s = Script(facts, proven(facts)).ready().must("portion", seconds=4)
    assert s.state.smear_run == 0


@pytest.mark.slow
def test_two_slow_cuts_in_a_row_pause_the_series_until_somebody_clears_it() -> None:
    s = Script().ready()
    s.ask("series", count=9, every_s=6.0)
    s.run(0.5)
    s.board.limits[12] = 600  # The blade is slower than the card's usual 350 ms.
    s.run(30)
    assert s.state.slow_run == 2
    assert len(s.records("portion")) == 3
    assert s.refused(s.ask("resume")).condition == "IL-25"
    s.must("clear", interlock=25)
    s.must("control", client=OTHER, seconds=0).ask("resume", client=OTHER)
    s.run(10)
    assert len(s.records("portion")) == 5


def test_a_cut_that_no_switch_saw_is_not_slow() -> None:
    s = Script().ready()
    s.board.lose.add(m.Edge)
    s.must("portion", seconds=4)
    assert s.state.slow_run == 0


@pytest.mark.slow
def test_the_lists_of_the_core_do_not_grow_for_ever() -> None:
    s = Script().ready().must("portion", seconds=4)
    work = m.Ended(99, 0, 1, 0, 0, 100, 0, 2000, 5000)
    for number in range(2, 204):
        s.ask("portion")
        s.tell(m.Phase(99, 0, number, 2, 0, 100, 0, 2000, 5000))
        for level in (1, 0):  # The eye sees dough come and go.
            s.tell(m.Edge(99, 0, number, PIN["dough"], level, 0, 100, 0, 2000, 5000))
        s.tell(replace(work, portion=number))
        s.tell(m.Beat(1, 0, 0, 0, 1, 0, 0, 0, 0, s.board.word(), 0, 0))
        s.state = replace(s.state, pending=None, outbox=())
    assert len(s.state.recent) == 200
    assert len(s.state.carry.unweighed) == 200


def test_a_paused_series_keeps_why_it_paused() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=6.0)
    s.run(1).ask("pause")
    s.run(6)
    series = s.state.series
    assert series is not None
    assert (series.paused, series.pause_reason) == (True, "a person asked")
    s.board.trip(14, s.now_ns)
    s.board.refuse["clear"] = (56, 14, 0)
    s.run(0.3)
    ask = s.ask("clear", interlock=14)
    s.run(0.3)
    assert s.refused(ask).condition == "cause-stays"
    assert s.state.series == series


def test_where_the_feed_stands_is_not_told_while_nobody_knows() -> None:
    s = Script().connect().prove(20)
    ask = s.ask("jog", distance_m=0.001)
    s.run(3)
    assert s.result(ask) == {"ending": "reached", "moved_m": 0.001, "position_m": None}
    assert s.records("move")[-1]["position_m"] is None
    assert snapshot(s.state, s.now_ns).position_m is None
    s.must("here", position_m=0.0).must("jog", distance_m=0.001)
    assert s.records("move")[-1]["position_m"] == 0.001
    assert snapshot(s.state, s.now_ns).position_m == 0.001
