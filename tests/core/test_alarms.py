"""What people make of alarms: raised, seen, returned, shelved; and that no interlock minds."""

from __future__ import annotations

import pytest

from benchd.core.inputs import JournalState
from benchd.core.snapshot import snapshot
from protocols import messages as m
from protocols.limits import SHELVED_MAX_S
from protocols.status import Abnormal, BenchStatus
from tests.core.script import OTHER, Script

SHELF = {"interlock": 28, "for_s": 60.0, "name": "ana", "reason": "new disk"}


def shown(s: Script) -> BenchStatus:
    """The status now."""
    return snapshot(s.state, s.now_ns)


def one(s: Script, code: str) -> Abnormal:
    """An abnormal that is up."""
    return next(one for one in shown(s).abnormals if one.code == code)


def full_disk() -> Script:
    """A bench whose journal cannot be written, so that IL-28 is up and holds no latch."""
    s = Script().ready()
    s.tell(JournalState(False, "The disk is full."))
    return s


def test_an_alarm_is_raised_until_somebody_has_seen_it_and_stays_up() -> None:
    s = full_disk()
    assert one(s, "IL-28").standing == "raised"
    assert s.result(s.ask("seen", client=OTHER, interlock=28, name="ana")) == {"seen": ["IL-28"]}
    assert one(s, "IL-28").standing == "seen"
    assert s.refused(s.ask("series", count=2, every_s=8.0)).condition == "IL-28"
    assert s.records("alarm") == [{"interlock": "IL-28", "what": "seen", "name": "ana", "text": ""}]
    assert s.result(s.ask("seen", interlock=28)) == {"seen": []}, "it was seen already"


def test_an_alarm_that_comes_again_is_new() -> None:
    s = full_disk()
    s.ask("seen")
    s.tell(JournalState(True, ""))
    assert not shown(s).returned, "it was seen before it went"
    s.tell(JournalState(False, "The disk is full."))
    assert one(s, "IL-28").standing == "raised"


def test_an_alarm_that_went_unseen_is_kept_as_returned_until_seen() -> None:
    s = full_disk()
    s.run(3)
    s.tell(JournalState(True, ""))
    (gone,) = shown(s).returned
    assert (gone.code, gone.standing, gone.latched) == ("IL-28", "returned", False)
    assert gone.what == "Journal cannot be written."
    assert gone.so_what.startswith("It lasted 3.0 s")
    assert s.result(s.ask("seen", interlock=28)) == {"seen": ["IL-28"]}
    assert not shown(s).returned


def test_what_was_up_for_less_than_a_second_is_counted_and_not_kept() -> None:
    s = full_disk()
    s.run(0.9)
    s.tell(JournalState(True, ""))
    assert not shown(s).returned
    assert shown(s).raised_lately > 0


def test_a_latch_whose_cause_is_gone_wants_seeing_and_is_over_only_once_cleared() -> None:
    s = Script().ready()
    s.board.pins.discard("stop")
    s.board.trip(1, s.now_ns)
    s.run(0.3)
    assert one(s, "IL-01").standing == "raised"
    s.board.pins.add("stop")
    s.run(0.3)
    assert (one(s, "IL-01").standing, one(s, "IL-01").cause_gone) == ("raised", True)
    s.ask("seen", interlock=1)
    assert (one(s, "IL-01").standing, one(s, "IL-01").cause_gone) == ("seen", True)
    s.prove(1)
    assert not shown(s).returned


def test_a_shelved_alarm_is_quiet_for_its_time_and_its_interlock_goes_on() -> None:
    s = full_disk()
    assert s.result(s.ask("shelve", client=OTHER, **SHELF)) == {"interlock": "IL-28", "for_s": 60.0}
    put = one(s, "IL-28")
    assert (put.standing, put.shelved_by, put.shelved_why) == ("shelved", "ana", "new disk")
    assert put.shelved_until_ns == s.now_ns + 60_000_000_000
    assert s.refused(s.ask("series", count=2, every_s=8.0)).condition == "IL-28"
    s.run(59.9)
    assert one(s, "IL-28").standing == "shelved"
    s.run(0.2)
    assert one(s, "IL-28").standing == "seen"
    told = [(record["what"], record["text"]) for record in s.records("alarm")]
    assert told == [("shelved", "new disk"), ("back", "its time is over")]
    assert s.records("alarm")[0]["for_s"] == 60.0


def test_a_shelved_alarm_that_comes_and_goes_stays_on_its_shelf() -> None:
    s = full_disk()
    s.ask("shelve", **SHELF)
    for ok in (True, False, True, False):
        s.tell(JournalState(ok, "The disk is full."))
        s.run(2)
        assert not shown(s).returned
    assert one(s, "IL-28").standing == "shelved"


def test_a_shelved_alarm_is_taken_back_by_a_person() -> None:
    s = full_disk()
    s.ask("shelve", **SHELF)
    s.result(s.ask("unshelve", interlock=28))
    assert one(s, "IL-28").standing == "seen"
    assert s.refused(s.ask("unshelve", interlock=28)).condition == "shelve"


@pytest.mark.parametrize(
    ("change", "condition"),
    [
        ({"for_s": SHELVED_MAX_S + 1}, "range"),
        ({"for_s": 0.0}, "range"),
        ({"name": " "}, "shelve"),
        ({"reason": ""}, "shelve"),
        ({"interlock": 9}, "shelve"),
        ({"interlock": 99}, "shelve"),
    ],
)
def test_nothing_is_shelved_without_end_name_or_reason(
    change: dict[str, object], condition: str
) -> None:
    s = full_disk()
    assert s.refused(s.ask("shelve", **{**SHELF, **change})).condition == condition
    assert one(s, "IL-28").standing == "raised"


def test_what_stopped_the_bench_is_never_out_of_sight() -> None:
    s = Script().ready()
    s.board.trip(9, s.now_ns)
    s.run(0.3)
    assert s.refused(s.ask("shelve", **{**SHELF, "interlock": 9})).condition == "IL-09"
    assert one(s, "IL-09").standing == "raised"


@pytest.mark.slow
def test_alarms_are_counted_over_ten_minutes_and_notes_are_none() -> None:
    s = full_disk()
    start = shown(s).raised_lately
    for _ in range(3):
        s.tell(JournalState(True, ""))
        s.tell(JournalState(False, "The disk is full."))
    assert shown(s).raised_lately == start + 3
    s.run(601)
    assert shown(s).raised_lately == 0


def test_an_alarm_that_a_beat_brings_before_its_event_is_raised_once() -> None:
    s = Script().ready()
    start = shown(s).raised_lately
    s.board.latches = 1 << 15
    s.run(0.2)
    s.result(s.ask("seen", interlock=16))
    s.tell(m.Trip(99, 0, 0, 16, 900, 1800, 100))
    assert one(s, "IL-16").standing == "seen"
    assert shown(s).raised_lately == start + 1


def test_a_note_neither_waits_to_be_seen_nor_is_kept_when_it_goes() -> None:
    s = Script().connect().prove(20)
    s.result(s.ask("seen"))
    assert one(s, "IL-17").standing == "raised"
    s.must("here", position_m=0.0).must("arm").must("fire")
    assert not [gone for gone in shown(s).returned if gone.code == "IL-17"]
