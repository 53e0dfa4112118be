"""Weights, notes and values set by hand: taken as typed, questioned where they look like slips."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal

Benchd = Callable[..., Outcome]


def test_a_weight_is_recorded_as_typed(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["weigh"] = {"portion": 12, "mass_kg": 0.0318, "left": 2}
    shown = benchd(*["weigh", "31,8", "--portion", "12", "--look", "thrown", "--threw", "12cm"])
    assert shown.out == "Portion 12: 31.8 g; 2 not weighed yet.\n"
    assert daemon.asked[-1][1] == {
        "mass_kg": pytest.approx(0.0318),
        "text": "31,8",
        "portion": 12,
        "look": "thrown",
        "threw_m": pytest.approx(0.12),
    }


def test_a_portion_may_stand_before_its_weight(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["weigh"] = {"portion": 12, "mass_kg": 0.0318, "left": 0}
    assert benchd("weigh", "12=31.8").code == 0
    (asked,) = daemon.asked
    assert asked == (
        "weigh",
        {"mass_kg": pytest.approx(0.0318), "text": "31.8", "portion": 12},
    )
    assert "named twice" in benchd("weigh", "12=31.8", "--portion", "3").err
    assert "Before the '='" in benchd("weigh", "x=31.8").err


def test_a_weight_is_taken_back(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["unweigh"] = {"portion": 12, "left": 1}
    shown = benchd("weigh", "--take-back", "12")
    assert shown.out == "Portion 12 has no weight any more; 1 not weighed yet.\n"
    assert daemon.asked[-1] == ("unweigh", {"portion": 12})
    for more in (["30"], ["--portion", "3"], ["--from", "a.csv"]):
        assert benchd("weigh", "--take-back", "12", *more).code == 2


def question(params: dict[str, Any]) -> Any:
    if params.get("confirmed"):
        return {"portion": 1, "mass_kg": params["mass_kg"], "left": 0}
    return Refusal(-32002, "198.0 g where about 19.8 g is expected.")


@pytest.mark.parametrize(("answer", "code"), [("yes\n", 0), ("no\n", 1)])
def test_a_questioned_weight_is_taken_only_when_confirmed(
    benchd: Benchd, daemon: FakeDaemon, typing: Callable[[str], None], answer: str, code: int
) -> None:
    daemon.answers["weigh"] = question
    typing(answer)
    shown = benchd("weigh", "198")
    assert shown.code == code
    assert "198.0 g where about 19.8 g is expected." in shown.err
    assert ("confirmed" in daemon.asked[-1][1]) == (code == 0)


def test_scripts_confirm_a_weight_beforehand(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["weigh"] = question
    assert benchd("weigh", "198").code == 2
    assert benchd("weigh", "198", "--yes").code == 0


def test_values_set_by_hand(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["set"] = {"group": 4}
    shown = benchd(*["set", "air=1.2bar", "needle=2turns", "nozzle=24mm", "sleeve=S3"])
    assert daemon.asked[-1] == (
        "set",
        {
            "values": {
                "air_pa": pytest.approx(1.2e5),
                "needle_turns": 2.0,
                "nozzle_m": pytest.approx(0.024),
                "sleeve": "S3",
            }
        },
    )
    assert "Comparison group 4 begins." in shown.out
    assert "a dry stroke comes first" in shown.out


@pytest.mark.parametrize(
    "word", ["air=-1bar", "air=900bar", "air=30", "nozzle=0mm", "nozzle=24m", "needle=99turns"]
)
def test_what_nobody_sets_by_hand_is_a_slip(benchd: Benchd, daemon: FakeDaemon, word: str) -> None:
    shown = benchd("set", word)
    assert shown.code == 2
    assert word.partition("=")[2] in shown.err
    assert daemon.asked == []


def test_a_piece_is_thrown_forward(benchd: Benchd, daemon: FakeDaemon) -> None:
    assert benchd("weigh", "30", "--threw=-1mm").code == 2
    assert daemon.asked == []
