"""What was pushed and not cut comes off by a dry stroke before the next piece is made."""

from __future__ import annotations

import pytest

from benchd.core.inputs import LinkDown
from tests.core.script import ALL, Script, bench, proven


def in_the_cut(s: Script) -> Script:
    """Go on until the cutter is on its way."""
    s.ask("portion")
    while s.state.board.phase != 5:
        s.run(0.1)
    return s


@pytest.mark.parametrize("interlock", [6, 9, 16, 29])
def test_a_portion_that_tripped_before_its_cut_is_trimmed_off_first(interlock: int) -> None:
    s = in_the_cut(Script().ready())
    s.board.trip(interlock, s.now_ns)
    s.run(0.5)
    assert s.state.uncut == 1
    s.must("clear", interlock=interlock) if interlock != 6 else s.prove(6)
    for method, more in (("portion", {}), ("series", {"every_s": 8.0})):
        refusal = s.refused(s.ask(method, **more))
        assert refusal.condition == "IL-17"
        assert "Portion 1 was pushed and not cut" in refusal.message
    s.must("arm")
    ask = s.ask("fire")
    s.run(2)
    assert s.result(ask)["trimmed"] == 1
    assert s.records("stroke")[-1]["trimmed"] == 1
    assert s.state.uncut == 0
    s.must("portion", seconds=5)
    assert s.records("portion")[-1]["class"] == "after-pause"
    assert s.records("stroke")[0]["trimmed"] is None


def test_a_stroke_that_did_not_complete_leaves_the_piece_hanging() -> None:
    s = in_the_cut(Script().ready())
    s.board.trip(16, s.now_ns)
    s.run(0.5).must("clear", interlock=16).must("arm", seconds=0.2)
    s.ask("fire")
    s.run(0.2)
    s.board.trip(6, s.now_ns, 1100, 1050)
    s.run(0.5)
    assert s.records("stroke")[-1]["trimmed"] is None
    assert s.state.uncut == 1


def test_a_portion_that_was_cut_and_then_tripped_leaves_nothing_hanging() -> None:
    s = Script().ready()
    s.ask("portion")
    while s.state.board.phase != 6:
        s.run(0.05)
    s.board.trip(7, s.now_ns)
    s.run(0.5)
    assert s.records("portion")[-1]["outcome"] == "tripped"
    assert s.state.uncut == 0


@pytest.mark.parametrize(("phase", "uncut"), [(2, 1), (5, 1), (6, 0)])
def test_without_a_far_switch_the_usual_time_of_the_cut_decides(phase: int, uncut: int) -> None:
    facts = bench("eye")
    s = Script(facts, proven(facts)).ready()
    s.ask("portion")
    while s.state.board.phase != phase:
        s.run(0.05)
    s.ask("stop")
    s.run(0.5)
    assert s.state.uncut == uncut


def test_a_valve_that_went_back_too_soon_counts_as_no_cut() -> None:
    facts = bench("eye", cut_ms=2000)
    s = Script(facts, proven(facts)).ready()
    s.board.limits[12] = 100
    s.ask("portion")
    while s.state.board.phase != 6:
        s.run(0.05)
    s.ask("stop")
    s.run(0.5)
    assert s.state.uncut == 1


def test_a_portion_that_never_began_leaves_nothing_hanging() -> None:
    s = Script().ready()
    s.board.refuse["run"] = (52, 2, 0)
    s.ask("portion")
    s.run(1)
    assert s.records("portion")[-1]["outcome"] == "unseen"
    assert s.state.uncut == 0


def test_a_portion_whose_link_was_lost_hangs_until_it_is_cut_off() -> None:
    s = Script().ready()
    s.ask("portion")
    s.run(1)
    s.tell(LinkDown("pulled"))
    assert s.state.uncut == 1


def test_the_sentence_follows_what_is_known() -> None:
    s = Script(bench(*ALL)).ready()
    s.ask("portion")
    s.run(1)
    s.board.edge("guard", 0, s.now_ns)
    s.board.trip(2, s.now_ns)
    s.run(0.5)
    text = s.state.latches[17].text
    assert "Portion 1 was pushed and not cut" in text
    assert "air was away, too" in text
