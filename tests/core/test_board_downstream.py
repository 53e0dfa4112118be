"""What the board does about a portion by itself, as the daemon takes it: its own part of IL-17, the
machine downstream, the drop eye."""

from __future__ import annotations

import pytest

from benchd.core.snapshot import snapshot
from protocols import messages as m
from protocols.codes import DROP, PHASES
from tests.core.script import ALL, Script, bench, proven


def test_a_portion_that_the_board_refuses_for_air_wants_a_dry_stroke_here_too() -> None:
    s = Script().ready()
    s.board.refuse["run"] = (17, 0, 0)
    ask = s.ask("portion")
    s.run(0.5)
    assert s.refused(ask).condition == "IL-17"
    assert s.state.dry_needed
    assert "make a dry stroke first" in s.refused(s.ask("portion")).message
    s.must("arm", seconds=0.2).must("fire").must("portion", seconds=5)
    assert s.records("portion")[-1]["outcome"] == "complete"


def test_air_that_went_in_a_portion_leaves_it_uncut_and_asks_for_a_dry_stroke() -> None:
    s = Script().ready()
    s.ask("portion")
    while s.state.board.phase != PHASES.index("settle"):
        s.run(0.05)
    s.board.trip(17, s.now_ns)
    s.run(0.5)
    assert s.records("portion")[-1]["outcome"] == "tripped"
    assert (s.state.dry_needed, s.state.uncut) == (True, 1)
    message = s.refused(s.ask("portion")).message
    assert "Portion 1 was pushed and not cut" in message
    assert "the blade may be fast" in message
    s.must("arm", seconds=0.2).must("fire")
    assert 17 not in s.state.latches


def fallen(*, seen: bool) -> Script:
    """A bench with a drop eye that made a portion."""
    facts = bench(*ALL, "drop")
    s = Script(facts, proven(facts)).ready()
    s.ask("portion")
    while s.state.board.phase != PHASES.index("return"):
        s.run(0.05)
    if seen:
        board = s.board
        where = (board.portion, DROP, 1, board.position)
        board.event(m.Edge, s.now_ns, *where, *board.readings())
    s.run(2)
    return s


def test_the_record_says_when_a_piece_was_seen_to_fall() -> None:
    s = fallen(seen=True)
    (record,) = s.records("portion")
    assert 0.3 < record["drop_s"] < 0.6
    assert record["seen"] == []
    assert all(bit < DROP for bit in range(20) if s.state.board.pins >> bit & 1)


def test_a_piece_that_nobody_saw_fall_is_told() -> None:
    (record,) = fallen(seen=False).records("portion")
    assert record["drop_s"] is None
    assert record["seen"] == ["no piece was seen to fall: it may hang at blade or nozzle"]
    assert record["class"] == "flagged"


def test_without_a_drop_eye_the_record_knows_of_no_drop() -> None:
    facts = bench("guard", "eye")
    s = Script(facts, proven(facts)).ready().must("portion", seconds=5)
    (record,) = s.records("portion")
    assert "drop_s" not in record
    assert record["seen"] == []


@pytest.mark.parametrize(
    ("parts", "words"), [(("button",), "the local button"), (("ready",), "the machine downstream")]
)
def test_a_portion_that_waits_says_what_for(parts: tuple[str, ...], words: str) -> None:
    facts = bench("guard", "eye", *parts)
    s = Script(facts, proven(facts)).ready()
    s.ask("portion", button=True)
    s.run(0.5)
    assert snapshot(s.state, s.now_ns).waits_for == words
