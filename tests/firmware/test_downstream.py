"""The machine downstream, and the eye below the blade: a portion waits until that machine is ready,
says when it leaves, and is seen to fall."""

from __future__ import annotations

import pytest

from protocols.codes import DROP, PHASES
from protocols.messages import Edge, Ended, Ignored, Phase, Stop
from tests.firmware.talk import ALL, Talk

READY = (*ALL, "ready")


def phases(talk: Talk) -> list[str]:
    """Phases that began, by their words."""
    return [PHASES[phase.phase] for phase in talk.of(Phase)]


def waiting(*parts: str) -> Talk:
    """A bench with a portion that was asked for."""
    talk = Talk(*(parts or READY)).wake()
    talk.plan()
    talk.start()
    return talk


def drops(talk: Talk) -> list[Edge]:
    """What the drop eye saw."""
    return [edge for edge in talk.of(Edge) if edge.signal == DROP]


def test_a_portion_waits_until_the_machine_downstream_is_ready() -> None:
    talk = waiting()
    talk.run(500)
    assert talk.is_on("waiting")
    assert (phases(talk), talk.board.steps) == ([], 0)
    talk.pin("button", True)
    talk.run(10)
    assert phases(talk) == []  # a contact bounces
    assert talk.ended().outcome == 0


def test_one_that_is_ready_already_lets_it_start_at_once() -> None:
    talk = Talk(*READY).wake()
    talk.plan()
    talk.pin("button", True)
    talk.run(100)
    talk.start()
    talk.run(5)
    assert phases(talk) == ["take-up"]
    assert talk.ended().outcome == 0


def test_a_ready_contact_says_nothing_when_nothing_waits() -> None:
    talk = Talk(*READY).wake()
    for on in (True, False, True):
        talk.pin("button", on)
        talk.run(100)
    assert talk.of(Ignored) == []


def test_a_start_that_is_refused_waits_on_in_silence() -> None:
    talk = waiting()
    talk.air(600)  # too little for a cut, and not away
    talk.pin("button", True)
    talk.run(300)
    assert talk.is_on("waiting")
    assert talk.of(Ignored) == []
    talk.air(2000)
    assert talk.ended().outcome == 0


def test_a_stop_drops_a_portion_that_waits() -> None:
    talk = waiting()
    talk.run(100)
    talk.say(Stop(0))
    assert talk.ended().outcome == 1
    talk.pin("button", True)
    talk.run(300)
    assert (phases(talk), talk.board.steps) == ([], 0)


def test_without_it_the_button_stays_a_button() -> None:
    talk = Talk().wake()
    talk.plan()
    talk.start()
    talk.run(5)
    assert phases(talk) == ["take-up"]


def test_leaving_is_on_from_the_end_of_the_cut_until_the_cutter_is_home() -> None:
    talk = Talk().wake()
    talk.plan()
    talk.start()
    rows = []
    while not talk.of(Ended):
        talk.run(1)
        rows.append((talk.now_us, talk.board.leaving))
    on = [t_us for t_us, leaving in rows if leaving]
    # This board's clock is the test's, to its start.
    (back_us,) = [phase.t_us for phase in talk.of(Phase) if PHASES[phase.phase] == "return"]
    (end_us,) = [ended.t_us for ended in talk.of(Ended)]
    assert back_us <= on[0] <= back_us + 2000
    assert end_us - 2000 <= on[-1] <= end_us + 1000
    assert len(on) == pytest.approx((end_us - back_us) / 1000, abs=3)


def test_no_portion_leaves_by_a_dry_stroke_or_uncut() -> None:
    talk = Talk().wake()
    left = []
    talk.plan()  # which makes the dry stroke
    left.append(talk.board.leaving)
    talk.start()
    talk.until(lambda: "cut" in phases(talk))
    talk.run(20)
    talk.say(Stop(0))
    while not talk.of(Ended):
        talk.run(5)
        left.append(talk.board.leaving)
    assert not any(left)


def test_a_reset_takes_it_off() -> None:
    talk = Talk().wake()
    talk.plan()
    talk.start()
    talk.until(lambda: talk.board.leaving)
    talk.board.reset(3)
    assert not talk.board.leaving


def test_the_drop_eye_tells_once_of_each_portion() -> None:
    talk = Talk().wake()
    talk.plan()
    talk.start()
    talk.until(lambda: "return" in phases(talk))
    for on in (True, False, True, False):
        talk.pin("drop", on)
        talk.run(4)
    assert talk.ended().outcome == 0
    talk.run(100)
    (drop,) = drops(talk)
    assert (drop.portion, drop.level) == (7, 1)


def test_one_that_falls_late_is_told_with_no_portion() -> None:
    talk = Talk().wake()
    talk.plan()
    talk.start()
    talk.ended()
    talk.run(50)
    talk.pin("drop", True)
    talk.run(20)
    assert [drop.portion for drop in drops(talk)] == [0]


def test_without_a_drop_eye_nothing_is_told() -> None:
    talk = Talk(*(part for part in ALL if part != "drop")).wake()
    talk.pin("drop", True)
    talk.run(300)
    assert drops(talk) == []
