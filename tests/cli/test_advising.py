"""`benchd advise`: a stroke from the newest mean, or why it should stay; nothing is changed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.cli.advising import RUNNING
from tests.analysis import weights as make
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]
HIGH = [30.4, 30.5, 30.3, 30.4, 30.5, 30.3]


def one_line(text: str) -> str:
    return " ".join(text.split())


def recipe(push_m: float) -> dict[str, Any]:
    return {"asked_m": {"take_up": 0.002, "push": push_m, "draw_back": 0.002}}


def test_a_stroke_is_proposed_and_nothing_changed(benchd: Benchd, tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", make.series(HIGH))
    before = path.read_bytes()
    shown = benchd("advise", str(path))
    assert shown.code == 0, shown.err
    said = one_line(shown.out)
    assert "stroke 12.70 mm Proposed stroke 12.53 mm, -1.3 %" in said
    assert "the mean of the newest 6 is 30.40 g, +0.40 g off the aim" in said
    assert said.endswith(RUNNING)
    assert path.read_bytes() == before
    assert all(len(line) <= 80 and line.isascii() for line in shown.out.splitlines())
    told = json.loads(benchd("advise", str(path), "--json").out)
    assert told["proposed_stroke_m"] == pytest.approx(0.01253, abs=1e-5)
    assert told["why"] == "off"


@pytest.mark.parametrize(
    ("masses", "says"),
    [
        ([30.4, 30.4, 30.5], "No proposal: 3 weights of normal portions"),
        ([30.1, 30.1, 30.0, 30.0, 30.1], "No change: the mean of the newest 5"),
        ([31.0, 29.6, 31.1, 29.7, 31.0, 29.7], "No proposal: these 6 weights alternate"),
        ([36.0, 36.1, 36.0, 35.9], "(limited: at most 2 % at once, 10 % in all)"),
    ],
)
def test_why_it_stays_or_is_limited_is_said(
    benchd: Benchd, tmp_path: Path, masses: list[float], says: str
) -> None:
    path = make.write_journal(tmp_path / "a.journal", make.series(masses))
    assert says in one_line(benchd("advise", str(path)).out)


def test_only_what_was_made_since_the_last_change_is_learned_from(
    benchd: Benchd, tmp_path: Path
) -> None:
    entries = make.series([33.0] * 8)
    for at, mass_g in enumerate([33.0, 33.0, *HIGH], 9):
        entries += [make.portion(at, at, **recipe(0.0120)), make.weight(at, mass_g / 1000)]
    entries.append(make.portion(17, 17, **recipe(0.0120)))
    path = str(make.write_journal(tmp_path / "a.journal", entries))
    said = one_line(benchd("advise", path).out)
    assert "the mean of the newest 6 is 30.40 g" in said
    assert "The first 2 portions after the last change are not used" in said
    assert "1 portion made since the last weighed one" in said
    assert json.loads(benchd("advise", path, "--json").out)["first_stroke_m"] == 0.0127


def test_an_odd_weight_is_held(benchd: Benchd, tmp_path: Path) -> None:
    masses = [*HIGH, 20.0, *HIGH[:4]]
    path = make.write_journal(tmp_path / "a.journal", make.series(masses))
    said = one_line(benchd("advise", str(path)).out)
    assert "Held, not used: odd weight of portion 7. Weigh it again first." in said
    assert "Proposed stroke" in said


def test_without_weights_there_is_no_advice(benchd: Benchd, tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", [make.tube_in("T1"), make.portion(1, 1)])
    shown = benchd("advise", str(path))
    assert shown.code == 1
    assert "nothing to judge" in shown.err
