"""`benchd tube in` where no sensor measures contact: a person looks, step by step."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import STATUS

Benchd = Callable[..., Outcome]
Typing = Callable[[str], None]
MOVED = {"ending": "reached", "moved_m": 0.002, "position_m": 0.012}
FLOWS = MOVED | {"ending": "flowing"}


@pytest.fixture(autouse=True)
def unmeasured(daemon: FakeDaemon) -> None:
    """The eye sees nothing yet, and nobody measures thrust."""
    blind = {"not_watched": ["thrust"], "eye_sees": False}
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | blind
    daemon.answers |= {"tube_in": {}, "approach": MOVED, "contact": {}, "prime": FLOWS}


def test_a_person_is_asked_before_each_small_step(
    benchd: Benchd, daemon: FakeDaemon, typing: Typing
) -> None:
    typing("yes\nmore\nmore\ntouches\n")
    shown = benchd("tube", "in", "T7")
    assert shown.code == 0
    assert daemon.methods() == ["tube_in", "approach", "approach", "contact", "prime"]
    assert shown.err.count("look at the plunger") == 3


def test_any_other_answer_moves_nothing_more(
    benchd: Benchd, daemon: FakeDaemon, typing: Typing
) -> None:
    typing("yes\nmore\ny\n")
    shown = benchd("tube", "prime")
    assert shown.code == 1
    assert "the answer 'y' was neither" in shown.err
    assert daemon.methods() == ["approach"]


def test_a_step_that_was_stopped_is_no_contact(
    benchd: Benchd, daemon: FakeDaemon, typing: Typing
) -> None:
    daemon.answers["approach"] = MOVED | {"ending": "lapsed"}
    typing("yes\nmore\n")
    shown = benchd("tube", "prime")
    assert shown.code == 1
    assert "No contact with the dough" in shown.out
    assert daemon.methods() == ["approach"]


def test_a_script_must_say_that_somebody_looked(benchd: Benchd, daemon: FakeDaemon) -> None:
    shown = benchd("tube", "in", "T7", "--yes")
    assert shown.code == 2
    assert "add --touches" in shown.err
    assert daemon.methods() == []
    assert benchd("tube", "in", "T7", "--yes", "--touches").code == 0
    assert daemon.methods() == ["tube_in", "contact", "prime"]


def test_dough_before_the_eye_needs_no_question(
    benchd: Benchd, daemon: FakeDaemon, typing: Typing
) -> None:
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | {
        "not_watched": ["thrust"],
        "eye_sees": True,
    }
    typing("yes\n")
    assert benchd("tube", "prime").code == 0
    assert daemon.methods() == ["contact", "prime"]


def test_an_unlikely_mass_is_put_to_the_person(
    benchd: Benchd, daemon: FakeDaemon, typing: Typing
) -> None:
    def doubts(params: dict[str, Any]) -> Any:
        asks = Refusal(-32002, "4000 g in a tube? Did the decimal point slip: 400 g?")
        return {} if params.get("confirmed") else asks

    daemon.answers["tube_in"] = doubts
    words = ("tube", "in", "T7", "--net", "4kg", "--record-only")
    typing("no\n")
    shown = benchd(*words)
    assert shown.code == 1
    assert "Did the decimal point slip: 400 g?" in shown.err
    assert "No record was opened" in shown.err
    typing("yes\n")
    assert benchd(*words).code == 0
    assert daemon.asked[-1][1]["confirmed"]
    assert benchd(*words, "--yes").code == 0
