"""IL-17 on the board: a portion is refused after air was, or may have been, away, until a dry
stroke was made."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from benchd.core.short_way import air_away
from protocols.messages import (
    Arm,
    Clear,
    Drive,
    Ended,
    Fire,
    Here,
    Ignored,
    No,
    Phase,
    Run,
    Sample,
    Stop,
    Trip,
)
from tests.firmware.talk import Talk

TRIPPED = 2


def refused(talk: Talk) -> bool:
    """Ask for a portion; whether IL-17 refuses it. One that starts is stopped again."""
    answer = talk.ask(Run, 7, 0, talk.beat().nonce)
    if isinstance(answer, No):
        assert (answer.reason, answer.value, answer.bound) == (17, 0, 0)
        return True
    talk.say(Stop(0))
    talk.ended()
    return False


def loaded(*parts: str, **limits: int) -> Talk:
    """A bench that has just woken up, with a program."""
    talk = Talk(*parts, **limits).wake()
    talk.dry_needed = False
    talk.plan()
    return talk


def test_the_first_portion_after_a_start_wants_a_dry_stroke() -> None:
    for parts in ((), ("eye", "local")):
        talk = loaded(*parts)
        assert refused(talk)
        assert talk.latches() == set()
        talk.dry_stroke()
        talk.plan()
        talk.start()
        assert talk.ended().outcome == 0


def test_a_stroke_that_did_not_end_well_does_not_count() -> None:
    talk = loaded()
    talk.do(Arm)
    talk.do(Fire, talk.beat().nonce)
    talk.run(50)
    talk.say(Stop(0))
    assert talk.ended().outcome == 1
    talk.run(500)
    talk.plan()
    assert refused(talk)


def dried(*parts: str, **limits: int) -> Talk:
    """A bench that had its dry stroke, with a program."""
    talk = Talk(*parts, **limits).wake()
    talk.plan()
    return talk


def _away(talk: Talk) -> None:
    talk.air(400)
    talk.run(5)
    talk.air(2000)


def _wire(talk: Talk) -> None:
    talk.wire_off(2)
    talk.run(5)
    talk.air(2000)


def _contact(name: str) -> Callable[[Talk], None]:
    def open_and_shut(talk: Talk) -> None:
        talk.pin(name, False)
        talk.run(20)
        talk.pin(name, True)
        talk.run(20)
        talk.do(Clear, {"stop": 1, "guard": 2}[name])
        talk.do(Drive, 1)
        talk.do(Here, 0)
        talk.plan()

    return open_and_shut


VENTS = {"air": _away, "wire": _wire, "guard": _contact("guard"), "stop": _contact("stop")}


@pytest.mark.parametrize("vents", VENTS.values(), ids=VENTS)
def test_what_vents_the_air_wants_another_one(vents: Callable[[Talk], None]) -> None:
    talk = dried()
    vents(talk)
    talk.run(100)
    assert refused(talk)


def test_air_that_only_dips_is_not_away() -> None:
    talk = dried()
    talk.air(510)  # air_min is 1000
    talk.run(5)
    talk.air(2000)
    talk.run(100)
    assert not refused(talk)


def test_without_an_air_sensor_its_pin_says_nothing() -> None:
    talk = dried("eye", "local")
    talk.wire_off(2)
    talk.run(100)
    assert not refused(talk)


def test_a_dry_stroke_with_air_away_leaves_it_wanted() -> None:
    talk = dried(air_min=0)
    talk.air(0)
    talk.run(5)
    talk.dry_stroke()
    talk.plan()
    assert refused(talk)


def test_a_dry_stroke_in_which_air_went_does_not_count() -> None:
    """Nor where it is back before the end, and no switch shows that the blade never moved."""
    talk = loaded("eye", "local", "air")
    talk.do(Arm)
    talk.do(Fire, talk.beat().nonce)
    talk.run(20)
    _away(talk)
    assert talk.ended().outcome == 0
    talk.plan()
    assert refused(talk)


@pytest.mark.parametrize(
    ("zero", "full", "air_min"),
    [(102, 10_000, 0), (102, 10_000, 1), (102, 10_000, 1001), (102, 65_534, 65_534), (0, 3, 2)],
)
def test_board_and_daemon_agree_on_when_air_is_away(zero: int, full: int, air_min: int) -> None:
    """The board compares products and the daemon whole hPa, to the same end."""
    talk = Talk(air_zero=zero, air_full=full, air_min=air_min, air_max=65_534).wake()
    limits = {"air_min": air_min}
    state: Any = SimpleNamespace(facts=SimpleNamespace(fitted=("air",), limits=limits))
    for counts in (0, 50, 51, 102, 103, 147, 148, 149, 340, 341, 342, 562, 563, 1022):
        talk.raw(2, 1023)
        talk.run(300)
        talk.dry_stroke()
        talk.raw(2, counts)
        talk.run(1100)
        said = talk.of(Sample)[-1]
        talk.raw(2, 1023)
        talk.run(5)
        talk.plan()
        assert refused(talk) == air_away(state, said.air), (counts, said.air)


def test_air_that_goes_in_the_push_ends_the_portion_before_its_cut() -> None:
    talk = dried()
    talk.start()
    talk.until(lambda: talk.board.steps > 500)
    _away(talk)
    start = len(talk.heard)
    ended = talk.ended()
    assert (ended.portion, ended.outcome) == (7, TRIPPED)
    assert [trip.interlock for trip in talk.of(Trip, start)] == [17]
    assert 5 not in [phase.phase for phase in talk.of(Phase)]
    assert not talk.board.valve_on
    assert talk.latches() == set()
    talk.do(Clear, 17)


def test_the_button_starts_nothing_before_it() -> None:
    talk = dried()
    talk.start(trigger=1)
    _away(talk)
    talk.run(100)
    talk.pin("button", True)
    talk.run(100)
    assert [said.reason for said in talk.of(Ignored)] == [17]
    assert talk.is_on("waiting")
    assert not talk.of(Ended)
