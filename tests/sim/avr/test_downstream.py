"""The machine code at the pins towards the machine downstream: leaving, ready, and the drop eye."""

from __future__ import annotations

from protocols.codes import CAUSES, DROP, PHASES
from protocols.messages import Edge, Ended, Phase
from tests.firmware.talk import ALL
from tests.sim.avr.avr_talk import AvrTalk


def test_a_portion_waits_leaves_and_is_seen_to_fall() -> None:
    talk = AvrTalk(*ALL, "ready").wake()
    talk.plan(take_up=0, push=200, draw_back=0, settle=0, dwell=0)
    assert not talk.board.leaving
    talk.start()
    talk.run(100)
    assert talk.is_on("waiting")
    assert talk.board.steps == 0
    talk.pin("button", True)
    talk.until(lambda: talk.board.leaving)
    talk.pin("drop", True)
    talk.run(20)
    assert PHASES[talk.of(Phase)[-1].phase] == "return"
    assert [edge.portion for edge in talk.of(Edge) if edge.signal == DROP] == [7]
    assert talk.ended().outcome == 0
    assert not talk.board.leaving
    talk.plan(take_up=0, push=200, draw_back=0, settle=0, dwell=0)
    talk.start()  # ready all the while
    talk.until(lambda: talk.board.leaving)
    talk.board.reset(CAUSES.index("button"))
    assert not talk.board.leaving
    talk.board.run_for(200_000, stop=0)
    assert not talk.board.leaving
    assert len(talk.of(Ended)) == 1
