"""`benchd why`: what is odd, what may have caused it, and never an all-clear."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchd.cli.why_text import rules_out_words
from benchd.diagnose.causes import CAUSES
from tests.analysis import weights as make
from tests.cli.conftest import Outcome
from tests.cli.test_judging import masses_g, one_line

Benchd = Callable[..., Outcome]


def journal(path: Path, n: int = 24, bench: str = "maize", **odd: Any) -> str:
    """A tube of n portions of which number 12 has these changes."""
    entries = [make.tube_in("T1")]
    for at, mass_g in enumerate(masses_g(1, n, 0.2), 1):
        eye = {"min": 105.0, "mean": 500.0, "at_cut": 640.0, "gap_m": 0.0}
        entries.append(make.portion(at, at, eye=eye, **(odd if at == 12 else {})))
        entries.append(make.weight(at, mass_g / 1000))
    facts = make.told_of(0.05)
    text = (facts.text or "").replace(
        '"travel_m":0.25', '"travel_m":0.5,"fitted":["home","far","thrust","eye"]'
    )
    assert "fitted" in text
    meta = {"bench": bench}
    return str(make.write_journal(path, [facts._replace(text=text), *entries], meta=meta))


SLOW_CUT = {"cutter": {"start_delay_s": 0.02, "stroke_s": 0.55}}


@pytest.mark.slow
def test_the_odd_one_is_found_and_explained(benchd: Benchd, tmp_path: Path) -> None:
    shown = benchd("why", journal(tmp_path / "a.journal", **SLOW_CUT))
    assert shown.code == 0, shown.err
    assert all(len(line) <= 80 and line.isascii() for line in shown.out.splitlines())
    text = one_line(shown.out)
    assert text.startswith("Portion 12 of tube T1: ")
    assert "cutter stroke 550 ms, usual 300 (z" in text
    assert "MC-12 something hard met the blade" in text.split("Less likely")[0]
    assert "CAUTION: Air shut and vented" in text.split("next check:")[0]
    assert "a person decides" in text
    for label in ("for:", "against:", "rules it out:", "next check:", "remedy:"):
        assert label in text


def test_what_rules_a_cause_out_is_never_left_open() -> None:
    by_code = {cause.code: rules_out_words(cause) for cause in CAUSES}
    assert by_code["MC-10"] == "nothing that is measured"
    assert "lowest air pressure above usual" in by_code["MC-13"]
    assert all(by_code.values())


@pytest.mark.slow
def test_json_holds_the_same(benchd: Benchd, tmp_path: Path) -> None:
    path = journal(tmp_path / "a.journal", **SLOW_CUT)
    (case,) = json.loads(benchd("why", path, "--json").out)["cases"]
    assert (case["portion"], case["weak"]) == (12, False)
    assert case["together"][0]["code"] == "MC-12"
    assert len(case["in_order"]) == 6
    assert [one["name"] for one in case["found"]] == ["stroke_s+"]


@pytest.mark.slow
def test_a_portion_that_was_asked_for_is_shown_though_it_is_even(
    benchd: Benchd, tmp_path: Path
) -> None:
    path = journal(tmp_path / "a.journal")
    text = one_line(benchd("why", path, "--portion", "5").out)
    assert "nothing that was measured is off its usual" in text
    assert "can't tell: nothing that was found points to one" in text
    nothing = one_line(benchd("why", path).out)
    assert "That is no proof that all were right" in nothing
    assert "What is named" not in nothing
    assert nothing.endswith("Treat pressure, blade and drive as live all the same.")


@pytest.mark.slow
def test_portions_of_two_benches_are_never_held_against_each_other(
    benchd: Benchd, tmp_path: Path
) -> None:
    slow = {"cutter": {"start_delay_s": 0.02, "stroke_s": 0.55}}
    paths = (
        journal(tmp_path / "a.journal", n=24, bench="left", **slow),
        journal(tmp_path / "b.journal", n=16, bench="right"),
    )
    cases = json.loads(benchd("why", *paths, "--portion", "12", "--json").out)["cases"]
    assert {case["bench"]: case["held_against"] for case in cases} == {"left": 22, "right": 14}
    assert [case["bench"] for case in cases if case["odd"]] == ["left"]
    (case,) = json.loads(benchd("why", *paths, "--json").out)["cases"]
    assert (case["bench"], case["portion"]) == ("left", 12)
    assert "Portion 12 of tube T1 of bench left: " in one_line(benchd("why", *paths).out)


@pytest.mark.slow
def test_few_portions_are_called_weak_or_nothing(benchd: Benchd, tmp_path: Path) -> None:
    path = journal(tmp_path / "a.journal", n=13)
    assert "Evidence is weak below 20" in one_line(benchd("why", path, "--portion", "5").out)
    path = journal(tmp_path / "b.journal", n=6)
    assert "Held against nothing" in one_line(benchd("why", path, "--portion", "5").out)


@pytest.mark.slow
def test_a_portion_that_is_not_there_is_told_with_those_that_are(
    benchd: Benchd, tmp_path: Path
) -> None:
    shown = benchd("why", journal(tmp_path / "a.journal", n=6), "--portion", "40")
    assert shown.code == 2
    assert "they go from 1 to 6" in shown.err


@pytest.mark.slow
def test_without_portions_there_is_nothing_to_explain(benchd: Benchd, tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", [make.tube_in("T1")])
    shown = benchd("why", str(path))
    assert shown.code == 1
    assert "nothing to explain" in shown.err
