"""Ends that nobody saw, silence, hang-ups and strangers: the core without a word of the board."""

from __future__ import annotations

import pytest

from benchd.core.cycle import at_rest
from benchd.core.inputs import LinkDown, WrongBoard
from protocols import messages as m
from tests.core.script import Script

# Ends that nobody saw.


@pytest.mark.parametrize(
    ("method", "params", "event"),
    [
        ("jog", {"distance_m": 0.002}, m.Moved),
        ("portion", {}, m.Ended),
        ("fire", {}, m.Ended),
    ],
)
def test_what_ended_unseen_is_given_up_once_the_board_rests_for_two_seconds(
    method: str, params: dict[str, float], event: type[m.Event]
) -> None:
    s = Script().ready()
    s.must("arm", seconds=0.2)
    s.board.lose.add(event)
    ask = s.ask(method, **params)
    s.run(3 if method == "portion" else 1)
    assert s.reply(ask) is None
    s.run(4)
    assert s.refused(ask).condition == "event"
    assert at_rest(s.state)


def test_a_long_move_out_of_a_latch_is_not_taken_for_rest() -> None:
    s = Script().ready(at_m=0.1)
    s.board.trip(14, s.now_ns)
    s.run(0.2)
    ask = s.ask("jog", distance_m=-0.02)
    s.run(9)
    assert s.reply(ask) is None
    s.run(2)
    assert s.result(ask)["ending"] == "reached"


def test_a_stopped_portion_whose_end_is_lost_does_not_keep_the_bench_busy() -> None:
    s = Script().ready()
    s.ask("portion")
    s.run(1)
    s.board.lose.add(m.Ended)
    s.ask("stop")
    s.run(1)
    assert s.state.work is not None
    s.run(2)
    assert at_rest(s.state)
    assert s.records("portion")[-1]["outcome"] == "unseen"
    s.board.lose.clear()
    assert s.refused(s.ask("portion")).condition == "IL-17"
    s.must("arm").must("fire").must("portion", seconds=4)


def test_the_end_of_a_portion_may_come_later_than_a_beat_at_rest() -> None:
    s = Script().ready()
    s.board.lose.add(m.Ended)
    ask = s.ask("portion")
    s.run(3.3)
    assert s.state.board.mode == 1
    s.tell(m.Ended(60, 0, 1, 0, 10_400, 100, 0, 2000, 5000))
    assert s.result(ask)["outcome"] == "complete"


# Silence, hang-ups, strangers.


def test_a_jog_that_waits_for_a_silent_board_is_given_up_not_made_later() -> None:
    s = Script().ready().run(0.09)
    s.board.mute = True
    s.run(0.2)
    ask = s.ask("jog", distance_m=0.01)  # No beat is fresh enough to send it.
    s.run(1)
    assert s.refused(ask).condition == "IL-19"
    s.board.mute = False
    s.run(2)
    assert not s.sent("move")


def test_a_drive_that_never_answered_takes_no_jog_along_when_the_board_speaks_again() -> None:
    s = Script().connect().prove(20).run(0.05)
    s.board.deaf.add("drive")
    ask = s.ask("jog", distance_m=0.01)
    s.board.mute = True
    s.run(1)
    assert s.refused(ask).condition == "IL-19"
    s.board.mute = False
    s.tell(m.Yes(s.board.last_id, 0))
    s.run(2)
    assert not s.sent("move")


def test_a_hang_up_ends_everything_and_says_so_once() -> None:
    s = Script().ready()
    ask = s.ask("series", every_s=5.0)
    s.run(1)
    s.tell(LinkDown("The cable was pulled."))
    assert "The cable was pulled." in s.result(ask)["reason"]
    assert at_rest(s.state)
    assert s.state.outbox == ()
    assert s.state.pending is None
    assert s.tell(LinkDown("The cable was pulled.")) == []
    assert len(s.records("link")) == 1


def test_after_a_reconnect_nothing_moves_until_somebody_asks() -> None:
    s = Script().ready()
    s.ask("series", every_s=5.0)
    s.run(1)
    s.tell(LinkDown("The cable was pulled."))
    s.board.stop(0, s.now_ns)
    moves = len(s.sent("run", "move", "fire"))
    s.run(10).connect().run(60)
    assert len(s.sent("run", "move", "fire")) == moves
    assert s.state.dry_needed
    assert s.refused(s.ask("portion")).condition == "IL-17"


def test_a_stranger_on_the_port_ends_everything() -> None:
    s = Script().ready()
    ask = s.ask("jog", distance_m=0.02)
    s.run(0.5)
    s.tell(WrongBoard("Something answers that is no bench board."))
    assert s.refused(ask).condition == "IL-19"
    assert s.state.link == "wrong"
