"""Portions with what happened around them, as journals tell it."""

from __future__ import annotations

import pytest

from benchd.analysis.why import History
from benchd.core import ledger
from benchd.diagnose.signals import MASS
from benchd.io.journal_format import Entry
from protocols import messages as m
from protocols.codes import SIGNALS
from tests.analysis import weights as make
from tests.grade.corpus import Made
from tests.grade.corpus import make as simulated
from tests.grade.score import FITS, bench, verdict


def read(*entries: Entry) -> History:
    history = History()
    history.read(entries)
    return history


def edge(signal: str, level: int, portion: int = 3) -> Entry:
    values = (7, 1000, portion, SIGNALS.index(signal), level, 0, 0, 0, 0, 0)
    return Entry(1, m.Edge.code, values)


def events_of(*entries: Entry) -> dict[str, str]:
    return (
        read(make.tube_in("T1"), make.portion(1, 1), *entries, make.portion(2, 2))
        .portions()[1]
        .events
    )


def test_edges_stand_as_the_messages_have_them() -> None:
    """The places of signal and level in an entry are those of the message's fields."""
    fields = m.Edge.__struct_fields__
    places = [fields.index(name) for name in ("portion", "signal", "level")]
    assert places == [2, 3, 4]
    assert m.Boot.__struct_fields__.index("cause") == 2


@pytest.mark.parametrize(
    ("entries", "name"),
    [
        ([edge("forward", 1)], "hand"),
        ([edge("guard", 0)], "guard"),
        ([edge("valve", 1), edge("far", 1), edge("far", 0), edge("far", 1)], "bounce"),
        ([Entry(1, m.Boot.code, (1, 0, 3, 9))], "reset"),
        ([make.record("link", up=False, text="the cable was pulled out")], "link"),
        ([make.record("gap", first=1, last=2)], "link"),
        ([make.record("trip", interlock="IL-06", up=True, text="It stalled.")], "no-far"),
        ([make.record("by_hand", values={}, group=2)], "card"),
        ([make.record("trip", interlock="IL-17", up=True, text="Air was away.")], "after-dump"),
    ],
)
def test_what_happens_before_a_portion_ends_goes_with_it(entries: list[Entry], name: str) -> None:
    assert set(events_of(*entries)) == {name}


def test_what_is_over_does_not_go_with_it() -> None:
    assert events_of(make.record("trip", interlock="IL-06", up=False, text="")) == {}
    dumped = make.record("trip", interlock="IL-17", up=True, text="Air was away.")
    assert events_of(dumped, make.record("stroke", outcome="complete")) == {}
    assert events_of(edge("valve", 1), edge("far", 1), edge("valve", 0)) == {}


def test_another_card_is_seen_in_the_recipe() -> None:
    changed = make.portion(3, 3, asked_m={"push": 0.015})
    portions = read(make.tube_in("T1"), make.portion(2, 2), changed).portions()
    assert portions[0].like != portions[1].like
    assert "card" in portions[1].events


def test_a_portion_that_nobody_saw_end_is_still_there() -> None:
    history = read(
        make.tube_in("T1"),
        make.portion(1, 1),
        make.record("link", up=False, text="gone"),
        make.record("ended", portion=2, outcome="lapsed", known=False),
    )
    last = history.portions()[-1]
    assert (last.number, last.outcome, set(last.events)) == (2, "lapsed", {"link"})


def test_every_reading_of_the_scale_is_kept_and_the_last_counts() -> None:
    history = read(
        make.tube_in("T1"), make.portion(1, 1), make.weight(1, 0.0198), make.weight(1, 0.0298)
    )
    (one,) = history.portions()
    assert one.readings_kg == (0.0198, 0.0298)
    assert one.signals[MASS] == 0.0298


def test_what_was_read_before_a_weight_was_taken_back_does_not_count() -> None:
    entries = [make.tube_in("T1"), make.portion(1, 1), make.weight(1, 0.0198), make.weight(1, None)]
    (one,) = read(*entries).portions()
    assert (one.readings_kg, one.signals.get(MASS)) == ((), None)
    (one,) = read(*entries, make.weight(1, 0.0298)).portions()
    assert one.readings_kg == (0.0298,)


def test_a_damaged_record_is_left_out() -> None:
    broken = Entry(1, ledger.RECORDS["portion"], (), '{"number": 1}')
    assert [one.number for one in read(broken, make.portion(2, 2)).portions()] == [2]


@pytest.fixture(scope="module")
def sound() -> list[Made]:
    return [simulated("", 1.0, seed) for seed in (1, 2)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("cause", "fit", "named"),
    [
        ("void", "smallest", {"MC-02"}),
        ("hang-up", "all pins", {"MC-10", "MC-12"}),
        ("stuck-blade", "all pins", {"MC-11", "MC-30"}),
        ("hand-on-switch", "smallest", {"MC-29"}),
        ("host-stall", "all pins", {"MC-26"}),
    ],
)
def test_a_simulated_cause_is_named_or_its_group(
    sound: list[Made], cause: str, fit: str, named: set[str]
) -> None:
    """Through firmware, daemon and journal, with seeds that are kept for tests."""
    told = verdict(simulated(cause, 1.6, 50_001), sound, FITS[fit])
    assert told is not None
    assert told.told
    assert told.right
    assert set(told.named) == named


@pytest.mark.slow
def test_sound_tubes_are_not_accused(sound: list[Made]) -> None:
    read = bench(sound[1], sound[:1], FITS["all pins"])
    normal = [one for one in read.portions if one.good]
    assert len(normal) > 15
    assert [case.portion.number for case in read.odd_ones() if case.portion.good] == []


def test_a_piece_that_nobody_saw_fall_is_missing_unless_it_fell_late() -> None:
    fell, late = edge("drop", 1), edge("drop", 1, portion=0)
    history = read(
        make.tube_in("T1"), make.portion(1, 1, drop_s=None), fell, make.portion(2, 2, drop_s=0.4),
        make.portion(3, 3, drop_s=None), late, make.portion(4, 4, drop_s=None),
        make.portion(5, 5, outcome="tripped", drop_s=None), make.portion(6, 6),
    )  # fmt: skip
    missing = [one.number for one in history.portions() if "drop-missing" in one.events]
    assert missing == [1, 4]


def test_what_fell_of_a_portion_that_nobody_saw_end_is_not_taken_for_the_next_ones() -> None:
    lost = make.record("ended", portion=2, outcome="unknown")
    history = read(
        make.tube_in("T1"), edge("drop", 1, portion=1), make.portion(1, 1, drop_s=0.4),
        edge("drop", 1, portion=2), lost, make.portion(3, 3, drop_s=None),
    )  # fmt: skip
    missing = [one.number for one in history.portions() if "drop-missing" in one.events]
    assert missing == [3]
