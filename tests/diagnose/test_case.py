"""What is found of portions, and which of them are odd."""

from __future__ import annotations

from typing import Any

import pytest

from benchd.cli.why_order import presort
from benchd.diagnose.case import Bench, Case, held_against
from benchd.diagnose.matched import ENOUGH, decisive
from benchd.diagnose.signals import MASS
from tests.diagnose.portions import seen, tube

ALL = frozenset({"eye", "home", "far", "thrust", "air", "supply", "local", "guard"})


def bench(changes: dict[int, dict[str, Any]], fitted: frozenset[str] = ALL) -> Bench:
    """Two even tubes, and one with these portions changed."""
    even = [*tube(12), *tube(12, loading=1)]
    last = [
        seen(200 + k, index=k, loading=2, place=k / 13, **changes.get(k, {})) for k in range(1, 13)
    ]
    return Bench([*even, *last], fitted)


def case_of(read: Bench, k: int) -> Any:
    return read.case(next(one for one in read.portions if one.number == 200 + k))


def names(case: Any) -> set[str]:
    return {one.name for one in case.seen}


def mass(value_kg: float | None) -> dict[str, Any]:
    return {"signals": {MASS: value_kg}}


@pytest.mark.slow
def test_even_portions_are_not_accused() -> None:
    assert bench({}).odd_ones() == []


@pytest.mark.slow
def test_what_was_moved_is_told_from_what_was_lost() -> None:
    moved = bench({6: mass(0.026), 7: mass(0.034)})
    assert {"mass_kg-", "moved"} <= names(case_of(moved, 6))
    assert case_of(moved, 7).partner
    assert [case.portion.number for case in moved.odd_ones()] == [206]
    lost = bench({6: mass(0.026)})
    assert {"mass_kg-", "lost"} <= names(case_of(lost, 6))


def test_below_its_power_the_neighbour_sum_says_nothing() -> None:
    found = case_of(bench({6: mass(0.02995), 7: mass(0.03005)}), 6).found
    assert found["moved"].seen is None
    assert found["lost"].seen is None


def sum_of(case: Case) -> str:
    """What is said of a portion and the next one together."""
    return presort(case)[2]


def scattered(sixth_kg: float, seventh_kg: float | None, n: int = 12) -> Bench:
    """One tube of weights that scatter by some 1 %, but for the sixth and the seventh."""
    off = [0.4, -1.1, 0.9, -0.3, 1.2, 0.0, 0.0, -0.9, 0.6, -1.2, 0.2, 0.8]
    kg: list[float | None] = [0.030 * (1 + share / 100) for share in off]
    kg[5:7] = sixth_kg, seventh_kg
    ones = [seen(k, index=k, place=k / 13, **mass(kg[k - 1])) for k in range(1, n + 1)]
    return Bench(ones, ALL)


def test_of_few_a_sum_is_judged_before_the_weight_alone_accuses() -> None:
    read = scattered(0.0278, 0.0322)
    case = read.case(read.portions[5])
    (row,) = (row for row in case.rows if row.name == MASS)
    assert decisive(row.n) < -row.z < row.limit
    assert case.found["moved"].seen
    assert case.found["mass_kg-"].seen is None
    assert case.found["mass_kg+"].seen is False
    # What was measured is not missing, though it does not tell.
    assert all("mass_kg-" not in one.missing for one in case.opinion.together)
    # It tells more of an odd weight, and makes none odd.
    assert not case.odd
    assert "dough was moved, not lost" in sum_of(case)


@pytest.mark.parametrize(
    ("sixth_kg", "seventh_kg", "n", "why"),
    [
        (0.0301, 0.0299, 12, "it takes a weight off by more than 5.8 usual spreads and 4 %"),
        (0.0260, None, 12, "the next one has no weight"),
        (0.0260, 0.0299, 6, "it takes 8 good weights beside it"),
        (0.0260, 0.0275, 12, "the sum and the next one are both usual, or neither is"),
    ],
)
def test_why_a_sum_tells_nothing_is_said(
    sixth_kg: float, seventh_kg: float | None, n: int, why: str
) -> None:
    read = scattered(sixth_kg, seventh_kg, n)
    assert sum_of(read.case(read.portions[5])).endswith(f"can't tell moved from lost; {why}.")


def test_a_sum_has_no_next_one_at_the_end_of_a_tube_and_of_a_portion() -> None:
    read = scattered(0.030, 0.030)
    assert "no portion of its tube follows" in sum_of(read.case(read.portions[-1]))
    assert "it ended early" in sum_of(case_of(bench({6: {"outcome": "tripped"}}), 6))
    early = {6: {"outcome": "tripped", "readings_kg": (), **mass(None)}}
    assert "it ended early" in sum_of(case_of(bench(early), 6))
    unweighed = {6: {"readings_kg": (), **mass(None)}, 7: {"readings_kg": (), **mass(None)}}
    assert "it has no weight" in sum_of(case_of(bench(unweighed), 6))


def test_why_the_cutters_times_say_nothing_is_told() -> None:
    def cutter(read: Bench) -> str:
        return presort(read.case(read.portions[3]))[4]

    assert cutter(Bench(tube(12), ALL)) == "Cutter: times as usual."
    assert "too few good portions" in cutter(Bench(tube(5), ALL))
    assert "nothing measures its times here" in cutter(Bench(tube(12), ALL - {"home", "far"}))
    none = {"start_delay_s": None, "stroke_s": None, "return_s": None}
    ones = tube(12)
    ones[3] = seen(4, outcome="tripped", signals=none)
    assert "the portion ended early" in cutter(Bench(ones, ALL))


