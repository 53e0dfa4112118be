"""What the core does with each message of the board."""

from __future__ import annotations

import pytest

from benchd.core.effects import StopNow
from benchd.core.inputs import EventGap, LinkDown, LinkUp, Wake
from protocols import messages as m
from protocols.codes import CAUSES
from protocols.limits import LIMITS
from tests.core.script import ALL, MS, OTHER, S, Script, bench, proven

READINGS = (100, 0, 2000, 5000)


# The greeting.


def test_a_board_without_our_limits_is_given_all_of_them_and_then_is_up() -> None:
    s = Script().connect()
    assert [words[0] for words in s.sent()] == ["set"] * len(LIMITS) + ["adopt"]
    assert s.state.link == "up"
    assert s.board.digest


def test_a_board_that_has_our_limits_is_up_at_once() -> None:
    s = Script().connect()
    s.tell(LinkDown("The cable was pulled."))
    commands = len(s.sent())
    s.tell(LinkUp("/dev/bench"))
    s.tell(s.board.greeting(s.now_ns))
    assert s.state.link == "up"
    assert len(s.sent()) == commands


def test_commands_go_on_counting_where_the_board_stands() -> None:
    s = Script()
    s.board.last_id = 41
    s.connect()
    assert s.sent()[0][:2] == ["set", "42"]


def test_a_greeting_that_comes_again_while_all_is_well_disturbs_nothing() -> None:
    s = Script().ready()
    ask = s.ask("jog", distance_m=0.01)
    s.run(1)
    s.tell(s.board.greeting(s.now_ns))
    s.run(6)
    assert s.result(ask)["ending"] == "reached"
    assert not s.state.dry_needed


def test_a_greeting_that_comes_again_during_loading_does_not_begin_it_anew() -> None:
    s = Script()
    s.tell(LinkUp("/dev/bench"))
    s.tell(s.board.greeting(s.now_ns))
    s.run(0.005)
    s.tell(s.board.greeting(s.now_ns))
    s.run(0.5)
    assert len(s.sent("set")) == len(LIMITS)
    assert s.state.link == "up"


@pytest.mark.parametrize("boot", [7, 8])
def test_after_a_restart_of_the_board_nothing_moves_and_everything_is_owed_again(boot: int) -> None:
    s = Script().ready()
    ask = s.ask("series", every_s=5.0)
    s.run(2)
    s.board.boot = boot  # The counter may fail; then the uptime tells.
    s.board.start(s.now_ns)
    s.tell(s.board.greeting(s.now_ns))
    moves = len(s.sent("run", "move", "fire"))
    assert s.result(ask)["reason"] == "The board restarted: nothing moves until you say so."
    s.run(20)
    assert len(s.sent("run", "move", "fire")) == moves
    assert s.state.dry_needed
    assert s.refused(s.ask("portion")).condition == "IL-20"
    assert s.state.latches[20].latched
    assert s.records("portion")[-1]["outcome"] == "unseen"


def test_a_restart_while_limits_are_loaded_loads_them_again() -> None:
    s = Script()
    s.tell(LinkUp("/dev/bench"))
    s.tell(s.board.greeting(s.now_ns))
    s.run(0.01)
    s.board.start(s.now_ns)
    s.board.boot = 8
    s.tell(s.board.greeting(s.now_ns))
    s.run(0.5)
    assert s.state.link == "up"
    assert len(s.sent("set")) > len(LIMITS)


# Loading.


def test_a_board_that_lost_its_limits_is_given_them_again() -> None:
    s = Script().ready()
    s.board.digest = 0
    s.run(0.5)
    assert s.board.digest
    assert s.state.link == "up"


def test_limits_that_the_board_refuses_end_in_a_sentence_not_in_motion() -> None:
    s = Script()
    s.board.refuse["set"] = (42, 3, 100)
    s.connect()
    assert s.state.link == "wrong"
    assert "refused the bench card" in s.state.link_text
    assert s.refused(s.ask("jog", distance_m=0.001)).condition == "IL-19"


def test_limits_that_came_while_the_board_was_busy_are_loaded_once_it_rests() -> None:
    s = Script()
    s.board.refuse["set"] = (43, 2, 0)
    s.connect()
    assert s.state.link == "up"


def test_a_greeting_stops_whatever_still_moves() -> None:
    s = Script()
    s.board.begin_move(5, 8000, 800, s.now_ns)
    s.tell(LinkUp("/dev/bench"))
    s.tell(s.board.greeting(s.now_ns))
    assert StopNow(0) in s.new
    s.run(0.5)
    assert s.state.link == "up"
    assert s.state.board.position < 8000


