"""Inputs and decisions as journal entries: exact in both directions."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.core import ledger
from benchd.core.effects import Answer, Effect, Record, Refuse, Renew, Send, StopNow
from benchd.core.inputs import (
    Asked,
    Carry,
    EventGap,
    Gone,
    Input,
    JournalState,
    LineFault,
    LinkDown,
    LinkUp,
    Opened,
    Proof,
    Stood,
    Tube,
    Wake,
    WallClock,
    WrongBoard,
)
from protocols import messages as m
from protocols.messages import MESSAGES, BoardMessage
from tests.core.script import ALL, MASA, Script, bench, proven
from tests.protocols.strategies import BOARD_MESSAGE

WHOLE = st.integers(-(2**62), 2**62)
REAL = st.floats(allow_nan=False, allow_infinity=False)
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
MAYBE = st.none() | REAL
PLAIN: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | WHOLE | REAL | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=8,
)
DATA = st.dictionaries(TEXT, PLAIN, max_size=4)
CARRY = st.builds(
    Carry,
    WHOLE,
    st.none() | st.builds(Proof, TEXT, WHOLE, st.dictionaries(TEXT, WHOLE, max_size=2), TEXT),
    st.none() | st.builds(Tube, TEXT, TEXT, MAYBE, WHOLE, MAYBE, WHOLE, st.booleans()),
    st.lists(TEXT, max_size=3).map(tuple),
    WHOLE,
    st.dictionaries(TEXT, REAL | TEXT, max_size=2),
    st.none() | st.tuples(REAL, REAL),
    st.none() | st.tuples(REAL, REAL),
    st.lists(WHOLE, max_size=3).map(tuple),
    MAYBE,
)
INPUTS: dict[type[Input], st.SearchStrategy[Input]] = {
    Opened: st.builds(Opened, st.just(bench(*ALL)), CARRY, WHOLE),
    LinkUp: st.builds(LinkUp, TEXT),
    LinkDown: st.builds(LinkDown, TEXT),
    LineFault: st.builds(LineFault, TEXT, WHOLE),
    EventGap: st.builds(EventGap, WHOLE, WHOLE),
    WrongBoard: st.builds(WrongBoard, TEXT),
    Stood: st.builds(Stood, st.floats(0, 1e6)),
    Asked: st.builds(Asked, WHOLE, WHOLE, TEXT, DATA, st.none() | st.just(MASA)),
    Gone: st.builds(Gone, WHOLE),
    Wake: st.just(Wake()),
    JournalState: st.builds(JournalState, st.booleans(), TEXT),
    WallClock: st.builds(WallClock, WHOLE),
}
EFFECTS: dict[type[Effect], st.SearchStrategy[Effect]] = {
    StopNow: st.builds(StopNow, st.integers(0, 1)),
    Renew: st.builds(Renew, st.integers(0, 65_535)),
    Send: st.builds(Send, TEXT, st.booleans()),
    Record: st.builds(Record, st.sampled_from(sorted(ledger.RECORDS)), DATA),
    Answer: st.builds(Answer, WHOLE, WHOLE, DATA),
    Refuse: st.builds(Refuse, WHOLE, WHOLE, TEXT, TEXT, MAYBE, MAYBE, st.booleans()),
}


def stored(written: ledger.Written) -> ledger.Written:
    """The same entry after a journal has held it: values as whole numbers, text as text."""
    kind, values, text = msgspec.json.decode(msgspec.json.encode(written), type=ledger.Written)
    return kind, tuple(values), text


def test_every_class_of_input_and_decision_is_tried_here() -> None:
    assert set(INPUTS) == set(Input.__subclasses__())
    assert set(EFFECTS) == set(Effect.__subclasses__())


@pytest.mark.parametrize(
    "told",
    [
        m.Bench(1, "1", "abc", "sim", 7, "power", 0, 0, 0, 0),
        m.Yes(4, 0),
        LinkUp("/dev/ttyX1"),
        Asked(1, 2, "note", {"text": "husk"}),
    ],
)
def test_what_came_in_comes_back_from_its_entry(told: Input | BoardMessage) -> None:
    entry = ledger.write_input(told)
    assert ledger.is_input(entry[0])
    assert ledger.read_input(*stored(entry)) == told


@pytest.mark.slow
@given(told=st.one_of(BOARD_MESSAGE, *INPUTS.values()))
def test_an_input_comes_back_from_its_entry_as_it_was(told: Input | BoardMessage) -> None:
    entry = ledger.write_input(told)
    assert ledger.is_input(entry[0])
    assert ledger.read_input(*stored(entry)) == told


@pytest.mark.slow
@given(decided=st.one_of(*EFFECTS.values()))
def test_a_decision_comes_back_from_its_entry_as_it_was(decided: Effect) -> None:
    entry = ledger.write_effect(decided)
    assert not ledger.is_input(entry[0])
    back = ledger.read_effect(*stored(entry))
    assert back == decided
    assert ledger.write_effect(back) == entry


@pytest.mark.slow
@given(said=BOARD_MESSAGE)
def test_a_line_of_the_board_can_be_written_again_to_the_byte(said: BoardMessage) -> None:
    assert m.encode(ledger.read_input(*ledger.write_input(said))) == m.encode(said)


def test_a_whole_day_comes_back_entry_by_entry() -> None:
    s = Script().ready()
    s.ask("series", count=2, every_s=5.0)
    s.run(12)
    s.ask("weigh", mass_kg=0.03, text="30")
    for effect in s.done:
        entry = ledger.write_effect(effect)
        assert ledger.write_effect(ledger.read_effect(*stored(entry))) == entry


def test_views_name_every_code_once_and_every_column_of_a_line() -> None:
    rows = ledger.views()
    names, kinds = [row[0] for row in rows], [row[1] for row in rows]
    assert len(set(names)) == len(names)
    assert len(set(kinds)) == len(kinds)
    by_kind = {kind: columns for _, kind, columns in rows}
    for spec in MESSAGES.values():
        if issubclass(spec.cls, BoardMessage) and spec.cls is not m.Bench:
            assert by_kind[spec.cls.code] == spec.cls.__struct_fields__
    assert by_kind[m.Bench.code] == ()
    assert set(ledger.RECORDS.values()) <= set(kinds)


def test_every_kind_of_record_that_the_core_makes_has_a_code() -> None:
    s = Script(carry=proven(bench(*ALL))).ready()
    s.must("portion", seconds=4)
    kinds = {effect.kind for effect in s.done if isinstance(effect, Record)}
    assert kinds <= set(ledger.RECORDS)
    assert {"portion", "stroke", "control", "carry", "proof", "greeting", "trip"} <= kinds


def test_an_entry_that_is_damaged_is_an_error_and_nothing_else() -> None:
    for text in ("", "{", '{"input":"nothing"}'):
        with pytest.raises(msgspec.MsgspecError):
            ledger.read_input(ledger.INPUT, (), text)
    with pytest.raises(msgspec.MsgspecError):
        ledger.read_effect(ledger.DECISION, (), None)
