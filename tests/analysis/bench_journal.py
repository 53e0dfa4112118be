"""A journal of a simulated bench at work, as a file: what readers of journals meet in earnest."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import count
from pathlib import Path

from benchd.io.journal import JournalFile
from benchd.io.journal_format import META_OPENED_US, META_VIEWS, Entry, views_of_meta
from sim.world import World
from tests.analysis.in_memory import in_memory
from tests.io.reports import Reports
from tests.scenarios.conftest import MASA, ready_world

NOTE = 'said "drier", half; ½ tube,\nsecond line'
PORTIONS = 4
SEED = 11


def at_work() -> World:
    """A bench that made some portions, all but the last of them weighed, with a note."""
    world = ready_world(seed=SEED)
    world.ask("series", dough=MASA, count=PORTIONS, every_s=8.0)
    for mass_kg in (0.0312, 0.0299, 0.0301):
        world.ask("weigh", mass_kg=mass_kg, text=f"{mass_kg * 1000:.1f}", look="clean")
    world.ask("weigh", mass_kg=0.0298, text="29.8", portion=1, confirmed=True)
    world.ask("note", text=NOTE)
    world.settle()
    return world


def written(path: Path, world: World, each: int = 37) -> Path:
    """The journal of a world as a closed file, in commits of so many entries."""
    store = world.stores[-1]
    write(path, store.meta, store.entries, each)
    return path


def write(path: Path, meta: dict[str, str], entries: Iterable[Entry], each: int = 37) -> Path:
    """A closed journal with this meta and these entries."""
    reports = Reports()
    opened_us = int(meta[META_OPENED_US])
    ticks = count()
    fixed = (META_OPENED_US, META_VIEWS)
    with in_memory(path) as there:
        file = JournalFile.create(
            there,
            meta={key: value for key, value in meta.items() if key not in fixed},
            views=views_of_meta(meta),
            wall_us=lambda: opened_us + 40_123 * next(ticks),
            on_committed=reports.on_committed,
            on_fault=reports.on_fault,
            window_s=3600.0,
            batch=10**9,
        )
        waiting = list(entries)
        for start in range(0, len(waiting), each):
            last = file.append(waiting[start : start + each], urgent=True)
            reports.wait_for(lambda last=last: file.committed == last)
        file.close()
    assert not reports.faults
    return path
