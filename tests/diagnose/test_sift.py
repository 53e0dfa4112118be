"""The sift leaves none out that one look at a time would call odd."""

from __future__ import annotations

import random

import pytest

from benchd.diagnose import case
from benchd.diagnose.case import Bench
from benchd.diagnose.signals import MASS, Seen
from tests.diagnose.portions import EVEN, seen

ALL = frozenset({"eye", "home", "far", "thrust", "air", "supply", "local", "guard"})


def many(seed: int, tubes: int = 8, each: int = 14) -> list[Seen]:
    """Tubes with scatter, a trend along the tube, and things of all kinds that go wrong."""
    chance = random.Random(seed)
    found = []
    for loading in range(tubes):
        drift = chance.choice([0.0, 0.0, 0.004])
        for index in range(1, each + 1):
            signals = {
                name: value and value * (1 + chance.gauss(0, 0.01) + drift * index)
                for name, value in EVEN.items()
            }
            changes: dict[str, object] = {}
            if chance.random() < 0.08:
                name = chance.choice(sorted(EVEN))
                signals[name] = (signals[name] or 0.004) * chance.choice([0.3, 0.85, 1.2, 2.1])
            if chance.random() < 0.05:
                signals[chance.choice(sorted(EVEN))] = None
            if chance.random() < 0.05:
                signals[MASS] = None
            if chance.random() < 0.03:
                changes["events"] = {chance.choice(["hand", "link", "card"]): "it happened"}
            if chance.random() < 0.03:
                changes["outcome"] = "tripped"
            if chance.random() < 0.02:
                changes["readings_kg"] = (0.03, 0.031)
            kind = "first" if index == 1 else "normal"
            place = index / (each + 1) if chance.random() < 0.95 else None
            found.append(
                seen(
                    100 * loading + index,
                    signals=signals,
                    index=index,
                    loading=loading,
                    place=place,
                    **{"kind": kind, **changes},
                )
            )
    return found


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_the_same_portions_are_odd_as_one_by_one(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(many(seed), ALL)
    one_by_one = [one.number for one in bench.portions if bench.case(one).odd]
    cases = [found.portion.number for found in bench.odd_ones()]
    monkeypatch.setattr(case, "FEW", 0)
    maybe = bench._maybe_odd()
    assert maybe is not None
    named = {one.number for one in bench.portions if id(one) in maybe}
    assert set(one_by_one) <= named, seed
    assert len(named) < len(bench.portions) * 0.7
    assert [found.portion.number for found in bench.odd_ones()] == cases
    assert any(one.signals.get(MASS) is None for one in bench.portions)
