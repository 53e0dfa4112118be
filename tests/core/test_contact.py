"""Dough is fed only where somebody or something knows contact and strand, a sensor or a person."""

from __future__ import annotations

import pytest

from benchd.calc.eye import UNTAUGHT
from tests.core.script import Script, bench, proven

SMALLEST = bench("eye", "local")


def smallest() -> Script:
    """The smallest bench with a taught eye, where all may begin."""
    return Script(SMALLEST, proven(SMALLEST)).ready()


@pytest.mark.parametrize(
    ("method", "params"),
    [("approach", {}), ("prime", {}), ("portion", {}), ("series", {"every_s": 8.0})],
)
def test_nothing_feeds_dough_past_an_eye_that_was_never_taught(
    method: str, params: dict[str, object]
) -> None:
    untaught = bench("eye", "local", "thrust", eye_on=UNTAUGHT[0], eye_off=UNTAUGHT[1])
    s = Script(untaught, proven(untaught)).ready()
    refusal = s.refused(s.ask(method, **params))
    assert refusal.condition == "eye"
    assert "'benchd eye --empty'" in refusal.message
    s.run(1)
    assert not s.sent("move", "run")
    # A strand can only be brought before the eye by hand.
    s.must("jog", distance_m=0.001)


def test_without_an_eye_there_is_nothing_to_teach() -> None:
    s = Script(bench("thrust"), proven(bench("thrust"))).ready()
    s.must("prime", seconds=40)


def test_where_no_sensor_measures_contact_each_approach_is_one_small_step() -> None:
    s = smallest()
    for _ in range(25):
        s.must("approach")
        assert s.sent("move")[-1][2:4] == ["3", "1600"]
    refusal = s.refused(s.ask("approach"))
    assert (refusal.condition, refusal.value, refusal.bound) == ("contact", 0.05, 0.05)
    assert "50 mm were fed toward the dough" in refusal.message
    s.run(1)
    assert s.state.board.position == 40_000


def test_the_last_step_ends_where_the_longest_way_does() -> None:
    facts = bench("eye")
    facts = type(facts)(**{**_fields(facts), "approach_m": 0.003})
    s = Script(facts, proven(facts)).ready().must("approach").must("approach")
    assert [words[3] for words in s.sent("move")] == ["1600", "800"]


def _fields(facts: object) -> dict[str, object]:
    return {name: getattr(facts, name) for name in facts.__struct_fields__}  # type: ignore[attr-defined]


def test_nothing_is_primed_before_a_person_said_that_the_plunger_touches() -> None:
    s = smallest()
    assert s.refused(s.ask("prime")).condition == "contact"
    s.must("approach").must("contact")
    said = {"id": "T1", "what": "contact", "position_m": 0.002}
    assert s.records("tube")[-1] == said
    s.must("prime", seconds=40)
    assert s.sent("move")[-1][2] == "4"


def test_dough_before_the_eye_says_that_the_plunger_touches() -> None:
    s = smallest()
    s.board.pins.add("dough")
    s.run(0.3)
    assert s.refused(s.ask("approach")).condition == "contact"
    s.must("prime", seconds=40)


def test_a_relieve_takes_contact_back_and_begins_the_way_anew() -> None:
    s = smallest().must("approach").must("contact").must("relieve")
    assert s.refused(s.ask("prime")).condition == "contact"
    tube = s.state.carry.tube
    assert tube is not None
    assert (tube.felt, tube.touched) == (0, False)


def test_contact_is_of_a_tube() -> None:
    s = Script(SMALLEST, proven(SMALLEST, tube=False)).ready()
    assert s.refused(s.ask("contact")).condition == "tube"


def test_after_a_prime_without_dough_nothing_is_fed_before_a_relieve() -> None:
    s = smallest().must("contact")
    ask = s.ask("prime")
    s.run(1)
    s.board.moved(7, s.now_ns)
    s.run(0.3)
    assert s.result(ask)["ending"] == "no-flow"
    for method in ("approach", "prime"):
        refusal = s.refused(s.ask(method))
        assert refusal.condition == "no-flow"
        assert "'benchd relieve'" in refusal.message
    s.must("relieve").must("contact").must("prime", seconds=40)
