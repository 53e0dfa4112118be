"""Any text is a card or a CardError, soon: nothing that somebody hands over breaks the reading."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchd.config import BenchCard, CardError, bench_card, dough
from benchd.config.bench_keys import BENCH_KEYS
from benchd.config.changes import changes, kind_of, read_values
from benchd.config.errors import SENTENCE_MAX, TOLD_MAX
from benchd.config.text import SIZE_MAX

pytestmark = pytest.mark.slow

CARDS = Path(__file__).resolve().parent / "cards"
SOUND = tuple((CARDS / name).read_text("utf-8") for name in ("bench.yaml", "masa.yaml"))
LONGEST_S = 2.0
"""Of processor time, on a slow and busy machine; the reading itself takes a tenth of it."""

PIECES = st.sampled_from(
    (
        *(
            "",
            " ",
            "\n",
            "\t",
            ":",
            ": ",
            "- ",
            "[",
            "]",
            "{",
            "}",
            "#",
            "'",
            '"',
            "\\",
            "&a",
            "*a",
        ),
        *("!!python/object:os.system", "---\n", "%", "|", ">", "? ", "\0", "\ud800", "\u2028", "é"),
        *("0", "-1", "1e99", "1/0 in", "nan mm", "inf", "99999999999", ".5", "1,000 mm", "5 mm"),
        *(" bar", " mm^3/s*V", "µm", "°", "yes", "none", "[eye, eye]", "D2", "pins:\n  eye: D2\n"),
        *(f"\n{key.path.replace('.', ': ')}: 1" for key in BENCH_KEYS[::7]),
    )
)


@st.composite
def altered_cards(draw: st.DrawFn) -> str:
    """A sound card with some pieces taken out, put in or doubled."""
    text = draw(st.sampled_from(SOUND))
    for _ in range(draw(st.integers(1, 6))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 40)))
        piece = draw(PIECES | st.just(text[start:end] * 2))
        text = text[:start] + piece + text[end:]
    return text


def told(text: str, maize: BenchCard) -> tuple[str, ...]:
    """Read a text as both kinds of card, and compare it; every sentence that was said."""
    said: list[str] = []
    for read in (
        lambda: bench_card(text, "a.yaml").facts,
        lambda: dough(text, "a.yaml", maize.facts),
        lambda: changes(
            read_values(text, "a.yaml", "bench"), read_values(SOUND[0], "b.yaml", "bench")
        ),
        lambda: kind_of(text),
    ):
        try:
            read()
        except CardError as error:
            said += error.sentences or ["said nothing"]
    return tuple(said)


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(altered_cards() | st.text(max_size=300))
def test_any_text_is_a_card_or_a_card_error(maize: BenchCard, text: str) -> None:
    for sentence in told(text, maize):
        assert sentence.isprintable()
        assert sentence.startswith("a.yaml")
        assert sentence.endswith((".", "?"))


HOSTILE = {
    "unknown keys": "".join(f"k{number}: 1\n" for number in range(499)),
    "unknown sections": "".join(f"s{number}: {{a: 1}}\n" for number in range(300)),
    "keys of a known section": "feed:\n" + "".join(f"  bore{n}: 1 mm\n" for n in range(499)),
    "one long key": f"? {'k' * 60_000}\n: 1\n",
    "one long value": f"bench: {'x ' * 30_000}\n",
    "one long unit": f"feed: {{bore: 1 {'m*' * 30_000}m}}\n",
    "one long number": f"feed: {{bore: {'1' * 60_000} mm}}\n",
    "one long list": f"fitted: [{'eye,' * 900}]\n",
    "a long list of lists": f"fitted: [{'[],' * 20_000}]\n",
    "open quotes": 'a: "' + "x\n" * 30_000,
    "deep flow": "{a: " * 16_000,
    "deep blocks": "".join(" " * depth + f"k{depth}:\n" for depth in range(300)),
    "remarks": "#\n" * 32_000,
    "names for names": "a: &a [1]\nb: &b [*a,*a]\nc: &c [*b,*b]\nd: [*c,*c]\n",
    "escapes": 'a: "' + "\\x41" * 15_000 + '"\n',
    "merge": "<<: {bench: a}\n<<: {port: b}\n",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_no_card_takes_long(maize: BenchCard, name: str) -> None:
    text = HOSTILE[name]
    assert len(text) <= SIZE_MAX
    begun = time.process_time()
    said = told(text, maize)
    taken_s = time.process_time() - begun
    assert said
    assert taken_s < LONGEST_S
    assert len(said) <= 3 * (TOLD_MAX + 1)
    assert all(len(sentence) < SENTENCE_MAX + 40 for sentence in said)
