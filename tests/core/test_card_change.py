"""Which dough cards are asked about, and in which words."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from benchd.core.card_change import SWITCHES, VALUES, question
from tests.core.script import MASA, Script


def test_the_first_card_of_a_bench_is_not_asked_about() -> None:
    assert question(None, MASA) is None


def test_the_same_card_is_not_asked_about() -> None:
    assert question(MASA, replace(MASA, text="another remark")) is None
    assert question(MASA, replace(MASA, name="other", tolerance=0.0521)) is None


@pytest.mark.parametrize("field", [field for field, _, _, _ in VALUES])
def test_each_value_is_held_to_five_percent_either_way(field: str) -> None:
    usual = getattr(MASA, field)
    for factor, asks in ((1.049, False), (1.051, True), (0.951, False), (0.949, True)):
        asked = question(MASA, replace(MASA, **{field: usual * factor}))
        assert (asked is not None) == asks, (field, factor)


def test_every_value_of_a_card_is_looked_at() -> None:
    looked_at = {field for field, _, _, _ in VALUES} | set(SWITCHES)
    assert looked_at == set(MASA.__struct_fields__) - {"name", "text", "digest"}


def test_the_question_names_the_values_and_the_cards() -> None:
    assert question(MASA, replace(MASA, aim_kg=0.04, settle_s=0.2)) == (
        "The dough card 'masa' differs from the last use of it: aim 30 g -> 40 g (+33 %), "
        "settle 300 ms -> 200 ms (-33 %). Is it the right one?"
    )
    assert question(MASA, replace(MASA, name="rye", take_up_m=0.0)) == (
        "The dough card 'rye' differs from 'masa', used last: take_up 2 mm -> 0 mm (-100 %). "
        "Is it the right one?"
    )


def test_a_switch_is_asked_about_both_ways() -> None:
    alone = replace(MASA, auto_stroke=True)
    assert "it: auto_stroke no -> yes. Is it" in (question(MASA, alone) or "")
    assert "it: auto_stroke yes -> no. Is it" in (question(alone, MASA) or "")
    assert question(alone, alone) is None


def test_from_nothing_any_value_is_far() -> None:
    dry = replace(MASA, take_up_m=0.0)
    assert "take_up 0 mm -> 2 mm. Is it" in (question(dry, MASA) or "")


# In the core.

PORTION_S = 6.0
FATTER = replace(MASA, aim_kg=0.04)
WAYS = [("portion", {}), ("series", {"every_s": 8.0, "count": 1})]


@pytest.mark.parametrize(("method", "params"), WAYS)
def test_another_card_is_asked_about_before_anything_moves(
    method: str, params: dict[str, Any]
) -> None:
    s = Script().ready()
    s.must("portion", PORTION_S)
    refusal = s.refused(s.ask(method, dough=FATTER, **params))
    assert refusal.question
    assert refusal.condition == "card"
    assert "aim 30 g -> 40 g (+33 %)" in refusal.message
    s.run(5)
    assert len(s.records("portion")) == 1
    assert s.state.series is None

    s.ask(method, dough=FATTER, confirmed=True, **params)
    s.run(5)
    assert [record["aim_kg"] for record in s.records("portion")] == [0.03, 0.04]


@pytest.mark.parametrize(("method", "params"), WAYS)
def test_the_card_that_was_confirmed_is_the_next_to_compare_with(
    method: str, params: dict[str, Any]
) -> None:
    s = Script().ready()
    s.must("portion", PORTION_S)
    s.ask(method, dough=FATTER, confirmed=True, **params)
    s.run(6)
    s.must("portion", PORTION_S, dough=FATTER)
    assert s.refused(s.ask("portion", dough=MASA)).question


def test_a_card_that_was_not_confirmed_changes_nothing() -> None:
    s = Script().ready()
    s.must("portion", PORTION_S)
    s.refused(s.ask("portion", dough=FATTER))
    s.must("portion", PORTION_S, dough=replace(MASA, text="other words"))


def test_the_card_used_last_outlives_the_daemon_without_its_text() -> None:
    s = Script().ready()
    s.must("portion", PORTION_S, dough=replace(MASA, text="dough: masa"))
    carry = s.carried()
    assert carry.dough == MASA
    after = Script(carry=carry).ready()
    assert after.refused(after.ask("portion", dough=FATTER)).question
