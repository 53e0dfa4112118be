"""Moves by hand: the five kinds, the local switches, ways out of a latch, and soft limits."""

from __future__ import annotations

import pytest

from protocols.codes import MOVE_ENDINGS, MOVES
from protocols.limits import digest
from protocols.messages import (
    Adopt,
    Clear,
    Drive,
    Edge,
    Here,
    Ignored,
    Lock,
    Move,
    Moved,
    Set,
    Stop,
    Trip,
)
from tests.firmware.talk import SMALLEST, Talk

JOG, HELD, RELIEVE, APPROACH, PRIME = range(5)


@pytest.fixture
def talk() -> Talk:
    return Talk().wake()


def _ending(moved: Moved) -> tuple[str, str]:
    return MOVES[moved.kind], MOVE_ENDINGS[moved.reason]


@pytest.mark.parametrize("distance", [1, 2, -3, 777, -4000])
def test_a_jog_goes_its_distance(talk: Talk, distance: int) -> None:
    talk.move(JOG, distance, 8000)
    moved = talk.moved()
    assert (_ending(moved), moved.position) == (("jog", "reached"), distance)
    assert talk.board.steps == distance


@pytest.mark.parametrize("direction", [0, 1])
def test_the_card_says_which_level_of_the_direction_line_is_reverse(direction: int) -> None:
    talk = Talk().wake(direction=direction)
    talk.move(JOG, 300, 4000)
    assert talk.moved().position == 300
    assert talk.board.steps == (-300 if direction else 300)


def test_a_position_counted_the_other_way_is_doubtful(talk: Talk) -> None:
    talk.do(Set, 38, 0)
    talk.do(Set, 5, -50_000)
    assert talk.is_on("known")
    talk.do(Set, 38, 1)
    assert not talk.is_on("known")


def test_stop_ends_a_held_jog(talk: Talk) -> None:
    talk.move(HELD, 50_000)
    talk.run(500)
    talk.say(Stop(0))
    moved = talk.moved()
    assert _ending(moved) == ("held", "stopped")
    assert moved.position == talk.board.steps
    assert talk.is_on("known")


def test_relieve_ends_early_when_the_thrust_is_gone(talk: Talk) -> None:
    talk.thrust(1500)
    talk.move(RELIEVE, -20_000)
    talk.run(1000)
    talk.thrust(90)
    moved = talk.moved()
    assert _ending(moved) == ("relieve", "relieved")
    assert moved.position > -3000


def test_relieve_without_a_sensor_goes_its_distance() -> None:
    talk = Talk(*SMALLEST).wake()
    talk.move(RELIEVE, -1500)
    assert _ending(talk.moved()) == ("relieve", "reached")


def test_approach_ends_at_contact(talk: Talk) -> None:
    talk.thrust(300)
    talk.move(APPROACH, 20_000)
    talk.run(400)
    talk.thrust(450)
    talk.run(300)
    assert not talk.of(Moved)
    talk.thrust(520)
    assert _ending(talk.moved()) == ("approach", "contact")


def test_approach_that_meets_nothing_goes_its_distance(talk: Talk) -> None:
    talk.move(APPROACH, 1000)
    assert _ending(talk.moved()) == ("approach", "reached")


def test_prime_ends_when_dough_flows_without_a_gap(talk: Talk) -> None:
    talk = Talk().wake(gap=1000, prime_flow=3000, first_flow=20_000)
    talk.move(PRIME, 90_000, 4000)
    talk.run(500)
    talk.eye(True)
    talk.run(400)
    talk.eye(False)
    talk.run(400)  # 1600 steps without dough: it counts afresh
    talk.eye(True)
    start = talk.board.steps
    moved = talk.moved()
    assert _ending(moved) == ("prime", "flowing")
    assert 2990 <= moved.position - start <= 3300