def test_a_piece_that_came_with_the_next_one() -> None:
    read = bench({6: {**mass(None), "readings_kg": ()}, 7: mass(0.060)})
    assert {"empty", "next-double", "moved"} <= names(case_of(read, 6))
    together = [one.cause.code for one in case_of(read, 6).opinion.together]
    assert set(together) == {"MC-11", "MC-30"}
    assert case_of(read, 6).opinion.separators == ("a second eye where the piece should fall",)


@pytest.mark.slow
def test_what_begins_and_stays_is_one_case() -> None:
    low = {k: {"signals": {"eye_mean": 380.0, "eye_cut": 480.0}} for k in range(5, 13)}
    (case,) = bench(low).odd_ones()
    assert (case.portion.number, case.until) == (205, 212)
    assert {"eye_mean-", "eye_mean- on"} <= names(case)
    assert case.opinion.together[0].cause.code == "MC-20"


def test_a_sensor_that_is_not_fitted_says_neither_yes_nor_no() -> None:
    slow = {6: {"signals": {"stroke_s": 0.6}}}
    assert names(case_of(bench(slow), 6)) == {"stroke_s+"}
    blind = case_of(bench(slow, ALL - {"home", "far"}), 6)
    assert blind.found["stroke_s+"].seen is None
    assert not blind.odd


def test_what_no_journal_tells_speaks_neither_for_nor_against() -> None:
    """That contact came later stands in no record."""
    case = case_of(bench({6: {"signals": {"late_s": 1.0}}}), 6)
    assert case.found["contact-later"].seen is None
    for one in (*case.opinion.together, *case.opinion.others):
        assert not [why for why in one.speaks_against if "contact" in why]


def test_a_computer_that_stood_still_is_named() -> None:
    late = {"signals": {"late_s": 1.0}}
    stood = case_of(bench({6: {**late, "events": {"host": "the computer stood still"}}}), 6)
    assert [one.cause.code for one in stood.opinion.together] == ["MC-26"]
    assert "host" not in names(case_of(bench({6: late}), 6))


def test_two_readings_that_differ_put_the_weighing_in_doubt() -> None:
    read = bench({6: {**mass(0.0262), "readings_kg": (0.0301, 0.0262)}})
    case = case_of(read, 6)
    assert case.found["re-weighed"].seen
    assert case.opinion.together[0].cause.code == "MC-28"


@pytest.mark.parametrize(
    ("event", "code"), [("hand", "MC-29"), ("link", "MC-25"), ("no-home", "MC-16")]
)
def test_what_happened_points_to_its_cause(event: str, code: str) -> None:
    case = case_of(bench({6: {"events": {event: "so it was"}}}), 6)
    assert case.opinion.together[0].cause.code == code
    assert case.found[event].words == "so it was"


def test_with_nothing_found_no_cause_is_named() -> None:
    assert case_of(bench({}), 6).opinion.together == ()


def test_few_portions_make_weak_evidence() -> None:
    read = Bench(tube(12), ALL)
    assert read.case(read.portions[5]).weak
    assert not case_of(bench({}), 6).weak


def test_a_signal_that_few_portions_tell_is_weak_beside_many() -> None:
    """One of three tubes was not weighed."""
    other = [seen(100 + k, index=k, loading=1, place=k / 13, **mass(None)) for k in range(1, 13)]
    last = [seen(200 + k, index=k, loading=2, place=k / 13) for k in range(1, 13)]
    last[5] = seen(206, index=6, loading=2, place=6 / 13, **mass(0.020))
    read = Bench([*tube(12), *other, *last], ALL)
    case = case_of(read, 6)
    (row,) = case.weak_rows
    assert (row.name, case.n >= ENOUGH, row.n < ENOUGH, case.weak) == (MASS, True, True, True)
    assert held_against(case).endswith(f"Evidence is weak below 20: weight on {row.n} of them.")
    assert f", n {row.n})" in case.found["mass_kg-"].words


def test_what_is_farthest_off_is_told_first_with_its_limit() -> None:
    far_off = {
        "signals": {MASS: 0.026, "return_s": 0.9, "stroke_s": 0.45},
        "events": {"hand": "so"},
    }
    case = case_of(bench({6: far_off}), 6)
    told = [one.name for one in case.seen]
    assert told[:3] == ["return_s+", "stroke_s+", "mass_kg-"]
    assert told.index("hand") > 2
    (row,) = (row for row in case.rows if row.name == "return_s")
    assert f"(z {row.z:+.1f} of {row.limit:.1f})" in case.seen[0].words


@pytest.mark.slow
def test_a_first_portion_is_held_against_first_ones_once_there_are_some() -> None:
    heavy = {"kind": "first", **mass(0.0325)}
    even = [one for at in range(9) for one in tube(12, loading=at)]
    firsts = [
        seen(one.number, index=1, loading=one.loading, place=one.place, **heavy)
        if one.index == 1
        else one
        for one in even
    ]
    last = firsts[96]
    assert (last.index, last.kind) == (1, "first")
    read = Bench(firsts, ALL)
    case = read.case(read.portions[96])
    assert (case.n, case.like_it, case.odd) == (8, True, False)
    # With too few of its like it is shown beside normal ones, and accused of nothing for it.
    few = Bench(firsts[:36], ALL)
    case = few.case(few.portions[24])
    assert not case.like_it
    assert "mass_kg+" in names(case)
    assert few.odd_ones() == []
    # What ended it counts all the same.
    tripped = seen(25, index=25, kind="first", outcome="tripped", loading=0, tripped_by="IL-02")
    assert [one.portion.number for one in Bench([*firsts[:24], tripped], ALL).odd_ones()] == [25]
