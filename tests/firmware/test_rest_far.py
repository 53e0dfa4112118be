"""A cutter that goes to its far end without power: how it comes home after a start or a trip."""

from __future__ import annotations

import pytest

from protocols.codes import PHASES
from protocols.messages import Arm, Clear, Drive, Fire, Here, Move, Moved, Phase, Stop
from tests.firmware.talk import ALL, SMALLEST, Talk

COMPLETE, STOPPED, TRIPPED = 0, 1, 2


def started(*parts: str) -> Talk:
    """A bench after its start: the blade stands far, as its valve has no power."""
    talk = Talk(*parts, valve_home=1)
    if "home" in parts:
        talk.pins(home=False, far=True)
    else:
        talk.cutter_works = False
    talk.run(20)
    talk.load()
    talk.do(Clear, 20)
    talk.do(Drive, 1)
    talk.do(Here, 0)
    talk.run(400)
    return talk


def stroke(talk: Talk) -> None:
    """One dry stroke, which must end with the cutter home."""
    start = len(talk.heard)
    talk.do(Arm)
    assert not talk.board.valve_on
    talk.do(Fire, talk.beat().nonce)
    assert talk.ended().outcome == COMPLETE
    assert [PHASES[phase.phase] for phase in talk.of(Phase, start)] == ["cut", "return"]
    assert talk.board.valve_on
    assert talk.is_on("home")


@pytest.mark.parametrize("parts", [ALL, SMALLEST])
def test_after_a_start_a_dry_stroke_brings_it_home(parts: tuple[str, ...]) -> None:
    talk = started(*parts)
    assert not talk.board.valve_on
    assert talk.refused(Move, 0, 100, 1000, talk.beat().nonce)[0] == 4
    stroke(talk)
    talk.run(200)
    talk.plan()
    talk.eye(True)
    talk.start()
    assert talk.ended().outcome == COMPLETE
    assert talk.trips() == []


def test_nothing_brings_it_home_while_the_guard_is_open_or_a_latch_is_set() -> None:
    talk = started(*ALL)
    stroke(talk)
    talk.pin("guard", False)
    talk.run(400)
    assert not talk.board.valve_on
    assert talk.refused(Arm)[:2] == (52, 2)
    talk.pin("guard", True)
    talk.run(50)
    assert talk.refused(Arm)[:2] == (52, 2)
    talk.do(Clear, 2)
    talk.pin("guard", False)
    talk.run(5)
    assert not talk.board.valve_on
    talk.pin("guard", True)
    talk.run(50)
    talk.do(Clear, 2)
    assert not talk.board.valve_on
    stroke(talk)


@pytest.mark.parametrize("parts", [ALL, SMALLEST])
@pytest.mark.parametrize("level", [0, 1])
def test_no_stop_moves_a_blade_that_stands_still(parts: tuple[str, ...], level: int) -> None:
    talk = started(*parts)
    talk.say(Stop(level))
    talk.run(400)
    assert not talk.board.valve_on
    talk.do(Drive, 1)
    talk.move(0, -900)  # as far as it may go to free the blade
    talk.run(100)
    talk.say(Stop(level))
    talk.run(400)
    assert [moved.reason for moved in talk.of(Moved)] == [STOPPED]
    assert not talk.board.valve_on
    talk.do(Drive, 1)
    talk.do(Here, 0)
    stroke(talk)
    talk.say(Stop(level))
    talk.run(400)
    assert talk.board.valve_on


@pytest.mark.parametrize("level", [0, 1])
def test_a_stop_in_the_cut_brings_it_home_at_once(level: int) -> None:
    talk = started(*ALL)
    talk.plan(dwell=900)
    talk.eye(True)
    talk.start()
    talk.until(lambda: PHASES[talk.beat().phase] == "cut")
    assert not talk.board.valve_on
    talk.say(Stop(level))
    talk.run(5)
    assert talk.board.valve_on
    assert talk.ended().outcome == STOPPED


def test_after_too_long_a_return_a_stroke_must_show_that_it_comes_home() -> None:
    talk = started(*ALL)
    stroke(talk)
    talk.do(Arm)
    talk.do(Fire, talk.beat().nonce)
    talk.until(lambda: PHASES[talk.beat().phase] == "return")
    talk.hang_cutter()
    assert talk.ended().outcome == TRIPPED
    assert talk.latches() == {7}
    assert not talk.board.valve_on
    talk.do(Clear, 7)
    # It still hangs, which neither way of the stroke hides.
    talk.do(Arm)
    talk.do(Fire, talk.beat().nonce)
    assert talk.ended().outcome == TRIPPED
    assert talk.latches() == {6, 7}


def test_on_its_way_home_no_stroke_begins() -> None:
    talk = started(*SMALLEST)
    stroke(talk)
    talk.load(valve_home=0)  # the level it stands at is now the far one
    talk.load(valve_home=1)
    assert talk.refused(Arm)[0] == 4
    talk.run(400)
    talk.do(Arm)
