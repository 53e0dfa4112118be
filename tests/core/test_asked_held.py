"""A key that is held: the feed goes on while word of it comes, and no longer."""

from __future__ import annotations

import pytest

from benchd.core.inputs import LinkDown, LinkUp
from protocols import messages as m
from protocols.codes import MOVES
from protocols.limits import HELD_MOST_S
from tests.core.script import OTHER, S, Script


def hold(s: Script, seconds: float, every_s: float = 0.05) -> None:
    """Say every so often that the key is still down."""
    for _ in range(round(seconds / every_s)):
        s.result(s.ask("hold", lease_s=HELD_MOST_S))
        s.run(every_s)


def test_it_feeds_as_long_as_word_comes_and_then_stops_by_the_host_without_a_trip() -> None:
    s = Script().ready()
    ask = s.ask("jog_held", distance_m=0.02, lease_s=HELD_MOST_S)
    s.run(0.1)
    hold(s, 2.0)
    assert s.sent("move")[-1][2:5] == ["1", "16000", "800"], "kind held, 20 mm, 1 mm/s"
    assert s.reply(ask) is None
    assert not s.stops()
    last_ns = s.now_ns - S // 20
    s.run(1)
    assert s.refused(ask).condition == "released"
    assert s.stops() == [0]
    (move,) = s.records("move")
    assert (move["kind"], move["ending"]) == ("held", "stopped")
    assert 0.0018 < move["position_m"] < 0.0024
    assert move["moved_m"] == pytest.approx(move["position_m"]), "it began at zero"
    assert 18 not in s.state.latches
    assert s.state.board.rest_ns - last_ns < 0.4 * S


def test_a_key_let_go_stops_at_once() -> None:
    s = Script().ready()
    ask = s.ask("jog_held", distance_m=-0.02, lease_s=HELD_MOST_S)
    hold(s, 0.5)
    assert s.result(s.ask("hold", lease_s=0)) == {"held": False}
    assert s.stops() == [0]
    assert s.refused(ask).condition == "released"


def test_a_drive_that_has_power_gets_it_no_second_time() -> None:
    s = Script().ready()
    s.must("drive", on=True)
    before = len(s.sent("drive"))
    s.ask("jog_held", distance_m=0.02, lease_s=HELD_MOST_S)
    s.run(0.1)
    assert len(s.sent("drive")) == before
    assert len(s.sent("move")) == 1


def test_leases_do_not_add_up() -> None:
    s = Script().ready()
    s.ask("jog_held", distance_m=0.02, lease_s=HELD_MOST_S)
    for _ in range(20):
        s.ask("hold", lease_s=HELD_MOST_S)
    s.run(HELD_MOST_S + 0.001)
    assert s.stops() == [0]


def test_word_that_waited_until_the_lease_had_lapsed_renews_nothing() -> None:
    s = Script().ready()
    ask = s.ask("jog_held", distance_m=0.02, lease_s=0.1)
    s.run(0.05)
    s.now_ns += S // 20  # The daemon did not come round; the key's repeats waited meanwhile.
    assert s.refused(s.ask("hold", lease_s=HELD_MOST_S)).condition == "held"
    assert s.stops() == [0]
    assert s.refused(ask).condition == "released"


def test_a_key_let_go_before_the_move_was_sent_moves_nothing() -> None:
    s = Script().connect().prove(20)
    s.ask("jog_held", distance_m=0.02, lease_s=HELD_MOST_S)
    s.ask("hold", lease_s=0)
    s.run(1)
    assert not s.sent("move")
    assert s.state.board.position == 0


def test_the_way_is_bounded_however_long_the_key_is_held() -> None:
    s = Script().ready()
    ask = s.ask("jog_held", distance_m=0.002, lease_s=HELD_MOST_S)
    for _ in range(60):
        s.ask("hold", lease_s=HELD_MOST_S)
        s.run(0.05)
    assert s.result(ask)["ending"] == "reached"
    assert s.result(ask)["moved_m"] == pytest.approx(0.002)
    assert s.refused(s.ask("hold", lease_s=HELD_MOST_S)).condition == "held"


@pytest.mark.parametrize(
    "params",
    [
        {"distance_m": 0.0201, "lease_s": 0.1},
        {"distance_m": 1e-7, "lease_s": 0.1},
        {"distance_m": 0.01, "lease_s": 0.2},
        {"distance_m": 0.01, "lease_s": 0.0},
    ],
)
def test_a_longer_way_or_a_longer_lease_is_refused(params: dict[str, float]) -> None:
    s = Script().ready()
    assert s.refused(s.ask("jog_held", **params)).condition == "range"
    assert not s.sent("move")


def test_word_of_a_longer_lease_is_refused_and_renews_nothing() -> None:
    s = Script().ready()
    s.ask("jog_held", distance_m=0.02, lease_s=0.1)
    assert s.refused(s.ask("hold", lease_s=5.0)).condition == "range"
    s.run(0.101)
    assert s.stops() == [0]


def test_only_whoever_holds_the_key_keeps_it_going() -> None:
    s = Script().ready()
    s.ask("jog_held", distance_m=0.02, lease_s=HELD_MOST_S)
    s.run(0.1)
    assert s.refused(s.ask("hold", client=OTHER, lease_s=HELD_MOST_S)).condition == "held"
    s.gone()
    assert s.stops() == [0]


def test_a_series_and_a_latch_refuse_it_as_any_feed() -> None:
    s = Script().ready()
    s.board.trip(7, s.now_ns)
    s.run(0.3)
    assert s.refused(s.ask("jog_held", distance_m=0.001, lease_s=0.1)).condition == "IL-07"
    s = Script().ready()
    s.ask("series", count=2, every_s=8.0)
    s.run(6)
    assert (s.state.carry.last_portion, s.state.work) == (1, None), "it waits for the next beat"
    assert s.refused(s.ask("jog_held", distance_m=0.001, lease_s=0.1)).condition == "busy"


def test_how_far_a_move_came_is_not_counted_over_another_life_of_the_link() -> None:
    s = Script().ready()
    s.ask("jog", distance_m=0.01)
    s.run(1)
    s.tell(LinkDown("unplugged"))
    s.tell(LinkUp("/dev/bench"))
    s.tell(s.board.greeting(s.now_ns))
    ended_us = (s.now_ns // 1000 + 1_000_000) % 2**32
    s.tell(m.Moved(90, ended_us, MOVES.index("jog"), 0, 0, 100, 0, 2000, 5000))
    assert s.records("move")[-1]["moved_m"] is None


def test_how_far_a_move_came_is_not_counted_over_a_restart() -> None:
    s = Script().ready()
    s.ask("jog", distance_m=0.01)
    s.run(1)
    s.board.boot = 8
    s.board.start(s.now_ns)
    s.tell(s.board.greeting(s.now_ns))
    s.run(0.5)
    s.tell(m.Moved(90, s.board.t_us(s.now_ns), MOVES.index("jog"), 0, 0, 100, 0, 2000, 5000))
    assert s.records("move")[-1]["moved_m"] is None
