"""From the first `set` to `adopt` no limits are in force, and the board still watches guard and
stop by what was fitted before."""

from __future__ import annotations

import pytest

from protocols.limits import digest
from protocols.messages import Adopt, Clear, Drive, Run, Set
from tests.firmware.talk import Talk, fitted

BOTH = pytest.mark.parametrize(("pin", "interlock"), [("stop", 1), ("guard", 2)])


@BOTH
def test_stop_and_guard_take_the_power_off(pin: str, interlock: int) -> None:
    talk = Talk().wake(valve_home=1)
    assert talk.is_on("valve")
    talk.do(Set, 12, talk.limits["cut_ms"])
    talk.pin(pin, False)
    talk.run(5)
    assert not talk.is_on("drive")
    assert not talk.is_on("valve")
    assert talk.latches() == {interlock}


@BOTH
def test_a_dry_stroke_is_wanted_after_it(pin: str, interlock: int) -> None:
    """Guard and stop vent the air by wire."""
    talk = Talk().wake()
    talk.plan()  # which makes the dry stroke of the start
    talk.do(Set, 12, talk.limits["cut_ms"])
    talk.pin(pin, False)
    talk.run(3000)
    talk.pin(pin, True)
    talk.run(50)
    talk.do(Adopt, digest(talk.limits))
    assert talk.latches() == {interlock}
    talk.do(Clear, interlock)
    talk.do(Drive, 1)
    talk.plan()
    assert talk.refused(Run, 7, 0, talk.beat().nonce)[0] == 17


def test_what_the_new_limits_do_not_fit_is_watched_no_more() -> None:
    talk = Talk().wake()
    talk.load(fitted=fitted("stop", "home"))
    talk.pin("guard", False)
    talk.run(50)
    assert talk.latches() == set()


def test_before_the_first_limits_nothing_is_watched() -> None:
    """Nobody has said yet what is wired; the drive has no power and gets none."""
    talk = Talk()
    talk.pins(stop=False, guard=False)
    talk.run(50)
    assert talk.latches() == {20}
    assert talk.refused(Drive, 1)[0] == 40