# Beats.


def test_every_fresh_beat_is_returned_once_while_our_limits_are_in_force() -> None:
    s = Script().ready()
    s.board.leases.clear()
    s.run(2)
    assert len(s.board.leases) == 20
    assert len(set(s.board.leases)) == 20


def test_no_lease_is_given_to_a_board_without_our_limits() -> None:
    s = Script()
    s.board.refuse["set"] = (42, 3, 100)
    s.connect()
    assert not s.board.leases


def test_a_beat_tells_the_latches_even_if_the_trip_was_never_heard() -> None:
    s = Script().ready()
    s.board.latches = 1 << 8
    s.run(0.2)
    assert s.state.latches[9].latched
    s.board.latches = 0
    s.run(0.2)
    assert 9 not in s.state.latches


def _ups(s: Script, code: str) -> list[tuple[object, object]]:
    return [
        (r["value"], r["bound"]) for r in s.records("trip") if r["interlock"] == code and r["up"]
    ]


def test_a_latch_that_a_beat_brings_first_is_up_at_once_and_told_with_its_values() -> None:
    s = Script().ready()
    s.ask("series", every_s=5.0)
    s.run(1)
    s.board.latches = 1 << 15
    s.run(0.1)
    assert s.state.latches[16].latched
    assert s.state.series is not None
    assert s.state.series.pausing or s.state.series.paused
    assert _ups(s, "IL-16") == []
    s.run(0.3)  # The event was damaged once.
    s.tell(m.Trip(99, 0, 0, 16, 900, 1800, 100))
    s.run(2)
    assert _ups(s, "IL-16") == [(900, 1800)]
    assert (s.state.latches[16].value, s.state.latches[16].bound) == (900, 1800)


def test_a_latch_whose_trip_does_not_come_is_told_without_values() -> None:
    s = Script().ready()
    s.board.latches = 1 << 15
    s.run(2)
    assert _ups(s, "IL-16") == [(None, None)]
    assert s.records("trip")[-1]["text"] == "Air was outside what the card asks for."


@pytest.mark.parametrize("how", ["beat", "freed"])
def test_a_latch_that_goes_before_it_was_told_is_told_first(how: str) -> None:
    s = Script().ready()
    s.board.latches = 1 << 8
    s.run(0.1)
    s.board.latches = 0
    if how == "freed":
        s.tell(m.Freed(99, 0, 9))
    s.run(0.3)
    told = [r["up"] for r in s.records("trip") if r["interlock"] == "IL-09"]
    assert told == [True, False]
    assert 9 not in s.state.latches


def test_the_latch_of_a_restart_is_told_with_the_cause_that_the_greeting_gave() -> None:
    s = Script().connect()
    greeting = s.board.greeting(s.now_ns)
    assert _ups(s, "IL-20") == [(CAUSES.index(greeting.cause), greeting.boot)]


def test_an_old_trip_that_is_told_late_does_not_stay() -> None:
    s = Script().ready()
    s.tell(m.Trip(99, 0, 0, 9, 4001, 4000, 100))
    assert 9 in s.state.latches
    s.run(0.2)
    assert 9 not in s.state.latches


def test_switches_that_a_dead_daemon_left_locked_are_freed() -> None:
    s = Script()
    s.board.pins.add("local-lock")
    s.connect().run(0.3)
    assert "local-lock" not in s.board.pins


def test_a_portion_that_waits_for_nobody_is_stopped_again() -> None:
    s = Script().ready()
    s.must("drive", on=True)
    s.run(1)
    before = len(s.stops())
    s.board.pins.add("waiting")  # As if the stop had been damaged on its way.
    s.run(0.5)
    assert len(s.stops()) == before + 1
    assert "waiting" not in s.board.pins


def test_a_free_command_that_waits_for_its_answer_makes_nobody_wait() -> None:
    s = Script().ready()
    s.board.pins.add("local-lock")
    while not s.sent("lock"):
        s.run(0.01)
    s.must("jog", distance_m=0.001)


def test_board_time_is_followed_through_its_wrap_and_through_a_suspended_machine() -> None:
    s = Script().ready()
    s.run(0.1)
    offset_us = s.state.board.t_us - s.state.board.nonce_ns // 1000
    s.now_ns += 3 * 3600 * S
    s.board.agenda.sort()
    s.board.agenda = [(max(t, s.now_ns), n, do) for t, n, do in s.board.agenda]
    s.run(0.5)
    assert s.state.board.t_us - s.state.board.nonce_ns // 1000 == offset_us


