"""Bench and dough cards: YAML in, facts out, every mistake a sentence with file and line."""

from benchd.config.bench import BenchCard, Port, bench_card, bench_facts, port_of
from benchd.config.dough import dough
from benchd.config.errors import CardError
from benchd.config.text import read_card

__all__ = [
    "BenchCard",
    "CardError",
    "Port",
    "bench_card",
    "bench_facts",
    "dough",
    "port_of",
    "read_card",
]
