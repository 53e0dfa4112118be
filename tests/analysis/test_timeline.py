"""A past portion beside its neighbours, and replay across versions of the core."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from benchd.analysis import timeline
from benchd.cli.run import run
from benchd.core.engine import CORE_VERSION
from benchd.core.facts import BenchFacts
from sim.world import World
from tests.analysis import weights
from tests.analysis.bench_journal import write
from tests.core.script import bench

pytestmark = pytest.mark.slow

FACTS = bench("eye")


def lines(*numbers: int, facts: BenchFacts = FACTS) -> list[str]:
    """The lines of a portion whose cut took 0.3 s beside others."""

    def made(number: int) -> timeline.Portion:
        record = {"phase_s": {"cut": 0.3 + number / 100}, "eye": {"gap_m": 0.0005}}
        return timeline.Portion(number, record)

    return list(timeline.usual_lines(facts, made(0), [made(number) for number in numbers]))


def test_the_usual_says_of_how_many_portions_and_which() -> None:
    assert "usual (least - middle - most of the 2 normal portions nearest to it)" in lines(1, 2)[0]
    assert "of the 1 normal portion nearest to it" in lines(1)[0]


def test_without_a_normal_portion_nothing_is_called_usual() -> None:
    head, says, *_ = lines()
    assert "usual" not in head
    assert "no normal portion stands near it" in says


def test_a_gap_is_told_in_millimetres_of_strand_as_on_the_card() -> None:
    # A bore of 50 mm and a nozzle of 24 mm: (50/24)^2 = 4.340 mm of strand a millimetre of feed.
    row = next(line for line in lines(1) if "longest gap, strand" in line)
    assert "2.2 mm" in row


@pytest.mark.parametrize(
    ("mass_kg", "shown"), [(0.030, "30.0 g"), (0.0299, "29.9 g"), (0.02995, "29.95 g")]
)
def test_a_weight_has_the_digits_of_the_scale_and_a_decimal(
    mass_kg: float, shown: str, world: World, tmp_path: Path
) -> None:
    store = world.stores[-1]
    again = write(tmp_path / "a.journal", store.meta, [*store.entries, weights.weight(2, mass_kg)])
    assert f"   {shown}" in next(timeline.portion_lines(again, 2))
    assert any(line.endswith(f" {shown}") for line in timeline.series_lines(again))


def test_a_portion_of_a_real_journal_is_told(bench_journal: Path) -> None:
    text = "\n".join(timeline.portion_lines(bench_journal, 2))
    assert "of the 2 normal portions nearest to it" in text
    assert "longest gap 0.0 mm of strand" in text
    assert "   29.9 g" in text


def test_a_journal_of_another_core_version_says_so(
    bench_journal: Path, world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["replay", str(bench_journal), "--verify"]) == 0
    assert "core version" not in capsys.readouterr().out
    store = world.stores[-1]
    old = write(tmp_path / "old.journal", {**store.meta, "core_version": "2"}, store.entries)
    assert run(["replay", str(old), "--verify"]) == 0
    shown = capsys.readouterr().out
    assert f"written by core version 2 and is run through version {CORE_VERSION}:" in shown
    assert run(["replay", str(old), "--verify", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["core_stored"], found["core_now"]) == (2, CORE_VERSION)


def test_replay_names_the_journal_that_it_verified(
    bench_journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["replay", str(bench_journal), "--verify"]) == 0
    assert capsys.readouterr().out.startswith(f"{bench_journal.name}, bench maize:\n")


def test_a_journal_whose_entries_were_deleted_is_not_called_well(
    bench_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spoilt = tmp_path / bench_journal.name
    shutil.copy(bench_journal, spoilt)
    with sqlite3.connect(spoilt) as connection:
        connection.execute("DELETE FROM entry WHERE n > (SELECT max(n) - 20 FROM entry)")
    connection.close()
    assert run(["replay", str(spoilt), "--verify"]) == 1
    shown = capsys.readouterr().out
    assert ": WRONG, so it is not run through the core.\n  " in shown
    assert "as stored" not in shown
    assert run(["replay", str(spoilt), "--verify", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert (told["journal"], told["same"]) == (spoilt.name, False)
    assert told["findings"]


def test_replay_for_programs_has_each_portion_or_all_of_one(
    bench_journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["replay", str(bench_journal), "--json"]) == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [row["portion"]["number"] for row in rows] == [1, 2, 3, 4]
    assert run(["replay", str(bench_journal), "--portion", "2", "--json"]) == 0
    one = json.loads(capsys.readouterr().out)
    assert {name: one[name] for name in rows[1]} == rows[1]
    assert one["mass_kg"] == pytest.approx(0.0299)
    kinds = {event["kind"] for event in one["events"]}
    assert {"phase", "edge", "ended"} <= kinds
    assert all(event["what"] for event in one["events"])
    weight = next(row for row in one["signals"] if row["signal"] == "weight")
    assert (weight["value"], weight["unit"]) == (pytest.approx(29.9), "g")
    # Of its two normal neighbours the third one was weighed.
    assert weight["of"] == 1
    assert weight["usual"] == pytest.approx([30.1] * 3)


def test_a_journal_without_portions_says_so(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    empty = write(tmp_path / "a.journal", world.stores[-1].meta, world.stores[-1].entries[:3])
    assert run(["replay", str(empty)]) == 0
    assert capsys.readouterr().out.endswith("0 portions\nThere is no portion in a.journal.\n")
