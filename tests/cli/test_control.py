"""Control that another terminal has: a command asks before it takes it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from protocols import requests
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal

Benchd = Callable[..., Outcome]
MOVED = {"ending": "reached", "moved_m": 0.0025, "position_m": 0.0525}


def asks_control(daemon: FakeDaemon, method: str, result: Any) -> None:
    """Another terminal is in control until `control` is asked."""
    taken: list[bool] = []
    text = "Client 3 is in control here: take it?"
    no = Refusal(requests.QUESTION, text, {"condition": "control"})
    daemon.answers["control"] = lambda _: taken.append(True)
    daemon.answers[method] = lambda _: result if taken else no


def test_control_is_taken_from_another_terminal_only_by_a_yes(
    benchd: Benchd, daemon: FakeDaemon, typing: Callable[[str], None]
) -> None:
    asks_control(daemon, "jog", MOVED)
    typing("yes\nno\n")
    shown = benchd("jog", "+2.5mm")
    assert shown.code == 1
    assert "Client 3 is in control here: take it?" in shown.err
    assert "Nothing was done: control stays where it was." in shown.err
    assert daemon.methods() == ["jog"]
    typing("yes\nyes\n")
    assert benchd("jog", "+2.5mm").code == 0
    assert daemon.methods()[1:] == ["jog", "control", "jog"]


@pytest.mark.parametrize(
    ("words", "method"), [(["jog", "+2.5mm"], "jog"), (["here", "0mm"], "here")]
)
def test_scripts_take_control_by_yes(
    benchd: Benchd, daemon: FakeDaemon, words: list[str], method: str
) -> None:
    asks_control(daemon, method, MOVED)
    if method == "here":
        assert benchd(*words).code == 2
    daemon.asked.clear()
    assert benchd(*words, "--yes").code == 0
    assert daemon.methods() == [method, "control", method]