def test_prime_gives_up_when_no_dough_comes() -> None:
    talk = Talk().wake(first_flow=3000)
    talk.move(PRIME, 90_000, 4000)
    moved = talk.moved()
    assert _ending(moved) == ("prime", "no-flow")
    assert 3000 <= moved.position <= 3300
    assert talk.latches() == set()


def test_prime_without_an_eye_goes_its_distance() -> None:
    talk = Talk("local").wake()
    talk.move(PRIME, 1500)
    assert _ending(talk.moved()) == ("prime", "reached")


# Local switches.


@pytest.mark.parametrize(("name", "sign"), [("forward", 1), ("reverse", -1)])
def test_a_local_switch_moves_while_it_is_on(talk: Talk, name: str, sign: int) -> None:
    talk.pin(name, True)
    talk.run(1000)
    talk.pin(name, False)
    moved = talk.moved()
    assert _ending(moved) == ("local", "released")
    # 800 steps/s, 20 ms until a press counts.
    assert 740 <= sign * moved.position <= 800


def test_a_local_switch_needs_no_lease(talk: Talk) -> None:
    talk.leasing = False
    talk.run(1000)
    talk.pin("forward", True)
    talk.run(2000)
    talk.pin("forward", False)
    assert _ending(talk.moved()) == ("local", "released")
    assert talk.latches() == set()


def test_a_bounce_moves_nothing(talk: Talk) -> None:
    for _ in range(10):
        talk.pin("forward", True)
        talk.run(15)
        talk.pin("forward", False)
        talk.run(1)
    talk.run(100)
    assert talk.board.steps == 0


def test_a_locked_switch_is_ignored_and_does_not_start_when_freed(talk: Talk) -> None:
    talk.do(Lock, 1)
    talk.pin("forward", True)
    talk.run(100)
    assert [(m.signal, m.reason) for m in talk.of(Ignored)] == [(5, 58)]
    talk.do(Lock, 0)
    talk.run(200)
    assert talk.board.steps == 0
    talk.pin("forward", False)
    talk.run(50)
    talk.pin("forward", True)
    talk.run(100)
    assert talk.board.steps > 0
    talk.do(Lock, 1)
    assert _ending(talk.moved()) == ("local", "released")


def test_both_switches_move_nothing_and_stop_what_moves(talk: Talk) -> None:
    talk.pin("forward", True)
    talk.run(300)
    talk.pin("reverse", True)
    moved = talk.moved()
    assert _ending(moved) == ("local", "tripped")
    assert talk.trips() == [22]
    assert talk.latches() == set()
    assert talk.refused(Move, JOG, 100, 1000, talk.beat().nonce) == (22, 0, 0)
    talk.pin("reverse", False)
    talk.run(300)
    assert talk.board.steps == moved.position
    talk.pin("forward", False)


def test_a_switch_is_ignored_in_a_portion_and_while_one_waits(talk: Talk) -> None:
    talk.plan(push=8000)
    talk.start(trigger=1)
    talk.pin("reverse", True)
    talk.run(50)
    talk.pin("reverse", False)
    talk.pin("button", True)
    talk.run(50)
    talk.pin("button", False)
    talk.run(500)
    talk.pin("forward", True)
    talk.run(50)
    talk.pin("forward", False)
    assert [(m.signal, m.reason) for m in talk.of(Ignored)] == [(6, 23), (5, 23)]
    assert talk.ended().outcome == 0


@pytest.mark.parametrize("reason", [2, 4, 43, 44, 52])
def test_reasons_to_ignore_a_switch(talk: Talk, reason: int) -> None:
    if reason == 43:
        talk.move(JOG, 5000)
    elif reason == 44:
        talk.do(Drive, 0)
    elif reason == 4:
        talk.pin("home", False)
        talk.run(5)
    elif reason == 52:
        talk.pin("guard", False)
        talk.run(5)
        talk.pin("guard", True)
    elif reason == 2:
        talk.pin("forward", True)
        talk.run(10)
        talk.pin("guard", False)
    talk.pin("forward", True)
    talk.run(60)
    (ignored,) = talk.of(Ignored)
    assert ignored.reason == (52 if reason == 2 else reason)


