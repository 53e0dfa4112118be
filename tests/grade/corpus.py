"""Journals of simulated benches that have one known cause each, and of sound ones.

Everything follows from the seed. Seeds below GRADING_FIRST are for tuning the tables of causes,
those from there on for grading; the two never meet.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any, NamedTuple

from benchd.core import ledger
from benchd.io.journal_format import Entry
from protocols import messages as m
from sim.faults import KINDS, Faults
from sim.operator import connect, dry_stroke, make_ready, on_the_pan, prove
from sim.person import typed
from sim.world import NotInTime, Refused, World
from tests.grade.drawn import Place, example, stroke_mm

GRADING_FIRST = 500_000
DRAWN_APART = 10_000
"""Seeds of drawn benches lie so far above those of the example's: no tube is made twice."""

PORTIONS = 14
KEPT = {*ledger.RECORDS.values(), m.Boot.code, m.Edge.code}

SHARES = (0.6, 1.0, 1.6)
"""Severities of a fault, as multiples of its usual one."""

BESIDE_THE_PLANT: dict[str, tuple[str, ...]] = {
    "hand-on-switch": ("MC-29",),
    "wrong-card": ("MC-27",),
    "too-much-draw-back": ("MC-07", "MC-27"),
    "cable-pulled": ("MC-25",),
    "host-stall": ("MC-26",),
}
"""Causes that lie in people, cards, cable and computer and not in the plant, each with its
codes."""

AT_A_NEW_TUBE = frozenset({"light-tube"})
"""Faults that show only where a tube is changed, which these series do not."""


class Made(NamedTuple):
    """One simulated tube with what is true of it. portion: where the cause took hold, 0 for
    none."""

    cause: str
    codes: tuple[str, ...]
    severity: float
    seed: int
    portion: int
    meta: dict[str, str]
    entries: list[Entry]


def causes() -> list[str]:
    """Return everything that can be injected and has a cause of misfire."""
    plant = [name for name in KINDS if _codes(name) and name not in AT_A_NEW_TUBE]
    return [*plant, *BESIDE_THE_PLANT]


def _codes(name: str) -> tuple[str, ...]:
    if name in BESIDE_THE_PLANT:
        return BESIDE_THE_PLANT[name]
    return tuple(code for code in KINDS[name].codes if code.startswith("MC"))


def make(
    cause: str, share: float, seed: int, *, smallest: bool = False, place: Place | None = None
) -> Made:
    """Return a tube with this cause at a portion that the seed chooses; cause "" for a sound one.
    smallest: on a bench with no sensor but the eye. place: the bench; default: the example's."""
    place = place or example(smallest)
    rng = random.Random(f"{cause} {share} {seed} {smallest}")
    at = rng.randint(5, 10) if cause else 0
    severity, faults = 0.0, []
    if cause in KINDS:
        low, high = KINDS[cause].span
        severity = min(max(KINDS[cause].usual * share, low), high)
        faults = [f"{cause}@{at}:{severity:.6g}"]
    seeded = rng.getrandbits(32)
    world = World(place.card, seeded, faults=Faults.parse(faults), spec=place.spec)
    if smallest:
        _lead(world)
    else:
        make_ready(world)
    _series(world, place, cause, at, share)
    _weigh(world)
    world.settle()
    store = world.stores[-1]
    kept = [one for one in store.entries if one.kind in KEPT or _is_told(one)]
    codes = _codes(cause) if cause else ()
    return Made(cause, codes, severity, seed, at, dict(store.meta), kept)


def _lead(world: World) -> None:
    """From power-up to the first portion as a person does who sees what no sensor tells."""
    connect(world)
    world.run_for(0.3)
    for interlock in (20, 15):
        prove(world, interlock)
    world.ask("here", position_m=0.0)
    world.ask("tube_in", id="T1")
    world.ask("teach", what="empty")
    while not world.rig.readings().dough_at_nozzle:
        world.ask("jog", distance_m=0.005)
    world.ask("teach", what="dough")
    dry_stroke(world)
    world.ask("approach")
    world.ask("contact")
    world.ask("prime")
    dry_stroke(world)


def _is_told(entry: Entry) -> bool:
    text = entry.text or ""
    return entry.kind == ledger.INPUT and any(
        f'"{word}"' in text for word in ("tolerance", "opened", "stood")
    )


def _series(world: World, place: Place, cause: str, at: int, share: float) -> None:
    if cause in ("wrong-card", "too-much-draw-back"):
        world.ask("series", dough=place.dough, count=at - 1, every_s=place.every_s)
        card = _other_card(place.dough, cause, share)
        left, every_s = PORTIONS + 1 - at, place.every_s
        world.ask("series", dough=card, count=left, every_s=every_s, confirmed=True)
        return
    number = world.send("series", dough=place.dough, count=PORTIONS, every_s=place.every_s)
    try:
        if cause in BESIDE_THE_PLANT:
            world.run_while(lambda w: w.rig.portion != at, limit_s=300)
            world.run_for(1.0)
            _disturb(world, cause, share)
        world.run_while(lambda w: w.reply_to(number) is None, limit_s=300)
    except (NotInTime, Refused):
        pass
    world.run_for(2)


def _other_card(dough: str, cause: str, share: float) -> str:
    """Return the dough card with another stroke, or with more draw-back than take-up."""
    key, right, more = "stroke", stroke_mm(dough), 0.08
    if cause == "too-much-draw-back":
        key, right, more = "draw_back", "2", 1.0
    card = dough.replace(f"{key}: {right} mm", f"{key}: {float(right) * (1 + more * share):.2f} mm")
    assert card != dough
    return card


def _disturb(world: World, cause: str, share: float) -> None:
    if cause == "host-stall":
        world.stand_still(0.25 + 0.05 * share)
        return
    if cause == "cable-pulled":
        world.unplug()
        world.run_for(1.5 * share)
        world.plug()
        return
    world.rig.press("forward", True)
    world.run_for(0.3 * share)
    world.rig.press("forward", False)


def _weigh(world: World) -> None:
    """Weigh what fell, as the pan shows it and with the slips of the person who types it."""
    shown = sorted(on_the_pan(world).items())
    for number, mass_kg in typed(dict(shown), world.rig.faults).items():
        if mass_kg is None:
            continue
        text = f"{mass_kg * 1e3:.1f}"
        asked: dict[str, Any] = {"mass_kg": round(mass_kg, 4), "text": text, "portion": number}
        try:
            world.ask("weigh", **asked)
        except Refused as refused:
            if refused.reply.is_question:
                world.ask("weigh", **asked, confirmed=True)


def plan(seeds: int, first: int) -> Iterator[tuple[str, float, int]]:
    """Yield cause, share and seed of every tube of a corpus."""
    for seed in range(first, first + seeds):
        for cause in causes():
            for share in SHARES:
                yield cause, share, seed
