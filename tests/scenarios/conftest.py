"""A bench and its daemon in virtual time, brought to where portions can be made."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchd.analysis.replay import Verdict, verify
from benchd.config import BenchCard, bench_card, read_card
from benchd.core import ledger
from benchd.core.state import State
from sim.faults import Faults
from sim.link import LinkFaults
from sim.world import World

EXAMPLES = Path(__file__).parents[2] / "benchd" / "examples"
MASA = (EXAMPLES / "masa.yaml").read_text("utf-8")
PROOFS = {
    1: ("released", "clear", "home"),
    2: ("shut", "clear", "home"),
    6: ("removed", "clear", "whole"),
    7: ("home", "clear", "checked"),
    8: ("home", "clear", "wired"),
    12: ("vented", "clear", "sound"),
    15: ("forward", "hardware", "wired"),
    20: ("looked", "clear", "home"),
}


def example_card(name: str = "bench.yaml") -> BenchCard:
    """Return a card of the examples."""
    path = EXAMPLES / name
    return bench_card(read_card(path), str(path))


def clear(world: World, interlock: int) -> None:
    """Clear an interlock as a person does who has looked."""
    words = list(PROOFS.get(interlock, ()))
    world.ask("clear", interlock=interlock, name="tester" if words else "", words=words)


def tube_world(
    *faults: str, seed: int = 1, card: str = "bench.yaml", link_faults: LinkFaults | None = None
) -> World:
    """Return a world whose latches of the start are cleared, with a fresh tube in."""
    world = World(
        example_card(card),
        seed,
        faults=Faults.parse(faults),
        link_faults=link_faults or LinkFaults(),
    )
    world.run_while(lambda w: w.app.state.link != "up", limit_s=20)
    world.run_for(0.3)
    for interlock in (20, 15):
        clear(world, interlock)
    world.ask("here", position_m=0.0)
    world.ask("tube_in", id="T1")
    return world


def ready_world(
    *faults: str, seed: int = 1, card: str = "bench.yaml", link_faults: LinkFaults | None = None
) -> World:
    """Return a world that has a primed tube and has made its dry stroke."""
    world = tube_world(*faults, seed=seed, card=card, link_faults=link_faults)
    world.ask("approach")
    world.ask("prime")
    world.ask("arm")
    world.ask("fire")
    return world


def verified(world: World) -> Verdict:
    """Return the verdict over everything in the newest journal of a world."""
    world.settle()
    store = world.stores[-1]
    state = msgspec.json.decode(store.meta["state"], type=State)
    return verify(state, enumerate(store.entries, 1))


def journalled(world: World, kind: str) -> list[dict[str, Any]]:
    """Return the records of one kind in the newest journal of a world."""
    entries, code = world.stores[-1].entries, ledger.RECORDS[kind]
    return [msgspec.json.decode(one.text or "") for one in entries if one.kind == code]


@pytest.fixture
def masa() -> str:
    """The dough card of the examples."""
    return MASA