def test_a_local_move_ends_at_the_soft_limit_and_trips() -> None:
    talk = Talk(travel_max=500).wake()
    talk.pin("forward", True)
    moved = talk.moved()
    assert _ending(moved) == ("local", "tripped")
    assert (moved.position, talk.board.steps) == (500, 500)
    trip = talk.of(Trip)[0]
    assert (trip.interlock, trip.value, trip.bound) == (14, 501, 500)
    talk.pin("forward", False)
    talk.move(JOG, -100)
    assert _ending(talk.moved()) == ("jog", "reached")
    talk.do(Clear, 14)
    assert talk.latches() == set()


def test_at_the_limit_a_switch_is_ignored(talk: Talk) -> None:
    talk.do(Here, 400_000)
    talk.pin("forward", True)
    talk.run(50)
    assert talk.of(Ignored)[-1].reason == 57


def test_without_a_known_position_there_is_no_soft_limit() -> None:
    talk = Talk(travel_max=500, drive_hold=1)
    talk.wake()
    talk.do(Drive, 0)
    talk.do(Drive, 1)
    assert not talk.is_on("known")
    talk.move(JOG, 900)
    assert _ending(talk.moved()) == ("jog", "reached")


def test_a_move_back_inside_may_begin_outside(talk: Talk) -> None:
    talk.do(Here, 500_000)
    talk.move(JOG, -2000, 8000)
    assert talk.moved().position == 498_000
    assert talk.refused(Move, JOG, 10, 1000, talk.beat().nonce) == (57, 498_010, 400_000)


# Ways out.


def _trip_end(talk: Talk, distance: int) -> None:
    talk.move(JOG, distance)
    talk.run(500)
    talk.pin("ends", False)
    talk.moved()


@pytest.mark.parametrize(("distance", "other_way"), [(5000, -1), (-5000, 1)])
def test_from_an_end_the_feed_moves_away_only(talk: Talk, distance: int, other_way: int) -> None:
    _trip_end(talk, distance)
    assert talk.latches() == {14}
    assert talk.refused(Clear, 14)[:2] == (56, 14)
    assert talk.refused(Move, JOG, 100 if distance > 0 else -100, 1000, talk.beat().nonce)[0] == 52
    talk.move(JOG, 300 * other_way)
    talk.run(150)
    talk.pin("ends", True)
    assert _ending(talk.moved()) == ("jog", "reached")
    talk.do(Clear, 14)


@pytest.mark.parametrize(("distance", "out"), [(5000, -1), (-5000, 1)])
@pytest.mark.parametrize("said_anew", [False, True])
def test_a_switch_that_chatters_on_the_way_out_is_still_that_end(
    talk: Talk, distance: int, out: int, said_anew: bool
) -> None:
    _trip_end(talk, distance)
    if said_anew:
        talk.do(Here, 300_000)
    talk.move(JOG, 600 * out)
    talk.run(200)
    talk.pin("ends", True)
    talk.run(20)
    talk.pin("ends", False)
    assert _ending(talk.moved()) == ("jog", "tripped")
    assert talk.refused(Move, JOG, -100 * out, 1000, talk.beat().nonce)[:2] == (52, 14)
    talk.move(JOG, 100 * out)
    assert _ending(talk.moved()) == ("jog", "reached")


@pytest.mark.parametrize(("distance", "out"), [(5000, -1), (-5000, 1)])
def test_the_other_end_far_from_the_first_is_another_end(
    talk: Talk, distance: int, out: int
) -> None:
    _trip_end(talk, distance)
    talk.move(JOG, 20_000 * out)
    talk.run(300)
    talk.pin("ends", True)
    talk.run(1000)
    talk.pin("ends", False)
    talk.moved()
    assert talk.refused(Move, JOG, 100 * out, 1000, talk.beat().nonce)[:2] == (52, 14)
    talk.move(JOG, -100 * out)
    assert _ending(talk.moved()) == ("jog", "reached")


