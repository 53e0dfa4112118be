"""Requests that feed, cut dry, or change the tube."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from msgspec.structs import replace

from benchd.core.facts import Dough
from benchd.core.turn import wall_us
from tests.core.script import ALL, MASA, Script, bench, proven


def test_a_jog_moves_by_whole_steps_and_is_answered_when_it_has_ended() -> None:
    s = Script().ready()
    ask = s.ask("jog", distance_m=0.0025)
    s.run(0.2)
    assert s.reply(ask) is None
    s.run(2)
    assert s.result(ask) == {"ending": "reached", "moved_m": 0.0025, "position_m": 0.0025}
    assert s.sent("move")[-1][2:5] == ["0", "2000", "1600"]


def test_a_jog_switches_the_drive_on_first_when_it_is_off() -> None:
    s = Script().connect().prove(20)
    s.must("jog", distance_m=-0.001)
    assert [words[0] for words in s.sent()[-2:]] == ["drive", "move"]
    s.must("jog", distance_m=0.001)
    assert [words[0] for words in s.sent()[-2:]] == ["move", "move"]


@pytest.mark.parametrize("way_m", [0.0, 1e-7, 0.0501, -0.0501, 1e305, -1e305])
def test_a_jog_of_less_than_a_step_or_more_than_50_mm_is_refused(way_m: float) -> None:
    s = Script().ready()
    refusal = s.refused(s.ask("jog", distance_m=way_m))
    assert (refusal.condition, refusal.bound) == ("range", 0.05)
    assert not s.sent("move")


@pytest.mark.parametrize("speed_m_s", [0.0, -0.002, 0.0101, 1e305])
def test_a_jog_faster_than_the_bench_feeds_is_refused(speed_m_s: float) -> None:
    s = Script().ready()
    refusal = s.refused(s.ask("jog", distance_m=0.001, speed_m_s=speed_m_s))
    assert "at most 10.0 mm/s" in refusal.message


def test_a_jog_as_fast_as_the_bench_feeds_is_taken() -> None:
    s = Script().ready().must("jog", distance_m=0.001, speed_m_s=0.010)
    assert s.sent("move")[-1][4] == "8000"


@pytest.mark.parametrize(
    ("method", "params"),
    [
        ("jog", {"distance_m": 0.001}),
        ("relieve", {}),
        ("drive", {"on": True}),
        ("arm", {}),
        ("fire", {}),
        ("approach", {}),
        ("prime", {}),
        ("tube_out", {}),
        ("tube_in", {"id": "T2"}),
        ("here", {"position_m": 0.0}),
        ("teach", {"what": "empty"}),
        ("portion", {}),
        ("series", {"every_s": 8.0}),
    ],
)
def test_nothing_begins_while_something_moves(method: str, params: dict[str, object]) -> None:
    s = Script().ready()
    s.ask("jog", distance_m=0.02)
    s.run(1)
    commands = len(s.sent())
    assert s.refused(s.ask(method, **params)).condition == "busy"
    s.run(0.3)
    assert len(s.sent()) == commands


@pytest.mark.parametrize(
    ("method", "params"),
    [
        ("jog", {"distance_m": 0.001}),
        ("relieve", {}),
        ("drive", {"on": False}),
        ("arm", {}),
        ("fire", {}),
        ("approach", {}),
        ("prime", {}),
        ("tube_out", {}),
        ("here", {"position_m": 0.0}),
        ("teach", {"what": "empty"}),
        ("portion", {}),
        ("series", {"every_s": 8.0}),
    ],
)
def test_nothing_is_asked_of_a_silent_board(method: str, params: dict[str, object]) -> None:
    s = Script().ready()
    s.board.mute = True
    s.run(0.7)
    assert s.refused(s.ask(method, **params)).condition == "IL-19"


def test_relieve_goes_back_as_far_as_the_card_says() -> None:
    s = Script().ready(at_m=0.05).must("relieve")
    assert s.sent("move")[-1][2:4] == ["2", "-8000"]
    assert s.state.relieved


def test_a_barrel_counts_as_relieved_only_until_the_feed_goes_forward_again() -> None:
    s = Script().ready(at_m=0.05).must("relieve").must("jog", distance_m=-0.001)
    assert s.state.relieved
    s.ask("jog", distance_m=0.001)
    assert not s.state.relieved
    s.run(2).must("relieve")
    s.board.begin_move(5, -400, 800, s.now_ns)
    s.run(1)
    assert not s.state.relieved  # A local switch may have gone either way.


def test_the_drive_is_switched_and_said() -> None:
    s = Script().ready()
    ask = s.ask("drive", on=True)
    s.run(0.2)
    assert s.result(ask) == {"on": True}
    assert "drive" in s.board.pins


LATCHES = [(number, number not in (9, 11, 14, 18)) for number in (1, 5, 6, 9, 11, 14, 16, 18, 20)]


@pytest.mark.parametrize(("latch", "refused"), LATCHES)
def test_the_drive_gets_no_power_under_a_latch_that_leaves_no_way_out(
    latch: int, refused: bool
) -> None:
    s = Script().ready(at_m=0.02)
    s.must("drive", on=False)
    s.board.latches |= 1 << (latch - 1)
    s.run(0.3)
    sent = len(s.sent("drive", "move"))
    for method, params in (
        ("drive", {"on": True}),
        ("jog", {"distance_m": -0.001}),
        ("relieve", {}),
        ("tube_out", {}),
    ):
        if not refused:
            s.must(method, seconds=5, **params)
            continue
        assert s.refused(s.ask(method, **params)).condition == f"IL-{latch:02d}"
        assert len(s.sent("drive", "move")) == sent
    s.must("drive", on=False)


def test_a_dry_stroke_takes_two_steps_and_lets_portions_begin() -> None:
    s = Script().connect().prove(20).must("here", position_m=0.0)
    assert s.state.dry_needed
    assert s.refused(s.ask("portion")).condition == "IL-17"
    s.must("arm", seconds=0.2)
    ask = s.ask("fire")
    s.run(2)
    cutter = s.result(ask)["cutter"]
    assert cutter["stroke_s"] == pytest.approx(0.35)
    assert not s.state.dry_needed
    assert s.records("stroke")[0]["outcome"] == "complete"


def test_a_stroke_that_was_not_armed_is_the_boards_to_refuse() -> None:
    s = Script().ready()
    s.board.refuse["fire"] = (46, 0, 0)
    ask = s.ask("fire")
    s.run(0.5)
    assert s.refused(ask).condition == "not-armed"
    assert s.state.job is None
    assert s.state.work is None


def test_a_stroke_that_did_not_complete_leaves_the_dry_stroke_owed() -> None:
    s = Script().connect().prove(20).must("arm", seconds=0.2)
    ask = s.ask("fire")
    s.run(0.3)
    s.board.trip(6, s.now_ns, 1100, 1050)
    s.run(0.2)
    assert s.result(ask)["outcome"] == "tripped"
    assert s.state.dry_needed


def test_a_dry_stroke_needs_no_position_but_a_proven_bench() -> None:
    s = Script(carry=proven(bench(*ALL), build="other")).connect().prove(20)
    assert s.refused(s.ask("arm")).condition == "IL-15"


# Tubes.


def test_a_tube_goes_in_with_its_record() -> None:
    s = Script(carry=proven(bench(*ALL), tube=False)).ready()
    s.must("tube_in", id="T9", lot="L4", net_mass_kg=0.45, temperature_c=6.5, column_m=0.19)
    tube = s.records("tube")[0]
    assert (tube["id"], tube["what"], tube["net_mass_kg"]) == ("T9", "in", 0.45)
    assert s.state.carry.tube is not None
    assert s.records("carry")[-1]["tube"]["id"] == "T9"


def test_a_second_tube_is_refused_while_one_is_in() -> None:
    s = Script().ready()
    assert "T1 is still in" in s.refused(s.ask("tube_in", id="T2")).message


@pytest.mark.parametrize(
    "wrong",
    [{"net_mass_kg": 0.0}, {"net_mass_kg": 100.0}, {"column_m": 0.2001}, {"column_m": -0.1}],
)
def test_a_tube_that_cannot_be_is_refused(wrong: dict[str, float]) -> None:
    s = Script(carry=proven(bench(*ALL), tube=False)).ready()
    assert s.refused(s.ask("tube_in", id="T9", **wrong)).value == next(iter(wrong.values()))
    assert s.state.carry.tube is None


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870000+00:00"),
    ],
)
def test_a_tube_is_as_old_as_its_record_says(text: str, same: str) -> None:
    """RFC 3339, section 5.8: examples with what they are in UTC."""
    s = Script(carry=proven(bench(*ALL), tube=False)).ready()
    s.must("tube_in", id="T9", opened_at=text)
    tube = s.state.carry.tube
    assert tube is not None
    opened = datetime.fromtimestamp(0, UTC) + timedelta(microseconds=tube.opened_wall_us)
    assert opened.isoformat() == same
    assert s.records("tube")[0]["opened_at"] == text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("half past eight", "no time with a zone"),
        ("2026-11-25T08:30:00", "no time with a zone"),
        ("9999-12-31T23:59:59-23:59", "yet to come"),
        ("2126-11-25T08:30:00Z", "yet to come"),
    ],
)
def test_a_tube_cannot_have_been_opened_at_a_time_that_is_none(text: str, says: str) -> None:
    s = Script(carry=proven(bench(*ALL), tube=False)).ready()
    assert says in s.refused(s.ask("tube_in", id="T9", opened_at=text)).message
    assert s.state.carry.tube is None


def test_a_tube_that_is_open_for_long_begins_no_series_and_stays_in_one() -> None:
    s = Script().ready()
    s.ask("series", count=30, every_s=5.0)
    s.run(8)
    tube = replace(s.state.carry.tube, opened_wall_us=wall_us(s.state, s.now_ns) - 7201 * 10**6)
    s.state = replace(s.state, carry=replace(s.state.carry, tube=tube))
    made = s.state.series.made
    s.run(12)
    assert s.state.series.made > made
    s.must("stop")
    s.run(2)
    assert "open for 2 h 00 min" in s.refused(s.ask("series", count=3, every_s=5.0)).message
    s.must("relieve", seconds=10)


@pytest.mark.parametrize(
    ("dough", "full_g"),
    # 200 mm of a 50 mm bore are 392.7 cm3; 1.2 g/cm3 where no dough was used yet, else the card's.
    [(None, 471), (MASA, 452)],
)
def test_a_net_mass_that_the_barrel_cannot_hold_is_asked_about(
    dough: Dough | None, full_g: int
) -> None:
    s = Script(carry=proven(bench(*ALL), tube=False, dough=dough)).ready()
    question = s.refused(s.ask("tube_in", id="T9", net_mass_kg=4.0))
    assert question.question
    assert f"the barrel holds about {full_g} g. Did the decimal point slip: 400 g?" in (
        question.message
    )
    assert s.state.carry.tube is None
    s.must("tube_in", id="T9", net_mass_kg=4.0, confirmed=True)
    assert s.records("tube")[-1]["confirmed"]
    assert not s.sent("move")


def test_an_id_that_was_in_before_is_asked_about() -> None:
    s = Script().ready()
    s.must("tube_out", seconds=10)
    assert s.records("carry")[-1]["tubes_out"] == ("T1",)
    question = s.refused(s.ask("tube_in", id="T1", net_mass_kg=4.0))
    assert question.question
    assert question.message.startswith("T1 was in before. The same tube again? 4000 g in a tube")
    assert "T1 was in" in s.refused(s.ask("tube_in", id="T1", net_mass_kg=0.45)).message
    assert s.state.carry.tube is None
    s.must("tube_in", id="T1", net_mass_kg=0.45, confirmed=True)
    assert s.records("tube")[-1]["confirmed"]
    s.must("tube_out", seconds=10)
    s.must("tube_in", id="T2")
    s.must("tube_out", seconds=10)
    assert s.state.carry.tubes_out == ("T1", "T2")


def test_fifty_tubes_that_went_out_are_remembered() -> None:
    before = tuple(f"T{number}" for number in range(2, 52))
    s = Script(carry=proven(bench(*ALL), tubes_out=before)).ready()
    s.must("tube_out", seconds=10)
    assert s.state.carry.tubes_out == (*before[1:], "T1")


def test_approach_goes_at_most_as_far_as_the_card_says_and_ends_at_contact() -> None:
    s = Script().ready()
    ask = s.ask("approach")
    s.run(30)
    assert s.result(ask)["ending"] == "contact"
    assert s.sent("move")[-1][2:4] == ["3", "40000"]


def test_approach_and_prime_stop_at_the_end_of_travel() -> None:
    s = Script().ready(at_m=0.189)
    s.must("prime", seconds=2)
    assert s.sent("move")[-1][3] == "800"
    assert s.refused(s.ask("approach")).condition == "travel"


def test_priming_until_the_strand_is_whole_is_kept_with_the_tube() -> None:
    s = Script().ready()
    ask = s.ask("prime")
    s.run(30)
    assert s.result(ask)["ending"] == "flowing"
    assert s.state.carry.tube is not None
    assert s.state.carry.tube.primed


def test_approach_and_prime_need_a_tube_and_a_known_position() -> None:
    s = Script(carry=proven(bench(*ALL), tube=False)).connect().prove(20)
    assert s.refused(s.ask("prime")).condition == "position"
    s.must("here", position_m=0.0)
    assert s.refused(s.ask("approach")).condition == "tube"


def test_taking_a_tube_out_relieves_backs_out_and_says_what_is_still_live() -> None:
    s = Script().ready(at_m=0.05)
    ask = s.ask("tube_out", heel_kg=0.021)
    s.run(10)
    assert [words[2:4] for words in s.sent("move")] == [["2", "-8000"], ["0", "-32000"]]
    assert "the drive has power" in s.result(ask)["open"]
    assert s.records("tube")[-1] == {"id": "T1", "what": "out", "portions": 0, "heel_kg": 0.021}
    assert s.state.carry.tube is None


def test_without_a_known_position_a_tube_is_relieved_but_not_backed_out() -> None:
    s = Script().connect().prove(20)
    s.must("tube_out")
    assert [words[2] for words in s.sent("move")] == ["2"]
    assert s.state.carry.tube is None


def test_a_tube_that_was_not_relieved_stays_in_the_books() -> None:
    s = Script().ready(at_m=0.05)
    ask = s.ask("tube_out")
    s.run(0.3)
    s.board.trip(11, s.now_ns, 3100, 3000)
    s.run(0.3)
    assert s.result(ask)["ending"] == "tripped"
    assert s.state.carry.tube is not None
    assert len(s.sent("move")) == 1


def test_taking_out_needs_a_tube() -> None:
    s = Script(carry=proven(bench(*ALL), tube=False)).ready()
    assert s.refused(s.ask("tube_out")).condition == "tube"


def test_what_a_closed_terminal_moved_by_hand_stops() -> None:
    s = Script().ready(at_m=0.05)
    for method, params in (("jog", {"distance_m": 0.02}), ("tube_out", {}), ("prime", {})):
        ask = s.ask(method, **params)
        s.run(0.5)
        s.gone()
        assert s.refused(ask).condition == "gone"
        s.run(0.5)
        assert s.board.mode == "ready"
    assert s.stops() == [0, 0, 0]
    assert s.state.job is None


def test_a_local_move_neither_ends_nor_answers_a_jog() -> None:
    s = Script().ready()
    s.board.begin_move(5, 400, 800, s.now_ns)
    s.now_ns += 499_000_000
    ask = s.ask("jog", distance_m=0.001)
    s.run(0.05)
    assert s.records("move")[-1]["kind"] == "local"
    assert s.reply(ask) is None
    s.run(2)
    assert s.result(ask)["moved_m"] == pytest.approx(0.001)


def test_at_the_rear_end_there_is_nothing_to_relieve_and_a_tube_is_out_at_once() -> None:
    s = Script().ready(at_m=0.0)
    assert s.refused(s.ask("relieve")).condition == "travel"
    assert s.result(s.ask("tube_out"))["ending"] == "reached"
    assert s.state.carry.tube is None
    assert not s.sent("move")


def test_near_the_rear_end_relieve_goes_back_only_as_far_as_there_is_room() -> None:
    s = Script().ready(at_m=0.004).must("relieve")
    assert s.sent("move")[-1][3] == "-3200"
