"""What differs between two cards: in the person's own units, and what of it is asked about."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from benchd.config import CardError
from benchd.config.changes import changes, kind_of, percent, read_values

Altered = Callable[..., str]


def lines(before: str, after: str) -> list[tuple[str, bool]]:
    kind = kind_of(before)
    found = changes(read_values(before, "a.yaml", kind), read_values(after, "b.yaml", kind))
    return [(change.line(), change.asks) for change in found]


FITTED = (
    "fitted: [guard, stop, home, far, ends, eye, thrust, air, supply, local, button, dump] -> "
    "[guard, stop, home, ends, eye, thrust, air, supply, local, button, dump]"
)
CHANGES = [
    (("air_min: 1.5 bar", "air_min: 22 psi"), "limits.air_min: 1.5 bar -> 22 psi (+1.1 %)", False),
    (("thrust: 400 N", "thrust: 450 N"), "limits.thrust: 400 N -> 450 N (+12 %)", True),
    (("thrust: 400 N", "thrust: 379 N"), "limits.thrust: 400 N -> 379 N (-5.2 %)", True),
    (("direction: normal ", "direction: reversed "), "feed.direction: normal -> reversed", True),
    (("keeps_position: yes", "keeps_position: no"), "feed.keeps_position: yes -> no", True),
    (("stop, home, far,", "stop, home,"), FITTED, True),
    (("starts: 1", "starts: 1\n  still: 150 ms"), "feed.still: 100 ms -> 150 ms (+50 %)", True),
    (("starts: 1", "starts: 1\n  screw: 8 mm"), "feed.screw: not given -> 8 mm", True),
    (("bench: maize", "bench: corn"), "bench: maize -> corn", False),
    (("port: ./bench-port ", "port: /dev/ttyUSB0 "), "port: ./bench-port -> /dev/ttyUSB0", False),
    (("scale:", "mqtt: {broker: b}\nscale:"), "mqtt.broker: not given -> b", False),
    (("scale:", "pins: {step: D8}\nscale:"), "pins.step: not given -> D8", False),
]


@pytest.mark.parametrize(("change", "line", "asks"), CHANGES)
def test_a_change_is_one_line(
    bench_text: str, altered: Altered, change: tuple[str, str], line: str, asks: bool
) -> None:
    assert lines(bench_text, altered(change)) == [(line, asks)]


@pytest.mark.parametrize(
    "change",
    [
        ("heel: 12 mm", "heel: 1.2 cm"),
        ("starts: 1", "starts: 1 # one"),
        ("", ""),
        ("steps_per_turn: 200", "step_angle: 1.8 deg"),
    ],
)
def test_other_words_for_the_same_are_no_change(bench_text: str, change: tuple[str, str]) -> None:
    assert lines(bench_text, bench_text.replace(*change)) == []


def test_a_key_that_is_gone_is_a_change(bench_text: str, altered: Altered) -> None:
    assert lines(altered(("starts: 1", "starts: 1\n  screw: 8 mm")), bench_text) == [
        ("feed.screw: 8 mm -> not given", True)
    ]


def test_dough_cards_are_compared_without_a_bench(masa_text: str) -> None:
    assert kind_of(masa_text) == "dough"
    assert lines(masa_text, masa_text.replace("aim: 30 g", "aim: 1.1 oz")) == [
        ("aim: 30 g -> 1.1 oz (+3.9 %)", False)
    ]


@pytest.mark.parametrize("text", ["[", "a: 1", "bench: a\ndough: b", ""])
def test_a_card_that_does_not_tell_its_kind_has_none(text: str) -> None:
    assert kind_of(text) == ""


@pytest.mark.parametrize("kind", ["bench", "dough"])
def test_a_card_with_mistakes_is_not_compared(kind: str) -> None:
    with pytest.raises(CardError, match=r"a.yaml, line \d: is not YAML"):
        read_values("[", "a.yaml", kind)


def test_percents_are_as_exact_as_they_matter() -> None:
    assert [percent(share) for share in (0.333, -0.05, 0.0012, 2.5)] == [
        "+33 %", "-5 %", "+0.12 %", "+250 %",
    ]  # fmt: skip
