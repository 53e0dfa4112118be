"""`benchd advise`: a stroke from the newest mean, or why it should stay; nothing is changed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.cli.advising import RUNNING
from benchd.io import paths
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
    assert (
        "The limit of 10 % in all counts from 12.70 mm, the first of this bench, dough and aim on "
        "this machine (journal a.journal); the stroke is still that."
    ) in said
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


def day(number: int, masses: list[float], push_m: float, **meta: str) -> Path:
    """A day's journal of bench maize where its daemon leaves it."""
    folder = Path(paths.state_dir("maize"))
    folder.mkdir(parents=True, exist_ok=True)
    first = 100 * number
    entries = make.series(masses, tube=f"T{number}", first=first, changes=recipe(push_m))
    name = f"202701{number:02}T080000Z.journal"
    meta = {"bench": "maize", **meta}
    return make.write_journal(folder / name, entries, opened_us=10**15 + number, meta=meta)


@pytest.mark.slow
def test_a_leak_is_not_chased_from_day_to_day(benchd: Benchd) -> None:
    """Each day 4 % less mass at the same stroke, and each day's proposal is taken."""
    push_m, told = 0.0127, {}
    for number in range(1, 13):
        mass_g = 30.0 * push_m / 0.0127 * 0.96**number
        path = day(number, [mass_g + off for off in (0.1, -0.1, 0.0, 0.1, -0.1, 0.05)], push_m)
        told = json.loads(benchd("advise", "--json").out)
        assert told["first_stroke_journal"] == "20270101T080000Z.journal"
        push_m = told["proposed_stroke_m"] or push_m
    assert push_m == pytest.approx(1.1 * 0.0127)
    assert (told["why"], told["first_stroke_m"]) == ("limit", 0.0127)
    said = one_line(benchd("advise", str(path)).out)
    assert "may go no further than 10 % from where it began. Look for the cause" in said
    assert (
        "counts from 12.70 mm, the first of this bench, dough and aim on this machine (journal "
        "20270101T080000Z.journal); the stroke is now +10.0 % from it. Where it changed for a cause"
    ) in said


def test_the_limit_counts_from_frozen_limits_where_there_are_some(benchd: Benchd) -> None:
    day(1, HIGH, 0.0100)
    assert "counts from 10.00 mm" in one_line(benchd("advise").out)
    frozen = day(2, HIGH * 4, 0.0120)
    assert benchd("judge", str(frozen), "--freeze").code == 0
    day(3, HIGH, 0.0122)
    said = one_line(benchd("advise").out)
    assert "counts from 12.00 mm, that of the limits frozen as version 1" in said
    assert "the stroke is now +1.7 % from it." in said
    told = json.loads(benchd("advise", "--json").out)
    assert (told["first_stroke_version"], told["first_stroke_journal"]) == (1, None)


def test_another_bench_dough_or_damaged_journal_sets_no_first_stroke(benchd: Benchd) -> None:
    day(1, HIGH, 0.0100, bench="rye")
    day(2, HIGH, 0.0110).write_bytes(b"no journal")
    day(3, HIGH, 0.0125)
    day(4, HIGH, 0.0127)
    shown = benchd("advise")
    assert shown.code == 0
    assert "counts from 12.50 mm" in one_line(shown.out)
    assert "20270103T080000Z.journal" in one_line(shown.out)
    assert "20270102T080000Z.journal is not a journal" in one_line(shown.err)
    assert "may count from a stroke after it" in one_line(shown.err)


def test_an_odd_weight_is_held(benchd: Benchd, tmp_path: Path) -> None:
    masses = [*HIGH, 20.0, *HIGH[:4]]
    path = make.write_journal(tmp_path / "a.journal", make.series(masses))
    said = one_line(benchd("advise", str(path)).out)
    assert "Held, not used: odd weight of portion 7. Weigh it again first." in said
    assert "Proposed stroke" in said


def test_journals_of_several_benches_are_refused(benchd: Benchd, tmp_path: Path) -> None:
    paths = [
        str(make.write_journal(tmp_path / f"{bench}.journal", make.series(HIGH), meta=meta))
        for bench, meta in (("maize", {"bench": "maize"}), ("rye", {"bench": "rye"}))
    ]
    shown = benchd("advise", *paths)
    assert shown.code == 2
    assert "these journals are of several: name journals of one" in shown.err


def test_without_weights_there_is_no_advice(benchd: Benchd, tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", [make.tube_in("T1"), make.portion(1, 1)])
    shown = benchd("advise", str(path))
    assert shown.code == 1
    assert "nothing to judge" in shown.err
