"""What the tests of cards share: three cards, and one of them with some lines changed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from benchd.config import BenchCard, bench_card

CARDS = Path(__file__).resolve().parent / "cards"
"""Cards of these tests alone, so that the shipped ones can be tuned without touching a test."""


@pytest.fixture(scope="session")
def bench_text() -> str:
    """The full example card."""
    return (CARDS / "bench.yaml").read_text("utf-8")


@pytest.fixture(scope="session")
def smallest_text() -> str:
    """The card of the smallest bench."""
    return (CARDS / "smallest.yaml").read_text("utf-8")


@pytest.fixture(scope="session")
def masa_text() -> str:
    """The example dough card."""
    return (CARDS / "masa.yaml").read_text("utf-8")


@pytest.fixture(scope="session")
def maize(bench_text: str) -> BenchCard:
    """The full example bench, read."""
    return bench_card(bench_text, "bench.yaml")


@pytest.fixture
def altered(bench_text: str) -> Callable[..., str]:
    """The full example with some texts changed: `altered(("rod: 6 mm", "rod: 8 mm"))`."""

    def alter(*changes: tuple[str, str]) -> str:
        text = bench_text
        for old, new in changes:
            assert text.count(old) == 1, f"'{old}' stands {text.count(old)} times in the example."
            text = text.replace(old, new)
        return text

    return alter
