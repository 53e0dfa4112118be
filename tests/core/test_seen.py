"""What the sensors saw of a portion: slow, high, gapped, hanging; and nothing of a good one."""

from __future__ import annotations

import random
from typing import Any

import pytest
from msgspec.structs import replace

from benchd.core import seen
from benchd.core.snapshot import snapshot
from benchd.core.state import Work
from protocols.codes import PIN
from protocols.limits import NOT_FITTED
from tests.core.script import ALL, MASA, Script, bench, proven

FACTS = bench(*ALL)
STEADY = [100.0, 101.0, 99.0, 100.0, 102.0, 98.0, 100.0]
"""Standard deviation 1.291."""


def work(
    kind: str = "normal", *, cut_ms: int = 300, peak: int = 2000, gap: int = 1, valve: int = 1
) -> Work:
    """A portion that is over, with these readings; `valve` is the level that cuts."""
    edges = tuple(
        (PIN[name], level, at_us)
        for name, level, at_us in (
            ("dough", 1, 0),
            ("valve", valve, 0),
            ("home", 0, 20_000),
            ("far", 1, cut_ms * 1000),
            ("dough", 0, cut_ms * 1000),
            ("valve", 1 - valve, cut_ms * 1000 + 50_000),
        )
    )
    return Work(
        9, kind, MASA, "T1", 9, {"push": 10_400}, 0, 0, (), edges,
        {"gap": gap}, {"thrust_peak": peak},
    )  # fmt: skip


def after(*earlier: Work, facts: Any = FACTS, hung: int = 0, **more: Any) -> Any:
    """The state after earlier portions, all of class normal; the first `hung` left dough."""
    s = Script(facts, proven(facts))
    recent = tuple(
        {
            "number": number,
            "kind": "normal",
            "outcome": "complete",
            "aim_kg": 0.03,
            "seen": [],
            "like": seen.like(s.state, one.dough, one.asked, one.tube),
            "signals": seen.signals(s.state, one, 700 if number <= hung else 100),
        }
        for number, one in enumerate(earlier, 1)
    )
    return replace(s.state, recent=recent, **more)


@pytest.mark.parametrize("valve", [0, 1])
def test_a_slow_cut_is_timed_from_the_valve_whichever_level_cuts(valve: int) -> None:
    state = after(*(work(valve=valve) for _ in STEADY))
    assert seen.signals(state, work(valve=valve), 100)["cut_s"] == pytest.approx(0.3)
    assert said_of(state, work(cut_ms=400, valve=valve)) == ["the cut took 0.40 s, usual 0.30 s"]


def said_of(state: Any, one: Work, eye_after: int = 100) -> list[str]:
    """What is seen of a portion."""
    return seen.strange(state, one, seen.signals(state, one, eye_after))


ENOUGH = [work(cut_ms=300 + n) for n in range(7)]


def test_a_portion_like_those_before_it_shows_nothing() -> None:
    assert said_of(after(*ENOUGH), work()) == []
    assert said_of(after(), work()) == []


@pytest.mark.parametrize(
    ("one", "says"),
    [
        (work(cut_ms=400), "the cut took 0.40 s, usual 0.30 s"),
        (work(peak=2700), "thrust rose to 270 N, usual 200 N"),
        (work(gap=400), "the strand had a gap of 2.2 mm, usual 0.0 mm"),
        (work(cut_ms=560), "the cut stroke took 0.54 s, the card says 0.35 s"),
    ],
)
def test_what_lies_beyond_the_usual_is_said_with_both_values(one: Work, says: str) -> None:
    assert said_of(after(*ENOUGH), one) == [says]


@pytest.mark.parametrize("one", [work(cut_ms=355), work(peak=2590), work(gap=360)])
def test_what_lies_within_the_floor_is_usual(one: Work) -> None:
    assert said_of(after(*ENOUGH), one) == []


def test_fewer_than_seven_earlier_ones_are_no_usual() -> None:
    assert said_of(after(*ENOUGH[:6]), work(cut_ms=400, peak=3000, gap=999), 700) == []


