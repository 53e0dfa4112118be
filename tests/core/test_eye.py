"""Teaching the eye its two levels."""

from __future__ import annotations

import math

import msgspec
import pytest

from benchd.core.eye import READINGS, apply, separation
from benchd.core.inputs import Carry, LinkDown, Opened
from protocols.limits import NOT_FITTED, group_digest
from protocols.messages import Sample
from tests.core.script import ALL, OTHER, WALL_US, Script, bench, proven


def taught(**levels: tuple[float, float]) -> Script:
    """A bench whose eye was taught some of its levels in an earlier life."""
    facts = bench(*ALL)
    return Script(facts, proven(facts, **levels)).ready()


def teach(s: Script, what: str, level: int, noise: int = 2) -> int:
    """Ask for a teaching and let it end; readings go to and fro around the level."""
    ask = s.ask("teach", what=what)
    for n in range(400):
        s.board.signals["eye"] = level + (noise if n % 2 else -noise)
        s.run(0.01)
    return ask


def test_both_levels_taught_give_thresholds_that_the_board_takes() -> None:
    s = Script().ready()
    ask = teach(s, "empty", 240)
    assert s.result(ask)["mean"] == pytest.approx(240, abs=0.1)
    assert s.result(ask)["spread"] == pytest.approx(2, abs=0.05)
    assert not s.result(ask)["both"]
    assert s.result(teach(s, "dough", 830))["both"]
    s.run(1)
    limits = s.state.facts.limits
    # Computed by hand: midway, hysteresis of a fifth of the span.
    assert (limits["eye_on"], limits["eye_off"]) == (594, 476)
    assert s.board.limits[18] == 594
    assert s.board.limits[31] == limits["sample_ms"]
    assert s.state.facts.digests["eye"] == group_digest(limits, "eye")
    assert s.state.carry.eye_dough is not None
    assert s.records("carry")[-1]["eye_dough"] is not None


def test_a_level_is_the_mean_of_two_hundred_readings_taken_fast() -> None:
    s = Script().ready()
    s.ask("teach", what="empty")
    s.run(0.5)
    assert s.board.limits[31] == 10
    assert s.state.job is not None
    assert 0 < s.state.job.data["n"] < READINGS
    s.run(3)
    assert s.board.limits[31] == s.facts.limits["sample_ms"]


@pytest.mark.parametrize(
    ("empty", "dough", "noise", "word"),
    [
        (240, 280, 2, "overlap"),
        (240, 400, 40, "overlap"),
        (830, 240, 2, "inverted"),
        (240, 1022, 1, "end of its range"),
    ],
)
def test_levels_that_cannot_tell_dough_are_refused_and_change_nothing(
    empty: int, dough: int, noise: int, word: str
) -> None:
    s = taught(eye_empty=(float(empty), float(noise)))
    ask = teach(s, "dough", dough, noise)
    s.run(1)
    assert word in s.refused(ask).message
    assert s.state.carry.eye_dough is None
    assert s.state.facts.limits["eye_on"] == s.facts.limits["eye_on"]
    assert s.board.limits[31] == s.facts.limits["sample_ms"]


def test_an_eye_that_is_not_fitted_cannot_be_taught() -> None:
    facts = bench("home", "far")
    s = Script(facts, proven(facts)).ready()
    assert s.refused(s.ask("teach", what="empty")).condition == "not-fitted"


@pytest.mark.parametrize("after_s", [0.005, 0.5])
def test_a_teaching_that_was_stopped_leaves_the_cards_own_limits(after_s: float) -> None:
    s = Script().ready()
    ask = s.ask("teach", what="empty")
    s.run(after_s)
    s.ask("stop", client=OTHER)
    assert s.refused(ask).condition == "stopped"
    s.run(1)
    assert s.state.link == "up"
    assert s.board.limits[31] == s.facts.limits["sample_ms"]
    assert s.board.digest


def test_a_teaching_ends_with_its_link() -> None:
    s = Script().ready()
    ask = s.ask("teach", what="empty")
    s.run(0.5)
    s.tell(LinkDown("The cable was pulled."))
    assert s.refused(ask).condition == "IL-19"
    s.connect()
    assert s.board.limits[31] == s.facts.limits["sample_ms"]


def test_what_a_board_without_limits_does_not_read_is_not_away() -> None:
    s = Script().ready()
    s.run(1)
    before = s.state.board
    assert before.sample_k is not None
    s.ask("teach", what="empty")
    nothing = (NOT_FITTED, NOT_FITTED, NOT_FITTED, NOT_FITTED)
    s.tell(Sample(before.sample_k + 1 & 0xFFFF, 0, before.position, *nothing))
    after = s.state.board
    assert (after.eye, after.air, after.sample_ns) == (before.eye, before.air, before.sample_ns)
    assert after.sample_k == before.sample_k + 1 & 0xFFFF
    assert not s.state.dry_needed
    s.run(5)
    assert s.state.job is None
    assert not s.state.dry_needed
    # Once the limits are in force again it means that the wire is off.
    s.tell(Sample(after.sample_k, 0, before.position, *nothing))
    assert s.state.dry_needed


def test_a_teaching_without_readings_is_given_up() -> None:
    s = Script().ready()
    ask = s.ask("teach", what="empty")
    s.run(0.2)
    s.board.limits[31] = 0  # No sample comes any more.
    s.run(21)
    assert s.refused(ask).condition == "eye"
    assert s.state.job is None


def test_levels_taught_before_count_after_a_restart_of_the_daemon() -> None:
    s = taught(eye_empty=(240.0, 2.0), eye_dough=(830.0, 3.0))
    assert s.state.facts.limits["eye_on"] == 594
    assert s.board.limits[18] == 594


def test_levels_that_can_no_longer_be_used_are_forgotten_with_a_sentence() -> None:
    s = Script()
    facts = bench(*ALL)
    s.tell(Opened(facts, Carry(eye_empty=(830.0, 1.0), eye_dough=(240.0, 1.0)), WALL_US))
    assert s.state.carry.eye_empty is None
    assert "forgotten" in s.records("message")[-1]["text"]
    # What the next run takes over begins with what this one was given: this says what is left.
    assert s.records("carry")[-1] == msgspec.to_builtins(s.state.carry)


def test_one_level_alone_changes_no_threshold() -> None:
    facts = bench(*ALL)
    assert apply(facts, Carry(eye_empty=(240.0, 2.0))) is facts


def test_separation_counts_at_least_one_count_of_spread() -> None:
    assert separation((240.0, 0.0), (830.0, 0.0)) == 295
    assert separation((830.0, 5.0), (240.0, 5.0)) == 59
    assert math.isfinite(separation((0.0, 0.0), (0.0, 0.0)))