# Samples.


def test_samples_that_were_dropped_are_counted() -> None:
    s = Script().ready()
    s.board.k += 3
    s.run(0.6)
    assert s.state.samples_lost == 3


@pytest.mark.parametrize("air", [0, 499, 65_535])
def test_air_that_went_away_asks_for_a_dry_stroke(air: int) -> None:
    facts = bench(*ALL, air_min=1000)
    s = Script(facts, proven(facts)).ready()
    assert not s.state.dry_needed
    s.tell(m.Sample(s.board.k + 1, 0, 0, 100, 0, air, 5000))
    assert s.state.dry_needed


def test_air_that_only_sinks_does_not() -> None:
    facts = bench(*ALL, air_min=1000)
    s = Script(facts, proven(facts)).ready()
    s.tell(m.Sample(s.board.k + 1, 0, 0, 100, 0, 500, 5000))
    assert not s.state.dry_needed


def test_air_that_is_not_measured_cannot_go_away() -> None:
    facts = bench("home")
    s = Script(facts, proven(facts)).ready()
    s.run(1)
    assert not s.state.dry_needed


# Answers.


def test_an_answer_that_nobody_waits_for_is_passed_over() -> None:
    s = Script().ready()
    before = s.state
    s.tell(m.Yes(9999, 0))
    s.tell(m.No(9999, 43, 1, 0, 0))
    assert s.state == before
    s.ask("jog", distance_m=0.001)
    s.tell(m.Yes(9999, 0))
    assert s.state.pending is not None


def test_a_command_that_came_too_late_is_sent_again_with_the_newest_beat() -> None:
    s = Script().ready().run(0.05)
    s.board.refuse["move"] = (48, 1, 5)
    ask = s.ask("jog", distance_m=0.001)
    s.run(2)
    first, second = s.sent("move")
    assert int(second[5]) > int(first[5])
    assert s.result(ask)["ending"] == "reached"


def test_a_command_that_keeps_coming_too_late_is_given_up() -> None:
    s = Script().ready().run(0.05)
    s.board.keeps_refusing = True
    s.board.refuse["move"] = (48, 1, 5)
    ask = s.ask("jog", distance_m=0.001)
    s.run(1)
    assert len(s.sent("move")) == 4
    assert s.refused(ask).condition == "stale"


def test_motion_that_was_held_up_for_a_second_is_given_up_at_once() -> None:
    s = Script().ready()
    s.board.deaf.add("move")
    ask = s.ask("jog", distance_m=-0.05)
    s.run(0.99)
    pending = s.state.pending
    assert pending is not None
    s.now_ns += 20 * MS
    s.tell(m.No(pending.id, 48, 1, 5, 0))
    assert s.refused(ask).condition == "stale"
    assert s.state.outbox == ()


def test_a_refusal_of_the_board_is_recorded_and_answers_whoever_asked() -> None:
    s = Script().ready()
    s.board.refuse["move"] = (57, 160_000, 152_000)
    ask = s.ask("jog", distance_m=0.001)
    s.run(0.5)
    assert "past the end of travel at 190.0 mm" in s.refused(ask).message
    assert s.records("refusal")[0]["command"] == "move"


def test_a_refused_tidying_is_only_recorded() -> None:
    s = Script().ready()
    s.board.pins.add("local-lock")
    s.board.refuse["lock"] = (41, 0, 0)
    s.run(0.15)
    assert s.records("refusal")[0]["command"] == "lock"
    assert s.state.job is None


# Events.


def test_a_trip_is_recorded_with_its_values_and_shown() -> None:
    s = Script().ready()
    s.board.trip(14, s.now_ns, 152_100, 152_000)
    s.run(0.05)
    trip = s.records("trip")[-1]
    assert (trip["interlock"], trip["value"], trip["bound"]) == ("IL-14", 152_100, 152_000)
    assert s.state.latches[14].latched


@pytest.mark.parametrize(("interlock", "level"), [(1, 1), (2, 1), (5, 0), (8, 0), (12, 0), (14, 0)])
def test_where_the_feed_stops_at_once_the_daemon_stops_as_well(interlock: int, level: int) -> None:
    s = Script().ready()
    ask = s.ask("jog", distance_m=0.02)
    s.run(0.5)
    s.board.trip(interlock, s.now_ns)
    s.run(0.5)
    assert s.stops() == [level]
    assert s.result(ask)["ending"] == "tripped"


