"""What follows from a rule's finding: raise, latch, pause, let go, block."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

import benchd.core.interlocks as interlocks
from benchd.core.facts import Watch
from benchd.core.inputs import Carry, WallClock
from benchd.core.state import Series
from benchd.core.turn import Turn
from tests.core.interlocks.test_rules import NOW_NS, healthy
from tests.core.script import ALL, MASA, WALL_US, S, Script, bench, proven

SERIES = Series(1, 1, MASA, 5, 8 * S, NOW_NS)


def look(state: object) -> Turn:
    """Look at every rule once."""
    turn = Turn(state, NOW_NS)  # type: ignore[arg-type]
    interlocks.evaluate(turn)
    return turn


def test_a_finding_raises_once_with_a_record() -> None:
    turn = look(replace(healthy(), journal_ok=False))
    assert 28 in turn.state.latches
    assert not turn.state.latches[28].latched
    assert [effect.kind for effect in turn.effects][:1] == ["trip"]  # type: ignore[attr-defined]
    again = look(turn.state)
    assert again.effects == []


def test_a_condition_that_is_gone_lets_go_unless_it_latches() -> None:
    raised = look(replace(healthy(), journal_ok=False, slow_run=2)).state
    gone = look(replace(raised, journal_ok=True, slow_run=0))
    assert 28 not in gone.state.latches
    assert gone.state.latches[25].cause_gone
    assert look(gone.state).effects == []


def test_a_latch_whose_cause_comes_back_is_raised_anew() -> None:
    raised = look(replace(healthy(), slow_run=2)).state
    gone = look(replace(raised, slow_run=0)).state
    back = look(replace(gone, slow_run=3))
    assert not back.state.latches[25].cause_gone
    assert back.effects


@pytest.mark.parametrize("changes", [{"journal_ok": False}, {"slow_run": 2}, {"smear_run": 3}])
def test_what_pauses_asks_a_running_series_for_its_safe_point(changes: dict[str, object]) -> None:
    turn = look(replace(healthy(), series=SERIES, last_key_ns=NOW_NS, **changes))
    assert turn.state.series is not None
    assert turn.state.series.pausing
    assert turn.state.series.pause_reason.startswith("IL-")
    paused = replace(SERIES, paused=True)
    turn = look(replace(healthy(), series=paused, **changes))
    assert turn.state.series == paused


def test_what_does_not_pause_leaves_a_series_alone() -> None:
    turn = look(replace(healthy(), series=SERIES, last_key_ns=NOW_NS, dry_needed=True))
    assert turn.state.series == SERIES


def test_a_text_that_changes_is_shown_without_a_new_record() -> None:
    state = replace(healthy(), last_word_ns=NOW_NS - S)
    raised = look(state).state
    turn = Turn(raised, NOW_NS + S)
    interlocks.evaluate(turn)
    assert turn.state.latches[19].text != raised.latches[19].text
    assert turn.effects == []


def test_a_latched_rule_blocks_until_it_is_cleared_even_when_its_cause_is_gone() -> None:
    raised = look(replace(healthy(), smear_run=3)).state
    gone = look(replace(raised, smear_run=0)).state
    no = interlocks.why_not(gone, "series", NOW_NS)
    assert no is not None
    assert no.condition == "IL-10"
    assert interlocks.why_not(gone, "feed", NOW_NS) is None


def test_the_most_pressing_rule_answers_first() -> None:
    state = replace(healthy(), link="down", journal_ok=False, dry_needed=True)
    no = interlocks.why_not(state, "portion", NOW_NS)
    assert no is not None
    assert no.condition == "IL-19"


@pytest.mark.parametrize("action", ["feed", "prime", "portion", "series", "stroke", "open"])
def test_every_action_is_blocked_by_something(action: str) -> None:
    assert any(action in rule.blocks for rule in interlocks.RULES)


def test_a_proof_that_expires_is_seen_with_the_next_time_of_day() -> None:
    facts = bench(*ALL, watch=Watch(proof_days=30.0))
    s = Script(facts, proven(facts)).ready()
    assert 15 not in s.state.latches
    s.tell(WallClock(WALL_US + 29 * 86_400_000_000))
    assert 15 not in s.state.latches
    s.tell(WallClock(WALL_US + 30 * 86_400_000_000))
    assert "days old" in s.state.latches[15].text
    s.tell(WallClock(WALL_US + 40 * 86_400_000_000))
    assert "41 days" in s.state.latches[15].text


def test_rules_that_are_not_looked_at_in_every_step_rest_on_nothing_that_a_sample_changes() -> None:
    s = Script(carry=Carry()).connect()
    s.run(3)
    every = look(s.state).state.latches
    assert set(every) == set(s.state.latches)
