"""Weights of journals, read and judged: what is put together, what is kept apart."""

from __future__ import annotations

import random
from pathlib import Path

import msgspec
import pytest
import scipy.special  # noqa: F401  (Loading it takes longer than a fast test may.)

from benchd.analysis.judge import Judgement, judge
from benchd.analysis.weighed import read_weighed
from benchd.cli.judge_text import odd_text
from sim import operator
from tests.analysis import weights as make
from tests.scenarios.conftest import MASA, ready_world


def masses_g(seed: int, n: int, mean: float = 30.0) -> list[float]:
    rng = random.Random(seed)
    return [round(rng.gauss(mean, 0.3), 1) for _ in range(n)]


def judged(*paths: Path) -> Judgement:
    told = judge(read_weighed(paths))
    # What a program gets must be JSON through and through.
    msgspec.json.encode(msgspec.to_builtins(told))
    return told


def test_the_latest_reading_counts(tmp_path: Path) -> None:
    entries = make.series(masses_g(1, 9))
    entries += [make.weight(3, 0.0404), make.weight(3, 0.0304)]
    path = make.write_journal(tmp_path / "a.journal", entries)
    portions = read_weighed([path]).portions
    assert portions[2].mass_kg == 0.0304
    assert portions[2].readings == 3


def test_a_weight_may_stand_in_a_later_journal(tmp_path: Path) -> None:
    first = make.write_journal(
        tmp_path / "z.journal", [make.tube_in("T1"), make.portion(1, 1)], opened_us=1
    )
    second = make.write_journal(
        tmp_path / "a.journal", [make.weight(1, 0.0301), make.weight(99, 0.03)], opened_us=2
    )
    told = read_weighed([second, first])
    assert [one.mass_kg for one in told.portions] == [0.0301]
    assert told.strays == 1


def test_a_weight_that_was_taken_back_is_none(tmp_path: Path) -> None:
    entries = make.series([30.0, 31.0])
    again = [make.weight(1, None), make.weight(2, None), make.weight(2, 0.0302)]
    path = make.write_journal(tmp_path / "a.journal", [*entries, *again])
    assert [(one.mass_kg, one.readings) for one in read_weighed([path]).portions] == [
        (None, 0),
        (0.0302, 1),
    ]


def test_what_a_flagged_portion_left_to_the_next_came_from_there(tmp_path: Path) -> None:
    masses = [30.0, 30.2, 29.9, 30.1, 29.8, 30.0, 20.4, 39.7, 30.1, 29.9, 30.2, 29.8, 30.0]
    entries = make.series(masses)
    # A later record of a portion takes the place of the one before.
    entries.append(make.portion(7, 7, **{"class": "flagged"}))
    (section,) = judged(make.write_journal(tmp_path / "a.journal", entries)).sections
    (one,) = section.odd
    assert (one.portion, one.partner, one.went) == (8, 7, "moved")
    assert "the one before lacks what it has: the mass moved" in odd_text(one)


def test_tubes_and_groups_are_kept_apart(tmp_path: Path) -> None:
    entries = make.series(masses_g(1, 12), tube="T1")
    entries += make.series(masses_g(2, 12, 31.0), tube="T2", first=13)
    entries += make.series(masses_g(3, 12), tube="T3", first=25, changes={"group": 2})
    # The same id again is another tube.
    entries += make.series(masses_g(4, 12), tube="T1", first=37)
    told = judged(make.write_journal(tmp_path / "a.journal", entries))
    assert [(one.tube, one.loading, one.group) for one in told.sections] == [
        ("T1", 1, 1),
        ("T2", 2, 1),
        ("T1", 4, 1),
        ("T3", 3, 2),
    ]
    assert all(len(one.portions) == 12 for one in told.sections)
    pool = told.pools[0]
    assert pool.n == 36
    assert pool.tubes["T2 (2)"] > 1.005
    assert pool.between is not None
    assert pool.between > 0.01
    assert pool.capability_withheld == ""
    assert pool.capability_sd == "overall"
    assert told.pools[1].capability_sd is None
    assert pool.within_kg is not None
    assert pool.overall_kg is not None
    assert pool.overall_kg > pool.within_kg
    assert told.pools[1].capability_withheld == "13 more weights and a second tube"


