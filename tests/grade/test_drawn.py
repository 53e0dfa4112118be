"""Benches drawn at random are ones that people could have, and portions come out of them."""

from __future__ import annotations

import pytest

from benchd.analysis.why import History
from benchd.config import dough
from tests.grade import corpus
from tests.grade.drawn import drawn, stroke_mm


@pytest.mark.slow
@pytest.mark.parametrize("smallest", [False, True])
def test_a_bench_follows_from_its_seed_and_its_cards_fit(smallest: bool) -> None:
    places = [drawn(seed, smallest) for seed in range(400_000, 400_030)]
    assert len({place.words for place in places}) == len(places)
    again = drawn(400_000, smallest)
    assert again.card.facts == places[0].card.facts
    assert again[1:] == places[0][1:]
    for place in places:
        card = dough(place.dough, "drawn", place.card.facts)
        assert place.card.facts.bore_m == place.spec.plant.bore_m
        assert place.card.facts.travel_m > corpus.PORTIONS * card.stroke_m
        assert float(stroke_mm(place.dough)) == pytest.approx(card.stroke_m * 1e3)


@pytest.mark.slow
def test_a_sound_tube_of_a_drawn_bench_gives_all_its_portions() -> None:
    place = drawn(400_000, smallest=False)
    history = History()
    history.read(corpus.make("", 1.0, 400_000, place=place).entries)
    portions = history.portions()
    assert [one.outcome for one in portions] == ["complete"] * corpus.PORTIONS
    aim_kg = dough(place.dough, "drawn", place.card.facts).aim_kg
    weights = [one.signals["mass_kg"] or 0.0 for one in portions[1:]]
    assert sum(weights) / len(weights) == pytest.approx(aim_kg, rel=0.06)
