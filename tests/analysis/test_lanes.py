"""What the lanes of a portion show besides readings: levels of the eye, gaps in the strand."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from benchd.analysis import lanes
from benchd.analysis.reader import JournalReader
from benchd.analysis.replay import first_state_of
from benchd.analysis.timeline import facts_of
from benchd.core import ledger
from protocols import messages as m
from protocols.codes import SIGNALS
from tests.analysis.bench_journal import write, written
from tests.scenarios.conftest import tube_world

pytestmark = pytest.mark.slow

NAME = "20270115T080000.000000Z-0000000b.journal"


def test_the_levels_of_the_card_hold_where_none_were_taught(bench_journal: Path) -> None:
    reader = JournalReader(bench_journal)
    # The example card says 120 and 640 counts.
    assert {held for _, held in lanes.levels(reader, facts_of(reader))} == {(120.0, 640.0)}


def test_taught_levels_hold_from_when_both_are(tmp_path: Path) -> None:
    world = tube_world(card="smallest.yaml")
    world.ask("teach", what="empty")
    while not world.rig.readings().dough_at_nozzle:
        world.ask("jog", distance_m=0.005)
    world.ask("teach", what="dough")
    world.settle()
    reader = JournalReader(written(tmp_path / NAME, world))
    told = [
        (n, msgspec.json.decode(entry.text or ""))
        for n, entry in reader.entries(kinds={ledger.RECORDS["eye"]})
    ]
    ((_, empty), (both, dough)) = told
    held = lanes.levels(reader, facts_of(reader))
    assert {pair for n, pair in held if n < both - 2} == {None}
    assert held[-1][1] == (empty["mean"], dough["mean"])


def test_taught_levels_hold_on_in_a_journal_that_was_begun_after_a_fault(
    bench_journal: Path, tmp_path: Path
) -> None:
    reader = JournalReader(bench_journal)
    state = first_state_of(reader)
    carry = replace(state.carry, eye_empty=(101.0, 1.0), eye_dough=(602.0, 2.0))
    meta = {**reader.meta, "state": msgspec.json.encode(replace(state, carry=carry)).decode()}
    # The daemon did not start anew: no entry says what it began with, only the state at the head.
    rest = [entry for n, entry in reader.entries(after=20)]
    assert ledger.RECORDS["carry"] in {entry.kind for entry in rest}
    later = JournalReader(write(tmp_path / NAME, meta, rest, each=1_000))
    assert {held for _, held in lanes.levels(later, facts_of(later))} == {(101.0, 602.0)}


def test_where_dough_is_seen_again_the_strand_without_it_is_told(bench_journal: Path) -> None:
    facts = facts_of(JournalReader(bench_journal))
    dough = SIGNALS.index("dough")

    def edge(level: int, position: int) -> m.Edge:
        return m.Edge(0, 0, 1, dough, level, position, 600, 0, 0, 0)

    edges = [edge(1, 0), edge(0, 1000), edge(1, 1400), edge(0, 3000), edge(1, 3000)]
    words = [text for _, text in lanes._told(facts, edges)]
    # Of 800 steps a mm, 400 are 0.5 mm, from 50 mm of bore through 24 mm: 0.5 * (50 / 24)^2.
    assert words == [
        "dough seen",
        "dough gone",
        "dough seen, after a gap of 2.2 mm",
        "dough gone",
        "dough seen",
    ]