def test_only_normal_complete_portions_are_judged_and_the_others_listed(tmp_path: Path) -> None:
    entries = [make.tube_in("T1")]
    kinds = ["first", *["normal"] * 9, "flagged", "tail"]
    for number, kind in enumerate(kinds, 1):
        entries.append(make.portion(number, number, **{"class": kind}))
    entries.append(make.portion(13, 13, outcome="stopped"))
    entries += [make.weight(number, 0.030 + number * 1e-5) for number in range(1, 12)]
    (told,) = judged(make.write_journal(tmp_path / "a.journal", entries)).sections
    assert told.portions == tuple(range(2, 11))
    assert [(number, why) for number, why, _ in told.apart] == [
        (1, "first"),
        (11, "flagged"),
        (12, "not weighed"),
        (13, "not weighed"),
    ]


def test_the_tolerance_is_the_dough_cards_unless_asked_otherwise(tmp_path: Path) -> None:
    entries = [make.told_of(0.08), *make.series(masses_g(1, 12))]
    weighed = read_weighed([make.write_journal(tmp_path / "a.journal", entries)])
    assert judge(weighed).sections[0].tolerance == 0.08
    assert judge(weighed, 0.02).sections[0].tolerance == 0.02
    assert weighed.portions[0].travel_m == 0.25


def test_the_mass_of_a_tube_adds_up_or_not(tmp_path: Path) -> None:
    entries = [*make.series([30.0] * 10, net_kg=0.35), make.tube_out("T1", 0.03)]
    entries += make.series([30.0] * 10, tube="T2", first=11, net_kg=0.28)
    fine, wrong = judged(make.write_journal(tmp_path / "a.journal", entries)).masses
    assert fine.adds_up
    assert fine.left_kg == pytest.approx(0.020)
    assert not wrong.adds_up
    assert wrong.left_kg == pytest.approx(-0.020)


def test_an_odd_weight_names_its_portion_and_neighbour(tmp_path: Path) -> None:
    weights = masses_g(5, 12)
    weights[5], weights[6] = 25.5, 34.5
    told = judged(make.write_journal(tmp_path / "a.journal", make.series(weights))).sections[0]
    assert told.verdict == "one odd"
    (odd,) = told.odd
    assert (odd.portion, odd.partner, odd.went) == (6, 7, "moved")
    assert odd.shift_kg == pytest.approx((25.5 - (sum(weights) - 25.5) / 11) / 12 / 1000)


def test_a_damaged_record_leaves_the_rest_readable(tmp_path: Path) -> None:
    entries = make.series(masses_g(6, 10))
    damaged = make.record("portion", number=99)
    entries[3:3] = [damaged, damaged._replace(text="{")]
    told = read_weighed([make.write_journal(tmp_path / "a.journal", entries)])
    assert len(told.portions) == 10


@pytest.mark.slow
def test_a_simulated_tube_is_judged_from_its_journal(tmp_path: Path) -> None:
    world = ready_world(seed=3)
    world.ask("series", dough=MASA, every_s=5.0, count=13, confirmed=True)
    operator.weigh_all(world)
    world.run_for(1.0)
    told = judged(make.of_world(tmp_path / "sim.journal", world))
    section = told.sections[0]
    assert len(section.portions) >= 10
    assert section.tolerance == 0.05
    assert section.mean_kg is not None
    assert section.mean_kg[1] < section.mean_kg[0] < section.mean_kg[2]
    assert section.mean_kg[0] == pytest.approx(0.030, rel=0.05)
    assert {number for number, _, _ in section.apart} | set(section.portions) == set(range(1, 14))