@pytest.mark.parametrize("kind", ["first", "after-pause"])
def test_a_portion_after_rest_is_held_against_the_card_alone(kind: str) -> None:
    assert said_of(after(*ENOUGH), work(kind, cut_ms=400, peak=3000), 700) == []
    assert len(said_of(after(*ENOUGH), work(kind, cut_ms=560))) == 1


def test_dough_after_the_cut_counts_where_there_never_was_any_before() -> None:
    words = said_of(after(*ENOUGH), work(), eye_after=700)
    assert words == ["the eye still saw dough after the cut: a piece may hang at the nozzle"]
    assert said_of(after(*ENOUGH, hung=1), work(), eye_after=700) == []
    assert said_of(after(*ENOUGH), work(), eye_after=NOT_FITTED) == []


def test_other_settings_another_card_and_for_thrust_another_tube_have_another_usual() -> None:
    state = after(*ENOUGH)
    strange = work(cut_ms=400, peak=2700)
    assert len(said_of(state, strange)) == 2
    regrouped = replace(state, carry=replace(state.carry, group=2))
    assert said_of(regrouped, strange) == []
    longer = replace(strange, asked={"push": 12_000})
    assert said_of(state, longer) == []
    assert said_of(state, replace(strange, tube="T2")) == ["the cut took 0.40 s, usual 0.30 s"]


def test_what_is_not_fitted_is_not_seen() -> None:
    facts = bench("guard")
    blind = replace(work(), edges=(), tally={}, extremes={})
    state = after(*[blind] * 7, facts=facts)
    assert said_of(state, blind, NOT_FITTED) == []
    assert set(seen.signals(state, blind, NOT_FITTED).values()) == {None}


def test_only_the_last_ten_are_earlier_ones() -> None:
    slower = [work(cut_ms=400 + n) for n in range(10)]
    assert said_of(after(*ENOUGH, *slower), work(cut_ms=410)) == []


def test_facts_of_an_earlier_version_are_no_usual_and_do_no_harm() -> None:
    old = {"number": 1, "kind": "normal", "outcome": "complete", "aim_kg": 0.03}
    state = replace(after(), recent=(old,) * 9)
    assert said_of(state, work(cut_ms=400)) == []
    last = snapshot(state, 0).last
    assert last is not None
    assert last.seen == ()


def test_a_value_beyond_is_above_the_floor_and_well_outside_the_range() -> None:
    assert not seen.beyond(108.0, STEADY, 10.0)  # Within the floor.
    assert not seen.beyond(106.4, STEADY, 5.0)  # Within 5 deviations.
    assert seen.beyond(106.5, STEADY, 5.0)
    assert not seen.beyond(90.0, STEADY, 5.0)
    assert not seen.beyond(200.0, STEADY[:6], 5.0)


@pytest.mark.parametrize("scatter", [0.02, 0.05, 0.1, 0.15])
def test_of_good_portions_fewer_than_1_in_200_are_beyond(scatter: float, seed: int) -> None:
    rng = random.Random(seed)
    tries, found = 10_000, 0
    for _ in range(tries):
        *earlier, now = (rng.lognormvariate(0.0, scatter) for _ in range(9))
        found += seen.beyond(now, earlier, 0.3)
    # The worst of these finds 28 of the 50 allowed, by 100,000 tries: four deviations away.
    assert found <= tries / 200


def test_a_flagged_portion_says_what_was_seen_in_record_and_status() -> None:
    s = Script().ready()
    s.must("portion", seconds=4)
    s.board.limits[12] = 600
    s.must("portion", seconds=4)
    record = s.records("portion")[-1]
    assert (record["class"], record["outcome"]) == ("flagged", "complete")
    assert record["seen"] == ["the cut stroke took 0.60 s, the card says 0.35 s"]
    last = snapshot(s.state, s.now_ns).last
    assert last is not None
    assert (last.kind, list(last.seen)) == ("flagged", record["seen"])
    assert s.records("portion")[0]["seen"] == []
