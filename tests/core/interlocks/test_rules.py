"""One generic test over the examples that every interlock of the daemon carries."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

import benchd.core.interlocks as interlocks
from benchd.core.facts import BenchFacts
from benchd.core.interlocks.base import KINDS, SECOND_NS, Example, Rule
from benchd.core.state import State
from protocols.codes import INTERLOCK_BY_NUMBER
from protocols.limits import LIMITS

NOW_NS = 1_000 * SECOND_NS


def healthy() -> State:
    """A bench without a fault: connected, fitted with nothing, everything allowed."""
    facts = BenchFacts(
        name="bench",
        limits={limit.name: limit.start for limit in LIMITS},
        steps_per_m=800_000,
        bore_m=0.05,
        nozzle_bore_m=0.024,
        fitted=(),
        travel_m=0.2,
        heel_m=0.01,
        jog_speed_m_s=0.002,
        prime_speed_m_s=0.002,
        approach_m=0.05,
        relieve_m=0.01,
    )
    return State(facts=facts, link="up", last_word_ns=NOW_NS, last_key_ns=NOW_NS, dry_needed=False)


def with_changes(state: State, given: Mapping[str, Any]) -> State:
    """Return the state with the fields of an example put in; a mapping changes a sub-struct."""
    changes = {}
    for name, value in given.items():
        inner = getattr(state, name)
        changes[name] = replace(inner, **value) if isinstance(value, Mapping) else value
    return replace(state, **changes)


CASES = [
    pytest.param(rule, example, id=f"IL-{rule.number:02d} {example.kind} {number}")
    for rule in interlocks.RULES
    for number, example in enumerate(rule.examples)
]


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_an_example_comes_out_as_its_rule_says(rule: Rule, example: Example) -> None:
    finding = rule.check(with_changes(healthy(), example.given), example.now_ns)
    assert (finding is not None) is example.found
    if finding is not None:
        assert finding.text.endswith((".", "?"))


@pytest.mark.parametrize("rule", interlocks.RULES, ids=lambda rule: f"IL-{rule.number:02d}")
def test_a_rule_has_an_example_of_every_kind_or_says_why_not(rule: Rule) -> None:
    shown = {example.kind for example in rule.examples}
    assert shown | rule.no_such == set(KINDS)
    assert not shown & rule.no_such
    assert any(example.found for example in rule.examples)
    assert any(not example.found for example in rule.examples) or rule.number == 13
    assert rule.unfitted


def test_every_rule_file_is_in_the_table_and_every_number_is_the_daemons() -> None:
    folder = Path(interlocks.__file__).parent
    files = {path.stem for path in folder.glob("*.py")} - {"__init__", "base"}
    assert len(files) == len(interlocks.RULES)
    numbers = [rule.number for rule in interlocks.RULES]
    assert len(set(numbers)) == len(numbers)
    for number in numbers:
        assert INTERLOCK_BY_NUMBER[number].place == "daemon"


def test_latching_in_the_table_is_latching_on_the_page() -> None:
    for rule in interlocks.RULES:
        assert rule.latches == (INTERLOCK_BY_NUMBER[rule.number].reset == "ack")
