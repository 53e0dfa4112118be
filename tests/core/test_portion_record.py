"""The portion record: all that the fitted sensors can give, None where they cannot."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from benchd.core import portion_record
from benchd.core.state import Work
from protocols import messages as m
from protocols.codes import PIN
from protocols.limits import NOT_FITTED
from tests.core.script import ALL, MASA, Script, bench, proven

WORK = Work(1, "normal", MASA, "T1", 1, {}, 0, 0)


def edges(*rows: tuple[str, int, int]) -> Work:
    """A portion that saw these edges: pin, level, time [us]."""
    return replace(WORK, edges=tuple((PIN[name], level, t_us) for name, level, t_us in rows))


CUT = (
    ("valve", 1, 1_000_000), ("home", 0, 1_044_000), ("far", 1, 1_355_000),
    ("valve", 0, 1_405_000), ("far", 0, 1_430_000), ("home", 1, 1_780_000),
)  # fmt: skip


def test_the_cutters_times_are_those_between_valve_and_switches() -> None:
    times = portion_record.cutter_times(edges(*CUT))
    assert times == {
        "start_delay_s": 0.044, "stroke_s": 0.311, "return_delay_s": 0.025, "return_s": 0.350
    }  # fmt: skip


def test_the_boards_clock_may_wrap_in_the_middle_of_a_cut() -> None:
    late = tuple((name, level, (t_us + 2**32 - 1_100_000) % 2**32) for name, level, t_us in CUT)
    assert portion_record.cutter_times(edges(*late)) == portion_record.cutter_times(edges(*CUT))
    work = replace(WORK, phases=((2, 2**32 - 500_000, 0, 0, 0, 0, 0), (5, 500_000, 0, 0, 0, 0, 0)))
    assert portion_record.phase_times(work, 700_000) == {"push": 1.0, "cut": 0.2}


def test_what_no_switch_saw_is_none() -> None:
    assert set(portion_record.cutter_times(WORK).values()) == {None}
    times = portion_record.cutter_times(edges(*CUT[:3]))
    assert times["stroke_s"] == 0.311
    assert times["return_delay_s"] is None


def test_a_bounce_of_a_switch_does_not_move_its_first_edge() -> None:
    bounced = (*CUT[:3], ("far", 0, 1_356_000), ("far", 1, 1_357_000), *CUT[3:])
    assert portion_record.cutter_times(edges(*bounced))["stroke_s"] == 0.311


def test_a_full_bench_gives_a_full_record() -> None:
    s = Script().ready()
    s.board.signals |= {"thrust": 1200, "air": 2100, "supply": 4980, "eye": 700}
    s.result(s.ask("set", values={"nozzle_m": 0.024}))
    s.must("arm", seconds=0.2).must("fire").must("portion", seconds=4)
    record = s.records("portion")[-1]
    assert record["asked_m"] == {"take_up": 0.002, "push": 0.013, "draw_back": 0.002}
    assert record["thrust_n"] == {"start": 120.0, "peak": 120.0, "at_cut": 120.0}
    assert record["air_pa"] == {"min": 210_000.0, "at_cut": 210_000.0}
    assert record["supply_v"] == {"min": 4.98}
    assert (record["eye"]["min"], record["eye"]["gap_m"]) == (700, 0.0005)
    assert [row["phase"] for row in record["phases"]] == [
        "take-up", "push", "draw-back", "settle", "cut", "return"
    ]  # fmt: skip
    assert sum(record["phase_s"].values()) == pytest.approx(2.9, abs=0.1)
    assert record["by_hand"] == {"nozzle_m": 0.024}
    assert record["digests"] == {**s.facts.digests, "dough": MASA.digest}
    assert record["build"] == "abc1234"
    assert record["clock_error_s"] < 0.01


def test_a_reading_has_no_more_digits_than_the_wire_says() -> None:
    assert str(portion_record.reading(993, 0.1)) == "99.3"
    assert str(portion_record.reading(868, 0.1)) == "86.8"
    assert portion_record.reading(NOT_FITTED, 0.1) is None


def test_a_portion_has_the_digest_of_what_its_card_says() -> None:
    s = (
        Script()
        .ready()
        .must("portion", dough=replace(MASA, text="a: 1 # one", digest=7), seconds=4)
    )
    assert s.records("portion")[-1]["digests"]["dough"] == 7


def test_the_smallest_bench_gives_what_it_can() -> None:
    facts = bench()
    s = Script(facts, proven(facts)).ready().must("portion", seconds=4)
    record = s.records("portion")[-1]
    assert record["thrust_n"] == {"start": None, "peak": None, "at_cut": None}
    assert record["air_pa"] == {"min": None, "at_cut": None}
    assert record["supply_v"] == {"min": None}
    assert record["eye"]["min"] is None
    assert record["phase_s"]["push"] == pytest.approx(1.3)


def test_a_portion_that_ended_before_any_phase_still_has_a_record() -> None:
    s = Script().ready()
    s.ask("portion", button=True)
    s.run(1)
    s.tell(m.Ended(50, 0, 1, 1, 0, 100, 0, 2000, 5000))
    record = s.records("portion")[-1]
    assert (record["outcome"], record["phases"], record["phase_s"]) == ("stopped", [], {})
    assert record["eye"]["at_cut"] is None


def test_times_of_phases_are_on_the_hosts_clock_within_the_stated_error() -> None:
    s = Script().ready()
    began_ns = s.now_ns
    s.must("portion", seconds=4)
    record = s.records("portion")[-1]
    first = record["phases"][0]["t_ns"]
    assert 0 <= first - began_ns < 120_000_000 + record["clock_error_s"] * 1e9


def test_without_any_exchange_of_times_the_hosts_times_are_none() -> None:
    s = Script().ready()
    s.ask("portion")
    s.run(2)
    s.state = replace(s.state, clock=type(s.state.clock)())
    work = s.work
    s.tell(m.Ended(90, 1, work.number, 0, 0, 100, 0, 2000, 5000))
    record = s.records("portion")[-1]
    assert record["clock_error_s"] is None
    assert record["phases"][0]["t_ns"] is None


def test_lines_dropped_during_the_portion_are_counted_in_it() -> None:
    s = Script().ready()
    s.state = replace(s.state, lines_bad=7)
    s.ask("portion")
    s.run(1)
    s.state = replace(s.state, lines_bad=9)
    s.run(4)
    assert s.records("portion")[-1]["bad_lines"] == 2
    assert ALL
