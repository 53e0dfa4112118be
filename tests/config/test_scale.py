"""The card's part about a scale with a serial output."""

from __future__ import annotations

import pytest

from benchd.config import CardError, bench_card
from benchd.config.scale import pattern_problem, scale_of

PATTERN = r"(?P<mass>[-+]? *[0-9.]+) *(?P<unit>g|kg)"


def card(text: str, *lines: str) -> str:
    """The card with these lines in its scale part, where it has one."""
    assert "scale:\n" in text
    return text.replace("scale:\n", "scale:\n" + "".join(f"  {line}\n" for line in lines))


def test_a_card_without_a_port_has_no_scale_with_a_line(bench_text: str) -> None:
    assert scale_of(bench_card(bench_text, "b.yaml").values, "/dev/board") is None


def test_everything_a_card_can_say(bench_text: str) -> None:
    text = card(
        bench_text, "port: /dev/scale", "baud: 2400", "frame: 7E1", f"pattern: '{PATTERN}'",
        "unit: oz", "sends: once", "least: 5 g",
    )  # fmt: skip
    scale = scale_of(bench_card(text, "b.yaml").values, "/dev/board")
    assert scale is not None
    assert scale[:3] == ("/dev/scale", 2400, "7E1")
    assert scale.pattern.pattern == PATTERN
    assert (scale.unit, scale.once, scale.board_port) == ("oz", True, "/dev/board")
    assert scale.least_kg == pytest.approx(0.005)
    assert scale.readability_kg == pytest.approx(1e-4)


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?:(?P<settled>ST)|US),\w+, *(?P<mass>[-+]? *[0-9.]+)",
        r"(?:[A-Z]{2},)*(?P<mass>\d+(?:\.\d+)?)",
        r"(?:(?:ST|US|GS),)+ *(?P<mass>-?\d+(?:\.\d{1,3})?)",
    ],
)
def test_usual_patterns_are_taken(pattern: str) -> None:
    assert pattern_problem(pattern) == ""


WRONG = {
    ("port: /dev/scale",): "no use without 'scale.pattern'",
    ("baud: 2400",): "no use without 'scale.port'",
    ("least: 5 g",): "'scale.least' has no use without 'scale.port'",
    ("port: /dev/scale", "pattern: '(?P<mass>'"): "is no pattern",
    ("port: /dev/scale", "pattern: '[0-9.]+'"): "has no group named mass",
    ("port: /dev/scale", "pattern: '(?P<mass>.)(?P<tare>.)'"): "has a group named tare",
    ("port: /dev/scale", r"pattern: '(?:\w+ *)*(?P<mass>[0-9.]+) g$'"): "repeats within itself",
    ("port: /dev/scale", "pattern: '(?P<mass>([0-9]+|[.])+?) g'"): "repeats within itself",
    ("port: /dev/scale", r"pattern: '(?P<mass>(\d\d?)+) g'"): "not always of one length",
    ("port: /dev/scale", r"pattern: '(?:ST|S,?)+(?P<mass>\d+)'"): "not always of one length",
    ("port: /dev/scale", f"pattern: '{PATTERN}'", "frame: 9Z9"): "is not possible here",
}


@pytest.mark.parametrize(("lines", "words"), WRONG.items(), ids=lambda one: str(one)[:40])
def test_what_is_refused(bench_text: str, lines: tuple[str, ...], words: str) -> None:
    with pytest.raises(CardError) as caught:
        bench_card(card(bench_text, *lines), "b.yaml")
    assert words in str(caught.value)


def test_the_boards_own_port_is_no_scale(bench_text: str) -> None:
    port = str(bench_card(bench_text, "b.yaml").values["port"])
    with pytest.raises(CardError, match="the board's own port"):
        bench_card(card(bench_text, f"port: {port}", f"pattern: '{PATTERN}'"), "b.yaml")