def test_what_was_planned_but_not_begun_at_a_trip_is_refused_with_its_reason() -> None:
    s = Script().ready()
    ask = s.ask("portion")
    s.board.trip(2, s.now_ns)
    s.run(1)
    assert s.refused(ask).condition == "IL-02"
    assert not s.sent("run")
    assert s.state.work is None


def test_a_guard_or_stop_that_opened_asks_for_a_dry_stroke() -> None:
    for name in ("guard", "stop"):
        s = Script().ready()
        s.board.edge(name, 0, s.now_ns)
        s.run(0.01)
        assert s.state.dry_needed
        s.board.edge(name, 1, s.now_ns)
        s.run(0.01)
        assert s.state.dry_needed


def test_an_edge_is_seen_before_the_next_beat() -> None:
    s = Script().ready()
    s.board.edge("forward", 1, s.now_ns)
    s.board.edge("home", 0, s.now_ns)
    for message in s.board.said(s.now_ns):
        s.tell(message)
    assert s.state.board.pins >> 5 & 1
    assert not s.state.board.pins >> 2 & 1


def test_events_that_are_lost_for_good_leave_nothing_taken_for_granted() -> None:
    s = Script().ready(at_m=0.05).must("relieve")
    s.tell(EventGap(40, 44))
    assert s.records("gap") == [{"first": 40, "last": 44}]
    assert not s.state.relieved
    assert s.state.dry_needed


def test_a_cleared_latch_goes_when_the_board_says_so() -> None:
    s = Script().ready()
    trips = len(s.records("trip"))
    s.board.trip(9, s.now_ns)
    s.run(0.2).must("clear", interlock=9)
    assert 9 not in s.state.latches
    assert s.records("trip")[-1]["up"] is False
    s.tell(m.Freed(99, 0, 9))
    assert len(s.records("trip")) == trips + 2


def test_a_pressed_switch_that_did_nothing_is_explained() -> None:
    s = Script().ready()
    s.tell(m.Ignored(99, 0, 5, 58))
    assert "locked during a series" in s.records("message")[-1]["text"]


def test_events_that_the_board_could_not_hold_are_told() -> None:
    s = Script().ready()
    s.tell(m.Lost(99, 0, 12))
    assert "12 events" in s.records("message")[-1]["text"]
    s.tell(m.Boot(100, 0, 1, 7))


def test_events_of_another_portion_do_not_enter_the_record_of_this_one() -> None:
    s = Script().ready()
    s.ask("portion")
    s.run(0.5)
    portion = s.state.work
    s.tell(m.Phase(90, 0, 77, 2, 0, *READINGS))
    s.tell(m.Tally(91, 0, 77, 1, 1, 1, 1))
    s.tell(m.Edge(92, 0, 77, 8, 1, 0, *READINGS))
    assert s.state.work == portion
    s.tell(m.Ended(93, 0, 77, 0, 0, *READINGS))
    assert s.state.work == portion
    assert s.records("ended") == [{"portion": 77, "outcome": "complete", "known": False}]


def test_a_wake_alone_changes_nothing() -> None:
    s = Script().ready()
    before = s.state
    s.tell(Wake())
    assert s.state == before
    assert OTHER


def test_a_portion_that_has_begun_is_not_taken_back_at_a_trip_though_its_answer_was_lost() -> None:
    s = Script().ready()
    s.board.deaf.add("run")
    ask = s.ask("portion")
    s.run(0.2)
    s.board.trip(2, s.now_ns)
    s.run(0.5)
    assert s.result(ask)["outcome"] == "tripped"


def test_a_move_of_another_kind_that_is_told_late_does_not_end_a_jog() -> None:
    s = Script().ready()
    ask = s.ask("jog", distance_m=0.01)
    s.run(1)
    s.tell(m.Moved(80, 0, 5, 8, 0, *READINGS))
    assert s.reply(ask) is None
    s.run(6)
    assert s.result(ask)["ending"] == "reached"


def test_the_first_word_after_a_silence_ends_it() -> None:
    s = Script().ready()
    s.board.mute = True
    s.run(1)
    assert 19 in s.state.latches
    s.tell(m.Sample(s.board.k + 1, 0, 0, *READINGS))
    assert 19 not in s.state.latches
