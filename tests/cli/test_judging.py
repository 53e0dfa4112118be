"""`benchd judge`: the verdict in words, figures in digits they deserve, and never an all-clear."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.analysis.judge import Mass, Odd
from benchd.cli.judge_text import END, digits_for, mass_text, odd_text, ranged, span
from tests.analysis import weights as make
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]


def masses_g(seed: int, n: int, spread_g: float = 0.3) -> list[float]:
    rng = random.Random(seed)
    return [round(rng.gauss(30, spread_g), 1) for _ in range(n)]


def alternating_g(n: int) -> list[float]:
    rng = random.Random(4)
    e = [rng.gauss(0, 0.4) for _ in range(n + 1)]
    return [round(30 + e[at + 1] - e[at], 1) for at in range(n)]


ODD = masses_g(5, 12)
ODD[5] -= 4.5
ODD[6] += 4.5
CASES: dict[str, tuple[list[float], list[str]]] = {
    "steady": (masses_g(1, 14), ["all of that range is below the 2.6 %", "not proven"]),
    "drifting": (
        [value - 0.12 * at for at, value in enumerate(masses_g(2, 14))],
        ["fall along the tube by 0.15 (0.11 to 0.19) g a portion", ": proven"],
    ),
    "alternating": (alternating_g(44), ["Do not adjust after each portion"]),
    "scattered": (masses_g(3, 40, 1.6), ["above the 2.6 %", "No order of the weights"]),
    "one odd": (ODD, ["Portion 6 is odd; weigh it again before anything else", "the mass moved"]),
    "can't tell": (masses_g(4, 12, 0.65), ["About 3 more weights would tell"]),
}


def one_line(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.slow
@pytest.mark.parametrize("word", CASES)
def test_the_verdict_stands_in_words_with_its_reasons(
    benchd: Benchd, tmp_path: Path, word: str
) -> None:
    masses, says = CASES[word]
    path = make.write_journal(tmp_path / "a.journal", make.series(masses, net_kg=2.0))
    shown = benchd("judge", str(path))
    assert shown.code == 0, shown.err
    assert f"Verdict: {word.upper()}\n" in shown.out
    for text in says:
        assert text in one_line(shown.out)
    assert all(len(line) <= 80 and line.isascii() for line in shown.out.splitlines())
    assert one_line(shown.out).endswith(END)
    told = json.loads(benchd("judge", str(path), "--json").out)
    assert told["sections"][0]["verdict"] == word


def test_few_weights_get_figures_and_no_verdict(benchd: Benchd, tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", make.series(masses_g(1, 7)))
    shown = benchd("judge", str(path)).out
    assert "Verdict: CAN'T TELL" in shown
    assert "1 more normal portion of this tube" in shown
    assert "Mean" in shown
    assert "Next one" not in shown
    assert "withheld: it takes 18 more weights and a second tube" in shown


def test_equal_readings_are_no_proof_of_equal_portions(benchd: Benchd, tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", make.series([30.0] * 10))
    shown = benchd("judge", str(path)).out
    assert "limited by the scale" in shown
    assert "0.0000" not in shown


def test_a_tube_that_does_not_add_up_is_said(benchd: Benchd, tmp_path: Path) -> None:
    entries = make.series(masses_g(1, 10), net_kg=0.27)
    shown = one_line(benchd("judge", str(make.write_journal(tmp_path / "a.journal", entries))).out)
    assert "270 g net, but the weights sum to" in shown
    assert "more than there was" in shown


def test_one_tube_can_be_chosen(benchd: Benchd, tmp_path: Path) -> None:
    entries = make.series(masses_g(1, 9)) + make.series(masses_g(2, 9), tube="T2", first=10)
    path = str(make.write_journal(tmp_path / "a.journal", entries))
    assert benchd("judge", path).out.count("Verdict:") == 2
    chosen = benchd("judge", path, "--tube", "T2").out
    assert "Tube T2:" in chosen
    assert "Tube T1:" not in chosen
    wrong = benchd("judge", path, "--tube", "T9")
    assert wrong.code == 2
    assert "the tubes are: T1, T2" in wrong.err


def test_without_weights_there_is_nothing_to_judge(benchd: Benchd, tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", [make.tube_in("T1"), make.portion(1, 1)])
    shown = benchd("judge", str(path))
    assert shown.code == 1
    assert "nothing to judge" in shown.err


@pytest.mark.parametrize("typed", ["0", "60%", "five", "-3%"])
def test_a_share_that_is_none_is_not_taken(benchd: Benchd, typed: str) -> None:
    shown = benchd("judge", "--within", typed)
    assert shown.code == 2
    assert "is not a share" in shown.err


@pytest.mark.parametrize(
    ("half", "digits"), [(0.2, 1), (0.12, 2), (0.035, 2), (0.015, 3), (3.0, 0), (14.0, 0)]
)
def test_digits_follow_the_interval(half: float, digits: int) -> None:
    assert digits_for(half) == digits


def test_ranges_are_written_in_the_digits_they_deserve() -> None:
    assert ranged((20.1234, 19.91, 20.33), unit="g") == "20.1 g (19.9 to 20.3)"
    assert ranged((0.0300, 0.0294, 0.0306), factor=1e3, unit="g") == "30.0 g (29.4 to 30.6)"
    assert ranged((-0.001, -0.2, 0.2)) == "0.0 (-0.2 to 0.2)"
    # A ratio or a spread whose low end is above zero does not read like zero.
    assert ranged((1.2, 0.3, 5.4)) == "1.2 (0.3 to 5.4)"
    assert ranged((0.4, 0.0, 0.9)) == "0.4 (0.0 to 0.9)"
    assert span((30, 28.3, 31.7), factor=1, unit="g") == "28.3 to 31.7 g"


def test_limits_are_frozen_with_a_version_and_held_against(benchd: Benchd, tmp_path: Path) -> None:
    entries = make.series(masses_g(1, 12)) + make.series(masses_g(2, 12), tube="T2", first=13)
    before = str(make.write_journal(tmp_path / "a.journal", entries))
    assert "limits of these points themselves" in benchd("judge", before).out
    frozen = benchd("judge", before, "--freeze")
    assert frozen.code == 0
    assert "version 1, from 24 weights of portions 1 to 24" in frozen.out
    assert "version 2" in benchd("judge", before, "--freeze").out
    lower = [mass - 0.9 * (at > 5) for at, mass in enumerate(masses_g(3, 12))]
    after = str(make.write_journal(tmp_path / "b.journal", make.series(lower, first=25)))
    held = one_line(benchd("judge", after).out)
    assert "limits frozen as version 2" in held
    assert "a lasting shift shows at portion" in held
    assert "charts: withheld with 12 of the 20 points" in one_line(
        benchd("judge", after, "--own-limits").out
    )


def test_nothing_is_frozen_of_few_weights_or_of_several_ways(
    benchd: Benchd, tmp_path: Path
) -> None:
    few = str(make.write_journal(tmp_path / "a.journal", make.series(masses_g(1, 12))))
    shown = benchd("judge", few, "--freeze")
    assert shown.code == 1
    assert "Nothing was frozen" in shown.err
    entries = make.series(masses_g(1, 24))
    entries += make.series(masses_g(2, 24), tube="T2", first=25, changes={"group": 2})
    mixed = str(make.write_journal(tmp_path / "b.journal", entries))
    shown = benchd("judge", mixed, "--freeze")
    assert shown.code == 2
    assert "made in 2 ways" in shown.err
    assert benchd("judge", mixed, "--freeze", "--tube", "T2").code == 0


def test_damaged_limits_are_named_and_judging_goes_on(
    benchd: Benchd, tmp_path: Path, folders: Path
) -> None:
    path = str(make.write_journal(tmp_path / "a.journal", make.series(masses_g(1, 24))))
    benchd("judge", path, "--freeze")
    (kept,) = folders.glob("state/**/v1.json")
    kept.write_text("{")
    shown = benchd("judge", path)
    assert shown.code == 0
    assert "could not be read" in shown.err
    assert "limits of these points themselves" in shown.out


def test_limits_of_before_that_name_no_bench_are_to_be_frozen_anew(
    benchd: Benchd, tmp_path: Path, folders: Path
) -> None:
    path = str(make.write_journal(tmp_path / "a.journal", make.series(masses_g(1, 24))))
    benchd("judge", path, "--freeze")
    (kept,) = folders.glob("state/**/v1.json")
    told = json.loads(kept.read_text())
    kept.write_text(json.dumps({key: told[key] for key in told if key not in ("bench", "levels")}))
    shown = benchd("judge", path)
    assert shown.code == 0
    assert "v1.json are of an earlier version" in one_line(shown.err)
    assert "freeze new ones with 'benchd judge --freeze'" in one_line(shown.err)
    assert "limits of these points themselves" in shown.out
    assert "as version 2" in benchd("judge", path, "--freeze").out
    assert "limits frozen as version 2" in benchd("judge", path).out


def test_limits_of_one_bench_judge_no_other(benchd: Benchd, tmp_path: Path) -> None:
    """Not even one that keeps them in the same folder, as its name differs in a sign alone."""
    paths = []
    for bench in ("my bench", "my-bench", "rye"):
        entries = make.series(masses_g(1, 24))
        meta = {"bench": bench}
        paths.append(str(make.write_journal(tmp_path / f"{bench}.journal", entries, meta=meta)))
    assert benchd("judge", paths[0], "--freeze").code == 0
    told = json.loads(benchd("judge", *paths, "--json").out)["charts"]
    assert {one["bench"]: one["version"] for one in told} == {
        "my bench": 1,
        "my-bench": None,
        "rye": None,
    }


def test_a_tube_that_is_heavier_than_the_frozen_ones_is_said(
    benchd: Benchd, tmp_path: Path
) -> None:
    entries = [
        entry
        for tube in range(3)
        for entry in make.series(masses_g(tube, 12), tube=f"T{tube}", first=1 + 12 * tube)
    ]
    before = str(make.write_journal(tmp_path / "a.journal", entries))
    assert "Tube means" not in benchd("judge", before).out
    assert benchd("judge", before, "--freeze").code == 0
    heavy = [mass * 1.1 for mass in masses_g(7, 12)]
    entries = make.series(heavy, tube="T8", first=37)
    entries += make.series(masses_g(8, 12), tube="T9", first=49)
    after = str(make.write_journal(tmp_path / "b.journal", entries))
    shown = benchd("judge", after)
    said = one_line(shown.out)
    assert re.search(
        r"g in the 3 frozen tubes; T8 33\.\d+ g \(ABOVE\), T9 30\.\d+ g \(95 of 100 such tubes: "
        r"29\.\d+ to 30\.\d+ g\)",
        said,
    )
    assert "1 to 3 %" not in said
    assert all(len(line) <= 80 and line.isascii() for line in shown.out.splitlines())
    (told,) = json.loads(benchd("judge", after, "--json").out)["charts"]
    levels = {one["tube"]: one["beyond"] for one in told["levels"] if one["signal"] == "weight"}
    assert levels == {"T8": True, "T9": False}


def test_limits_of_one_tube_say_that_they_know_nothing_of_others(
    benchd: Benchd, tmp_path: Path
) -> None:
    before = str(make.write_journal(tmp_path / "a.journal", make.series(masses_g(1, 24))))
    benchd("judge", before, "--freeze")
    lighter = make.series([mass * 0.9 for mass in masses_g(2, 12)], first=25)
    after = str(make.write_journal(tmp_path / "b.journal", lighter))
    said = one_line(benchd("judge", after).out)
    assert re.search(r"g in the one frozen tube; T1 2[67]\.\d+ g \(BELOW\) \(95 of", said)
    assert "The limits were frozen of one tube, and tubes differ by 1 to 3 % by themselves" in said


def test_two_portions_not_weighed_are_counted_in_words_that_people_say() -> None:
    mass = Mass("maize", "T1", 1, 0.43, 0.062, 2, 0.062, None, 0.306, True)
    assert "weighed 62 g, 2 more not weighed, about 62 g; 306 g left" in mass_text(mass)


@pytest.mark.parametrize(
    ("off", "went", "says"),
    [
        (-0.1, "moved", "the next one has what it lacks"),
        (0.1, "moved", "the next one lacks what it has"),
        (-0.1, "lost", "the mass was lost"),
        (0.1, "lost", "the mass came from nowhere"),
        (0.1, "can't tell", "whether the mass moved or was lost cannot be told"),
    ],
)
def test_where_the_mass_of_an_odd_one_went_is_said_by_its_side(
    off: float, went: str, says: str
) -> None:
    one = Odd(7, 0.03 * (1 + off), off, partner=8, went=went, shift_kg=0.0, readings=1)
    assert says in odd_text(one)
