"""Requests: who may, and what stop, pause, finish and resume do."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from benchd.core import asked
from benchd.core.cycle import at_rest
from benchd.core.effects import Refuse
from benchd.core.inputs import SCALE, Asked
from protocols.requests import REQUESTS
from tests.core.script import MASA, OTHER, PERSON, Script


def test_every_request_that_reaches_the_core_has_a_handler() -> None:
    told = {cls for name, cls in REQUESTS.items() if name not in ("status", "plan")}
    assert set(asked.HANDLERS) == told


def test_a_request_that_cannot_be_read_is_refused_and_counts_as_nobody_being_there() -> None:
    s = Script().ready()
    key_ns = s.state.last_key_ns
    s.run(1)
    refusal = s.refused(s.ask("jog", distance_m="far"))
    assert refusal.condition == "params"
    assert s.state.last_key_ns == key_ns


def test_a_weight_of_the_scale_is_no_sign_that_somebody_is_there() -> None:
    s = Script().ready()
    key_ns = s.state.last_key_ns
    s.run(1)
    weight: dict[str, Any] = {"mass_kg": 0.03, "text": "ST 30.0 g"}
    assert s.refused(s.ask("weigh", client=SCALE, **weight)).condition == "weigh"
    assert s.state.last_key_ns == key_ns
    s.ask("weigh", **weight)
    assert s.state.last_key_ns > key_ns


@pytest.mark.parametrize(("method", "params"), [("portion", {}), ("series", {"every_s": 8.0})])
def test_a_portion_needs_its_dough_card(method: str, params: dict[str, float]) -> None:
    s = Script().ready()
    s.tell(Asked(PERSON, 99, method, {"dough": "masa", **params}))
    assert s.refused(99).condition == "params"


# Control.


def test_whoever_asks_first_takes_control_and_it_is_recorded() -> None:
    s = Script().connect()
    s.ask("here", position_m=0.0)
    assert s.records("control") == [{"client": PERSON, "before": None}]
    s.run(1)
    s.ask("here", position_m=0.0)
    assert len(s.records("control")) == 1


def test_control_changes_hands_at_rest_only() -> None:
    s = Script().ready()
    s.ask("jog", distance_m=0.01)
    s.run(1)
    refusal = s.refused(s.ask("relieve", client=OTHER))
    assert refusal.condition == "control"
    assert s.state.controller == PERSON
    s.run(6).must("control", client=OTHER)
    assert s.state.controller == OTHER
    assert s.records("control")[-1] == {"client": OTHER, "before": PERSON}
    # Whoever lost it is told.
    told = "Control went from client 1 to client 2: client 1 watches now."
    assert s.records("message")[-1] == {"text": told}
    s.must("jog", client=OTHER, distance_m=0.001)


@pytest.mark.parametrize(
    ("method", "params"),
    [
        ("jog", {"distance_m": 0.001}),
        ("drive", {"on": True}),
        ("here", {"position_m": 0.0}),
        ("proofs", {"interlock": 9}),
        ("series", {"every_s": 8.0, "confirmed": True}),
    ],
)
def test_what_needs_control_asks_first_while_another_terminal_has_it(
    method: str, params: dict[str, Any]
) -> None:
    s = Script().ready()
    sent = len(s.sent())
    asked = s.refused(s.ask(method, client=OTHER, **params))
    assert (asked.condition, asked.question) == ("control", True)
    assert asked.message == "Client 1 is in control here: take it?"
    assert s.state.controller == PERSON
    assert len(s.sent()) == sent
    s.gone()
    ask = s.ask(method, client=OTHER, **params)
    assert s.state.controller == OTHER, "there is nobody to ask about"
    reply = s.reply(ask)
    assert not isinstance(reply, Refuse) or not reply.question


@pytest.mark.parametrize(
    ("method", "params"),
    [("relieve", {}), ("drive", {"on": False}), ("stop", {}), ("pause", {}), ("finish", {})],
)
def test_what_takes_force_or_motion_away_is_never_asked_about(
    method: str, params: dict[str, Any]
) -> None:
    s = Script().ready(at_m=0.1)
    ask = s.ask(method, client=OTHER, **params)
    s.run(6)
    reply = s.reply(ask)
    assert not isinstance(reply, Refuse) or reply.condition == "series"


def test_control_of_a_series_whose_terminal_closed_is_taken_once_it_rests() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.gone()
    assert s.state.controller is None
    assert s.refused(s.ask("relieve", client=OTHER)).condition == "control"
    s.run(5).must("relieve", client=OTHER)


def test_control_is_not_taken_while_a_local_switch_moves_the_feed() -> None:
    s = Script().ready()
    s.board.begin_move(5, 4000, 800, s.now_ns)
    s.run(0.3)
    assert s.refused(s.ask("jog", client=OTHER, distance_m=0.001)).condition == "control"
    assert s.refused(s.ask("jog", distance_m=0.001)).condition == "busy"


def test_weights_and_notes_are_taken_from_anyone_and_take_no_control() -> None:
    s = Script().ready()
    s.ask("jog", distance_m=0.01)
    s.run(1)
    s.result(s.ask("note", client=OTHER, text="it smells good"))
    assert s.state.controller == PERSON


# A terminal that closes.


def test_a_series_whose_terminal_closed_finishes_its_portion_and_pauses() -> None:
    s = Script().ready()
    ask = s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.gone()
    s.run(20)
    assert not s.stops()
    assert s.reply(ask) is None
    assert [r["what"] for r in s.records("series")] == ["began", "paused"]
    assert s.records("series")[-1]["reason"] == "the terminal that ran it closed"
    assert len(s.records("portion")) == 1
    again = s.ask("resume", client=OTHER)
    s.run(20)
    assert s.result(again)["made"] == 5


def test_a_watcher_that_leaves_changes_nothing() -> None:
    s = Script().ready()
    s.ask("series", count=2, every_s=5.0)
    s.run(1)
    before = s.state
    s.gone(OTHER)
    assert s.state == before


def test_a_jog_goes_on_when_somebody_else_leaves() -> None:
    s = Script().ready()
    ask = s.ask("jog", distance_m=0.005)
    s.run(1)
    s.gone(OTHER)
    s.run(3)
    assert s.result(ask)["ending"] == "reached"


def test_a_paused_series_outlives_its_terminal_and_a_jog_that_died_with_it() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.ask("pause")
    s.run(5)
    s.ask("jog", distance_m=0.01)
    s.run(0.5)
    s.gone()
    s.run(1)
    assert s.stops() == [0]
    assert s.state.series is not None


# Stop.


@pytest.mark.parametrize("level", [0, 1])
def test_stop_is_taken_from_anyone_at_any_time(level: int) -> None:
    s = Script().ready()
    ask = s.ask("jog", distance_m=0.01)
    s.run(1)
    stop = s.ask("stop", client=OTHER, level=level)
    assert s.result(stop) == {"stopped": True, "level": level}
    assert s.refused(ask).condition == "stopped"
    assert s.stops() == [level]
    s.run(0.5)
    move = s.records("move")[-1]
    assert move["ending"] == "stopped"
    assert 0.0 < move["moved_m"] == pytest.approx(move["position_m"])


def test_stop_comes_before_everything_else_of_its_step() -> None:
    s = Script().ready()
    s.ask("jog", distance_m=0.01)
    s.ask("stop")
    assert type(s.new[0]).__name__ == "StopNow"


def test_stop_takes_back_what_was_planned() -> None:
    s = Script().ready()
    s.board.mute = True  # The answers that the plan waits for do not come.
    ask = s.ask("portion")
    s.ask("stop")
    assert s.state.outbox == ()
    assert s.state.work is None
    assert s.refused(ask).condition == "stopped"
    s.board.mute = False
    s.run(5)
    assert not s.sent("run")
    assert at_rest(s.state)


def test_a_stopped_portion_still_gets_its_record_with_all_that_was_seen() -> None:
    s = Script().ready()
    ask = s.ask("portion")
    s.run(1)
    s.ask("stop")
    s.run(1)
    assert s.refused(ask).condition == "stopped"
    record = s.records("portion")[-1]
    assert (record["outcome"], record["class"]) == ("stopped", "flagged")
    assert len(record["phases"]) == 2
    assert at_rest(s.state)


def test_stop_ends_a_series_and_nothing_goes_on_by_itself() -> None:
    s = Script().ready()
    ask = s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.ask("stop")
    assert s.result(ask)["reason"] == "stopped"
    s.run(30)
    assert len(s.sent("run")) == 1
    assert "local-lock" not in s.board.pins


def test_stop_during_loading_begins_loading_again() -> None:
    s = Script()
    s.board.mute = True
    s.connect()
    s.ask("stop")
    s.board.mute = False
    s.tell(s.board.greeting(s.now_ns))
    s.run(1)
    assert s.state.link == "up"


# Pause, resume, finish.


def test_pause_waits_for_the_safe_point_and_resume_goes_on() -> None:
    s = Script().ready()
    ask = s.ask("series", count=3, every_s=5.0)
    s.run(1)
    s.result(s.ask("pause", client=OTHER))
    assert s.reply(ask) is None
    s.run(10)
    assert s.result(ask) == {
        "what": "paused", "made": 1, "count": 3, "reason": "a person asked", "first": 1
    }  # fmt: skip
    assert "local-lock" not in s.board.pins
    s.result(s.ask("pause"))
    again = s.ask("resume")
    s.run(20)
    assert s.result(again)["made"] == 3
    assert [r["class"] for r in s.records("portion")] == ["first", "after-pause", "normal"]


def test_a_resumed_series_looks_at_what_must_hold() -> None:
    s = Script().ready()
    s.ask("series", count=3, every_s=5.0)
    s.run(1)
    s.ask("pause")
    s.run(5)
    s.result(s.ask("set", values={"air_pa": 150_000.0}))
    assert s.refused(s.ask("resume")).condition == "IL-17"
    s.ask("jog", distance_m=0.01)
    assert s.refused(s.ask("resume")).condition == "busy"


def test_while_a_series_is_paused_no_other_begins() -> None:
    s = Script().ready()
    s.ask("series", count=3, every_s=5.0)
    s.run(1)
    s.ask("pause")
    s.run(5)
    assert s.refused(s.ask("portion")).condition == "series"
    assert s.refused(s.ask("series", every_s=8.0)).condition == "series"
    s.must("jog", distance_m=0.001)


def test_finish_ends_a_series_after_the_portion_under_way() -> None:
    s = Script().ready()
    ask = s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.result(s.ask("finish", client=OTHER))
    s.run(10)
    assert s.result(ask)["reason"] == "finished early"
    assert len(s.records("portion")) == 1


def test_finish_ends_a_paused_series_at_once() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.ask("pause")
    s.run(5)
    s.result(s.ask("finish"))
    assert s.state.series is None
    assert s.records("series")[-1]["what"] == "ended"


@pytest.mark.parametrize("method", ["pause", "finish", "resume"])
def test_without_a_series_there_is_nothing_to_pause_finish_or_resume(method: str) -> None:
    s = Script().ready()
    assert s.refused(s.ask(method)).condition == "series"


def test_a_series_that_runs_cannot_be_resumed() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=5.0)
    s.run(1)
    assert s.refused(s.ask("resume")).condition == "series"


def test_requests_reach_the_core_as_plain_data() -> None:
    given = Asked(PERSON, 1, "portion", {"dough": "masa"}, MASA)
    assert msgspec.json.decode(msgspec.json.encode(given), type=Asked) == given
