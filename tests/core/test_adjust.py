"""A series that follows its weights: only where the card says so, from eight, within limits."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from benchd.core.adjust import GROUP, SETTLING, between
from benchd.core.facts import Dough
from benchd.core.inputs import Tube
from benchd.core.snapshot import snapshot
from benchd.core.state import Series, State, Weighed
from benchd.core.turn import Turn
from tests.core.script import MASA, Script, bench

AUTO = replace(MASA, auto_stroke=True)
LEFT_STEPS = 100_000
EVERY_NS = 8_000_000_000


def story(grams: list[float], *, dough: Dough = AUTO, first: int = 1, **more: Any) -> State:
    """A series that has made and weighed so many portions, between two of them."""
    steps = {"take_up": 1600, "push": round(dough.stroke_m * 800_000), "draw_back": 1600}
    numbers = range(first, first + len(grams))
    facts = [
        {
            "number": number, "kind": "normal", "outcome": "complete", "aim_kg": 0.03, "seen": [],
            "like": [dough.name, steps, 1, "T1"], "signals": {},
        }
        for number in numbers
    ]  # fmt: skip
    weights = [Weighed(at, mass / 1000, 0.03) for at, mass in zip(numbers, grams, strict=True)]
    series = Series(
        1, 1, dough, None, EVERY_NS, 0, card_stroke_m=more.pop("card_m", dough.stroke_m)
    )
    state = State(
        bench(), series=replace(series, **more), recent=tuple(facts), weights=tuple(weights)
    )
    tube = Tube("T1", portions=len(grams) + 1)
    carry = replace(state.carry, tube=tube, last_portion=first + len(grams) - 1)
    return replace(state, carry=carry)


def looked(state: State, left_steps: int = LEFT_STEPS) -> tuple[Series, list[dict[str, Any]]]:
    """What a look makes of a series, and what it journals."""
    assert state.series is not None
    turn = Turn(state, 0)
    return between(turn, state.series, left_steps), [effect.data for effect in turn.effects]  # type: ignore[union-attr]


HIGH = [30.5, 30.4, 30.6, 30.5, 30.4, 30.6, 30.5, 30.4, 30.6, 30.5]


def test_a_mean_off_the_aim_changes_the_stroke_and_is_journalled() -> None:
    series, (record,) = looked(story(HIGH))
    assert series.dough.stroke_m == pytest.approx(AUTO.stroke_m * (1 - 0.5 / 30.5), rel=2e-3)
    assert (series.adjusted, series.learned, series.card_stroke_m) == (1, 10, AUTO.stroke_m)
    assert (record["what"], record["portion"], record["n"]) == ("adjusted", 11, GROUP)
    assert (record["before_m"], record["stroke_m"]) == (AUTO.stroke_m, series.dough.stroke_m)
    assert "stroke 13.00 -> 12.78 mm (-1.7 %) from portion 11 on" in record["reason"]
    assert "the mean of 8 weights is 30.51 g, +0.51 g off the aim" in record["reason"]


@pytest.mark.parametrize(
    ("grams", "dough"),
    [
        (HIGH, MASA),  # The card does not let it.
        (HIGH[:-1], AUTO),  # Seven count, two still settled.
        ([30.1, 30.0, 29.9, 30.0, 30.1, 30.0, 29.9, 30.0, 30.1, 30.0], AUTO),
        ([31.0, 29.2] * 5, AUTO),  # They alternate about the aim, nearly.
    ],
)
def test_the_stroke_stays(grams: list[float], dough: Dough) -> None:
    series, records = looked(story(grams, dough=dough))
    assert (series.dough, records) == (dough, [])


def test_an_alternating_series_is_taken_in_pairs_whatever_comes_first() -> None:
    for grams in ([30.0, 32.0] * 5, [32.0, 30.0] * 5):
        series, (record,) = looked(story(grams))
        assert record["mean_kg"] == pytest.approx(0.031)
        assert 0.98 * AUTO.stroke_m <= series.dough.stroke_m < AUTO.stroke_m


def test_weights_are_used_once() -> None:
    state = story(HIGH + HIGH[:7])
    series, records = looked(replace(state, series=replace(state.series, learned=10)))  # type: ignore[type-var]
    assert (series.dough, records) == (AUTO, [])


def test_an_odd_weight_is_held_and_asks_for_another() -> None:
    odd = [*HIGH[:5], 22.0, *HIGH[5:]]
    _, (record,) = looked(story(odd))
    assert record["mean_kg"] == pytest.approx(0.0305, abs=1e-4)
    assert looked(story(odd[:10]))[1] == []


@pytest.mark.parametrize("spoiled", ["kind", "outcome", "like"])
def test_only_good_portions_of_now_count(spoiled: str) -> None:
    state = story(HIGH)
    facts = [dict(fact) for fact in state.recent]
    facts[4][spoiled] = "flagged"
    assert looked(replace(state, recent=tuple(facts)))[1] == []


def test_a_change_is_limited_at_once_and_in_all() -> None:
    far = [mass + 4 for mass in HIGH]
    series, (record,) = looked(story(far))
    assert record["capped"]
    assert series.dough.stroke_m == pytest.approx(0.98 * AUTO.stroke_m)
    at_end = replace(AUTO, stroke_m=0.9 * MASA.stroke_m)
    series, (message,) = looked(story(far, dough=at_end, card_m=MASA.stroke_m))
    assert series.dough == at_end
    assert "The stroke stays" in message["text"]
    assert "10 % from the card's" in message["text"]


@pytest.mark.parametrize(
    ("change", "left_steps", "says"),
    [
        ({"every_ns": 3_100_000_000}, LEFT_STEPS, "does not fit into 3.1 s a portion"),
        ({}, 12_000, "no feed left"),
    ],
)
def test_a_longer_push_that_does_not_fit_is_not_made(
    change: dict[str, Any], left_steps: int, says: str
) -> None:
    state = story([mass - 1.5 for mass in HIGH], **change)
    series, (message,) = looked(state, left_steps)
    assert series.dough == AUTO
    assert says in message["text"]


def test_a_push_longer_than_the_bench_allows_is_not_made() -> None:
    state = story([mass - 1.5 for mass in HIGH])
    limits = {**state.facts.limits, "push_max_ms": 1530}
    series, (message,) = looked(replace(state, facts=replace(state.facts, limits=limits)))
    assert series.dough == AUTO
    assert "more than the bench card allows" in message["text"]


def test_a_new_tube_begins_with_the_stroke_of_the_card() -> None:
    tuned = replace(AUTO, stroke_m=0.98 * AUTO.stroke_m)
    state = story(HIGH, dough=tuned, card_m=AUTO.stroke_m)
    state = replace(state, carry=replace(state.carry, tube=Tube("T2")))
    series, (record,) = looked(state)
    assert series.dough == AUTO
    assert "a new tube begins with the stroke of the card" in record["reason"]


@pytest.mark.parametrize("off_m", [0.0, 1e-9])
def test_a_new_tube_changes_nothing_where_the_stroke_is_the_cards(off_m: float) -> None:
    """The same, or off by less than a step of the feed."""
    state = story(HIGH, card_m=AUTO.stroke_m + off_m)
    assert state.carry.tube is not None
    carry = replace(state.carry, tube=replace(state.carry.tube, portions=0))
    series, records = looked(replace(state, carry=carry))
    assert records == []
    assert (series.dough.stroke_m, series.adjusted, series.learned) == (AUTO.stroke_m, 0, 10)


@pytest.mark.slow
def test_a_series_follows_its_weights_and_says_so() -> None:
    s = Script().ready()
    s.ask("series", dough=AUTO, count=13, every_s=5.0)
    for made in range(1, 14):
        s.run(4.8 if made == 1 else 5.0)
        assert (s.state.carry.last_portion, s.state.work) == (made, None)
        mass_kg = 0.0306 * s.records("portion")[-1]["asked_m"]["push"] / AUTO.stroke_m
        s.ask("weigh", mass_kg=mass_kg, text="", portion=made)
    strokes = [record["asked_m"]["push"] for record in s.records("portion")]
    (change,) = [one for one in s.records("series") if one["what"] == "adjusted"]
    # The first is of class first; of the nine after it one more still settles, eight are used.
    assert change["portion"] == SETTLING + GROUP + 1
    assert set(strokes[:10]) == {AUTO.stroke_m}
    assert strokes[10:] == pytest.approx([AUTO.stroke_m * 30 / 30.6] * 3, rel=1e-3)
    assert s.sent("draft")[10][4] == str(round(change["stroke_m"] * 800_000))


def test_the_status_shows_the_stroke_in_force() -> None:
    state = story(HIGH, dough=replace(AUTO, stroke_m=0.0128), card_m=0.013, adjusted=1)
    shown = snapshot(state, 0).series
    assert shown is not None
    assert (shown.stroke_m, shown.card_stroke_m, shown.adjusted) == (0.0128, 0.013, 1)
    by_hand = snapshot(story(HIGH, dough=MASA), 0).series
    assert by_hand is not None
    assert (by_hand.stroke_m, by_hand.card_stroke_m) == (None, None)
