"""`benchd trial`: two groups beside each other, refused where they are not to be compared."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.io.journal_format import Entry
from tests.analysis import weights as make
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]
TRAVEL_M = 0.18


def masses_g(seed: int, n: int, mean: float = 30.0, spread: float = 0.3) -> list[float]:
    rng = random.Random(seed)
    return [round(rng.gauss(mean, spread), 1) for _ in range(n)]


def group(
    first: int, masses: Sequence[float], *, positions_m: Sequence[float], **changes: Any
) -> list[Entry]:
    """Weighed portions at these places of the barrel."""
    entries = []
    for at, (mass_g, position_m) in enumerate(zip(masses, positions_m, strict=True)):
        number = first + at
        entries.append(make.portion(number, number, position_m=position_m, **changes))
        entries.append(make.weight(number, mass_g / 1000))
    return entries


def journal(path: Path, *parts: list[Entry]) -> str:
    entries = [make.told_of(0.05, TRAVEL_M), make.tube_in("T1"), *(e for p in parts for e in p)]
    return str(make.write_journal(path, entries))


FRONT, END = [0.02] * 10, [0.16] * 10


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_a_difference_is_shown_with_its_interval(benchd: Benchd, tmp_path: Path) -> None:
    path = journal(
        tmp_path / "a.journal",
        group(1, masses_g(1, 10), positions_m=FRONT, by_hand={"air_pa": 1.2e5}),
        group(11, masses_g(2, 10, 31.0), positions_m=FRONT, group=2, by_hand={"air_pa": 1.5e5}),
    )
    shown = benchd("trial", "1", "2", "--journal", path)
    assert shown.code == 0, shown.err
    assert shown.out.startswith("B is heavier than A.")
    said = one_line(shown.out)
    assert "air 1.2 bar in A, 1.5 bar in B" in said
    assert "front 10 of each" in said
    assert "and spreads from a ratio of 2.0 on" in said
    assert all(len(line) <= 80 and line.isascii() for line in shown.out.splitlines())
    told = json.loads(benchd("trial", "1-10", "11-20", "--journal", path, "--json").out)
    low, high = told["difference_kg"][1:]
    assert low < told["difference_kg"][0] < high
    assert low > 0


def test_no_difference_is_no_proof_of_none(benchd: Benchd, tmp_path: Path) -> None:
    path = journal(
        tmp_path / "a.journal",
        group(1, masses_g(1, 10), positions_m=FRONT),
        group(11, masses_g(2, 10), positions_m=FRONT, group=2),
    )
    said = one_line(benchd("trial", "1", "2", "--journal", path).out)
    assert said.startswith("No difference is shown. That is no proof of none")
    assert "nothing that the journal knows of" in said


def test_front_and_end_of_a_tube_are_not_compared(benchd: Benchd, tmp_path: Path) -> None:
    path = journal(
        tmp_path / "a.journal",
        group(1, masses_g(1, 10), positions_m=FRONT),
        group(11, masses_g(2, 10, 33.0), positions_m=END, group=2),
    )
    shown = benchd("trial", "1", "2", "--journal", path)
    assert shown.code == 1
    assert shown.out == ""
    assert "group 1 came from the front of the barrel and group 2 from the end" in shown.err


def test_only_as_many_of_each_third_are_compared(benchd: Benchd, tmp_path: Path) -> None:
    places = [0.02] * 6 + [0.09] * 4
    path = journal(
        tmp_path / "a.journal",
        group(1, masses_g(1, 10), positions_m=places),
        group(11, masses_g(2, 10), positions_m=[0.09] * 9 + [0.16], group=2),
    )
    told = json.loads(benchd("trial", "1", "2", "--journal", path, "--json").out)
    assert told["thirds"] == {"middle": 4}
    assert told["a"]["portions"] == [7, 8, 9, 10]
    assert len(told["b"]["left_out"]) == 6
    assert not told["enough"]
    assert benchd("trial", "1", "2", "--journal", path).out.startswith("No verdict: 4 portions")


def test_an_unknown_place_in_the_barrel_is_not_compared(benchd: Benchd, tmp_path: Path) -> None:
    entries = [make.tube_in("T1"), *group(1, masses_g(1, 10), positions_m=FRONT)]
    entries += group(11, masses_g(2, 10), positions_m=FRONT, group=2)
    path = str(make.write_journal(tmp_path / "a.journal", entries))
    shown = benchd("trial", "1", "2", "--journal", path)
    assert shown.code == 1
    assert "unknown place" in shown.err


@pytest.mark.parametrize(
    ("words", "changes", "says"),
    [
        (("1", "2"), {"aim_kg": 0.040}, "not of the same aim"),
        (("1", "2"), {"dough": "other"}, "not of the same dough"),
        (
            ("1", "9"),
            {},
            "No portion here belongs to group 9. There are portions 1 to 20, groups 1, 2",
        ),
        (("1-2", "7-12"), {}, "Normal portions with a weight in portions 1 to 2: 2, too few"),
        (("1-12", "5-20"), {}, "Portion 5 is in both groups"),
    ],
)
def test_groups_that_do_not_fit_are_refused(
    benchd: Benchd, tmp_path: Path, words: tuple[str, str], changes: dict[str, Any], says: str
) -> None:
    path = journal(
        tmp_path / "a.journal",
        group(1, masses_g(1, 10), positions_m=FRONT),
        group(11, masses_g(2, 10), positions_m=FRONT, group=2, **changes),
    )
    shown = benchd("trial", *words, "--journal", path)
    assert shown.code == 1
    assert says in shown.err


def test_an_odd_weight_is_set_aside_and_named(benchd: Benchd, tmp_path: Path) -> None:
    masses = masses_g(1, 10)
    masses[4] = 22.0
    path = journal(
        tmp_path / "a.journal",
        group(1, masses, positions_m=FRONT),
        group(11, masses_g(2, 10), positions_m=FRONT, group=2),
    )
    assert "set aside as odd: 5" in one_line(benchd("trial", "1", "2", "--journal", path).out)


def test_what_names_no_group_is_told_what_would(benchd: Benchd) -> None:
    shown = benchd("trial", "5-2", "7-9")
    assert shown.code == 2
    assert "'5-2' runs backwards: write 2-5." in shown.err
    shown = benchd("trial", "air", "2")
    assert shown.code == 2
    assert "'air' names no group of portions: write a comparison group such as 3" in shown.err
