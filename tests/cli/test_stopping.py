"""Commands that stop, and what may be said once they did."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from benchd.cli import daemon as cli_daemon
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import STATUS
from tui import view

Benchd = Callable[..., Outcome]


@pytest.mark.parametrize("words", [["jog", "1mm"], ["portion", "CARD"], ["series", "CARD"]])
def test_ctrl_c_sends_stop_over_the_same_connection(
    benchd: Benchd,
    daemon: FakeDaemon,
    card: str,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
) -> None:
    daemon.answers["stop"] = {"stopped": True, "level": 0}
    client = cli_daemon.Client
    call = client.call
    used: list[object] = []

    def pressed(self: Any, method: str, params: dict[str, Any] | None = None) -> Any:
        if method in ("jog", "portion", "series"):
            used.append(self)
            raise KeyboardInterrupt
        if method == "stop":
            used.append(self)
        return call(self, method, params)

    monkeypatch.setattr(client, "call", pressed)
    more = ["--count", "2", "--every", "8s"] if words[0] == "series" else []
    shown = benchd(*[card if word == "CARD" else word for word in words], *more, "--yes")
    assert shown.code == 1
    assert used[0] is used[1]
    assert "Stopped by Ctrl-C; the feed stands at 50.0 mm; the barrel: 8 N low." in shown.err


@pytest.mark.parametrize("ends", [True, False])
def test_ctrl_c_waits_until_the_bench_shows_that_it_stopped(
    benchd: Benchd, daemon: FakeDaemon, monkeypatch: pytest.MonkeyPatch, ends: bool
) -> None:
    daemon.answers["stop"] = {"stopped": True, "level": 0}
    monkeypatch.setattr(view, "ANSWER_S", 10.0 if ends else 0.1)
    client = cli_daemon.Client
    call = client.call
    asked = 0

    def pressed(self: Any, method: str, params: dict[str, Any] | None = None) -> Any:
        nonlocal asked
        if method == "jog":
            raise KeyboardInterrupt
        result = call(self, method, params)
        asked += method == "stop" or (asked > 0 and method == "status")
        moving = asked > 0 and (asked < 4 or not ends) and method == "status"
        return {**result, "state": "NUDGING", "position_m": 0.04} if moving else result

    monkeypatch.setattr(client, "call", pressed)
    shown = benchd("jog", "1mm", "--yes")
    assert shown.code == 1
    if ends:
        assert "Stopped by Ctrl-C; the feed stands at 50.0 mm" in shown.err
    else:
        assert "but the board still says NUDGING: press the emergency stop" in shown.err
        assert "Stopped by" not in shown.err


def test_a_stop_is_waited_for_until_it_shows(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["stop"] = {"stopped": True, "level": 1}
    moving = msgspec.to_builtins(STATUS) | {"state": "NUDGING"}
    off = msgspec.to_builtins(STATUS) | {"pins": {"guard": True, "drive": False}}
    seen = iter([moving, msgspec.to_builtins(STATUS), off])
    daemon.answers["status"] = lambda _: next(seen)
    shown = benchd("stop", "--drop-power")
    assert shown.code == 0
    assert shown.out.startswith("Stop was sent. Now barrel")
    assert list(seen) == []


def test_a_bench_that_goes_on_after_a_stop_is_urgent(
    benchd: Benchd, daemon: FakeDaemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tui.view.ANSWER_S", 0.1)
    daemon.answers["stop"] = {"stopped": True, "level": 0}
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | {"state": "NUDGING"}
    shown = benchd("stop")
    assert shown.code == 1
    assert "but the board still says NUDGING: press the emergency stop" in shown.out


def test_a_silent_board_is_not_said_to_have_stopped(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["stop"] = {"stopped": True, "level": 0}
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | {"link_age_s": 2.0}
    shown = benchd("stop")
    assert shown.code == 1
    assert "nobody here can say that it stopped: press the emergency stop" in shown.out
    assert "barrel not known: treat as loaded" in shown.out
    assert json.loads(benchd("stop", "--json").out)["heard"] is False


def test_a_move_that_somebody_else_stopped_was_not_refused(
    benchd: Benchd, daemon: FakeDaemon
) -> None:
    daemon.answers["jog"] = Refusal(-32001, "Stopped.", {"condition": "stopped"})
    shown = benchd("jog", "1mm", "--yes")
    assert shown.code == 1
    assert "Stopped from elsewhere; the feed stands at 50.0 mm; the barrel: 8 N low." in shown.err
    assert "Refused" not in shown.err
