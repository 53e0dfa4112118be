"""Journals with portions and weights as a test wants them, and of a simulated bench."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from benchd.core import ledger
from benchd.core.effects import Record
from benchd.io.journal import JournalFile
from benchd.io.journal_format import Entry
from sim.world import World
from tests.analysis.in_memory import in_memory
from tests.io.reports import Reports

AIM_KG = 0.030


def write_journal(
    path: Path,
    entries: Iterable[Entry],
    *,
    opened_us: int = 1,
    meta: Mapping[str, str] | None = None,
) -> Path:
    """A closed journal of these entries."""
    reports = Reports()
    with in_memory(path) as there:
        file = JournalFile.create(
            there,
            meta=meta or {"bench": "maize"},
            views=ledger.views(),
            wall_us=lambda: opened_us,
            on_committed=reports.on_committed,
            on_fault=reports.on_fault,
        )
        last = file.append(list(entries), urgent=True)
        reports.wait_for(lambda: file.committed == last)
        file.close()
    assert not reports.faults
    return path


def of_world(path: Path, world: World) -> Path:
    """The newest journal of a simulated world as a file."""
    world.settle()
    store = world.stores[-1]
    return write_journal(path, store.entries, meta=store.meta)


def record(kind: str, **data: Any) -> Entry:
    """A record as the core would have it kept."""
    return Entry(1, *ledger.write_effect(Record(kind, data)))


def tube_in(tube: str, net_kg: float | None = None) -> Entry:
    return record("tube", id=tube, what="in", net_mass_kg=net_kg)


def tube_out(tube: str, heel_kg: float | None = None) -> Entry:
    return record("tube", id=tube, what="out", portions=0, heel_kg=heel_kg)


def weight(portion: int, mass_kg: float | None, **more: Any) -> Entry:
    return record("weight", portion=portion, mass_kg=mass_kg, readability_kg=1e-4, text="", **more)


def portion(number: int, index: int, tube: str = "T1", **changes: Any) -> Entry:
    """A portion with an even record."""
    data: dict[str, Any] = {
        "number": number,
        "class": "normal",
        "outcome": "complete",
        "tube": tube,
        "index": index,
        "group": 1,
        "dough": "masa",
        "aim_kg": AIM_KG,
        "asked_m": {"take_up": 0.002, "push": 0.0127, "draw_back": 0.002},
        "position_m": 0.02 + 0.0127 * index,
        "cutter": {"start_delay_s": 0.02, "stroke_s": 0.3},
        "thrust_n": {"start": 100.0, "peak": 200.0, "at_cut": 90.0},
    }
    return record("portion", **{**data, **changes})


def told_of(tolerance: float, travel_m: float = 0.25) -> Entry:
    """What the core was told first: the bench's travel, and a dough card with its tolerance."""
    text = msgspec.json.encode(
        {
            "input": "opened",
            "facts": {"travel_m": travel_m},
            "carry": {"dough": {"name": "masa", "tolerance": tolerance}},
        }
    ).decode()
    return Entry(1, ledger.INPUT, (), text)


def series(
    weights_g: Sequence[float],
    *,
    tube: str = "T1",
    first: int = 1,
    net_kg: float | None = None,
    changes: Mapping[str, Any] | None = None,
) -> list[Entry]:
    """A tube, and one weighed portion for each of these masses [g]."""
    entries = [tube_in(tube, net_kg)]
    for at, mass_g in enumerate(weights_g):
        entries.append(portion(first + at, at + 1, tube, **(changes or {})))
        entries.append(weight(first + at, mass_g / 1000))
    return entries