def test_a_corrected_direction_turns_the_way_out_round(talk: Talk) -> None:
    _trip_end(talk, 5000)
    talk.do(Set, 38, 1)
    talk.do(Adopt, digest(talk.limits | {"direction": 1}))
    assert talk.refused(Move, JOG, -100, 1000, talk.beat().nonce)[:2] == (52, 14)
    talk.move(JOG, 100)
    assert _ending(talk.moved()) == ("jog", "reached")


def test_from_the_reverse_end_nothing_goes_on_in_reverse_although_its_switch_is_on_again(
    talk: Talk,
) -> None:
    _trip_end(talk, -5000)
    talk.pin("ends", True)
    talk.run(50)
    assert talk.refused(Move, JOG, -100, 1000, talk.beat().nonce)[:2] == (52, 14)
    talk.do(Clear, 14)
    talk.move(JOG, -100)


def test_on_the_way_out_the_end_switch_counts_again_once_it_was_on(talk: Talk) -> None:
    _trip_end(talk, 5000)
    talk.move(JOG, -20_000)
    talk.run(300)
    talk.pin("ends", True)
    talk.run(300)
    talk.pin("ends", False)
    steps = talk.board.steps
    assert _ending(talk.moved()) == ("jog", "tripped")
    assert talk.board.steps == steps


@pytest.mark.parametrize("kind", [JOG, RELIEVE])
def test_reverse_is_open_under_thrust_latch_but_not_under_others(talk: Talk, kind: int) -> None:
    talk = Talk().wake(ease=0)
    talk.thrust(3500)
    talk.move(JOG, 3000)
    talk.moved()
    assert talk.latches() == {11}
    assert talk.refused(Move, JOG, 100, 1000, talk.beat().nonce) == (52, 11, 0)
    assert talk.refused(Move, HELD, -100, 1000, talk.beat().nonce) == (52, 11, 0)
    talk.move(kind, -300)
    assert _ending(talk.moved())[1] == "reached"
    talk.pin("guard", False)
    talk.run(5)
    talk.pin("guard", True)
    assert talk.refused(Move, kind, -300, 1000, talk.beat().nonce) == (52, 2, 0)


def test_a_lapse_on_the_way_out_stops_it_again(talk: Talk) -> None:
    talk.move(JOG, 50_000)
    talk.leasing = False
    talk.moved()
    talk.leasing = True
    talk.run(200)
    talk.move(JOG, -50_000)
    talk.leasing = False
    assert _ending(talk.moved()) == ("jog", "lapsed")
    assert talk.trips() == [18, 18]


def test_a_short_reverse_jog_frees_a_blade(talk: Talk) -> None:
    talk.pin("home", False)
    talk.run(5)
    assert talk.refused(Move, JOG, -1001, 1000, talk.beat().nonce)[0] == 4
    assert talk.refused(Move, JOG, 1, 1000, talk.beat().nonce)[0] == 4
    assert talk.refused(Move, RELIEVE, -10, 1000, talk.beat().nonce)[0] == 4
    talk.move(JOG, -1000)
    assert _ending(talk.moved()) == ("jog", "reached")


def test_a_short_reverse_jog_with_the_cutter_home_still_watches_it(talk: Talk) -> None:
    talk.move(JOG, -1000)
    talk.run(200)
    talk.pin("home", False)
    steps = talk.board.steps
    assert _ending(talk.moved()) == ("jog", "tripped")
    assert (talk.trips(), talk.board.steps) == ([5], steps)


def test_edges_of_a_bouncing_switch_are_few(talk: Talk) -> None:
    start = len(talk.heard)
    for k in range(40):
        talk.pin("ends" if k % 3 == 7 else "forward", k % 2 == 0)
        talk.run(1)
    talk.pin("forward", False)
    talk.run(50)
    edges = [e for e in talk.of(Edge, start) if e.signal == 5]
    assert 2 <= len(edges) <= 10
    assert edges[-1].level == 0
