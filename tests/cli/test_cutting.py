"""A dry stroke takes two steps, and a moment of rest that is missing is waited for."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal

Benchd = Callable[..., Outcome]


def test_a_cut_arms_then_fires(benchd: Benchd, daemon: FakeDaemon) -> None:
    times = {"start_delay_s": 0.019, "stroke_s": 0.311, "return_delay_s": None, "return_s": 0.34}
    daemon.answers |= {"arm": {}, "fire": {"outcome": "complete", "cutter": times}}
    shown = benchd("cut", "--yes")
    assert shown.out.startswith(
        "Dry stroke complete: start 19 ms, stroke 311 ms, return 340 ms. Now barrel 8 N low; air "
    )
    assert daemon.methods() == ["arm", "fire"]
    assert "! Air stays after power is off" in shown.err


def test_a_cut_asked_for_right_after_a_move_waits_for_the_feed_to_rest(
    benchd: Benchd, daemon: FakeDaemon
) -> None:
    rest = Refusal(-32001, "Not cut.", {"condition": "IL-03", "value": 96, "bound": 100})
    answers = iter([rest, {}])
    daemon.answers |= {"arm": lambda _: next(answers), "fire": {"outcome": "complete"}}
    assert benchd("cut", "--yes").code == 0
    assert daemon.methods() == ["arm", "arm", "fire"]


@pytest.mark.parametrize(
    "data",
    [
        {"condition": "IL-03", "value": 100, "bound": 4000},
        {"condition": "IL-04", "value": 60, "bound": 50},
        {"condition": "IL-02", "value": 0, "bound": 0},
        None,
    ],
)
def test_a_command_waits_for_nothing_but_a_moment_of_rest(
    benchd: Benchd, daemon: FakeDaemon, data: dict[str, object] | None
) -> None:
    daemon.answers["arm"] = Refusal(-32001, "Not cut.", data)
    assert benchd("cut", "--yes").code == 1
    assert daemon.methods() == ["arm"]


def test_what_is_armed_lapses_when_the_person_does_not_fire(
    benchd: Benchd,
    daemon: FakeDaemon,
    typing: Callable[[str], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    daemon.answers["arm"] = {}
    monkeypatch.setattr("select.select", lambda read, write, error, time_s: ([], [], []))
    typing("yes\n")
    shown = benchd("cut")
    assert shown.code == 1
    assert "Not fired" in shown.err
    assert daemon.methods() == ["arm"]
