"""The guide's Markdown: what it becomes on a terminal, and what can be looked up in it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.cli.guide_text import Block, entries, normal, parse, plain, render

PAGE = """\
# Cutter

A cylinder with a blade, moved by air, and a paragraph that is
long enough to be wrapped; try `benchd cut` first.

## IL-06 cut did not finish

- **home, far**: the two ends of
  its stroke.
  - `removed`: deeper
1. First
2. Second

```
benchd cut --yes
  indented
```

| word | what it is |
|---|---|
| `aim` | mass of a portion |
| a \\| b | either |
"""


def lines(markdown: str, width: int = 40) -> list[str]:
    """A page as it is shown."""
    return render(parse(markdown), width)


def test_a_page_is_shown_in_plain_lines() -> None:
    assert lines(PAGE) == [
        "Cutter",
        "======",
        "",
        "A cylinder with a blade, moved by air,",
        "and a paragraph that is long enough to",
        "be wrapped; try 'benchd cut' first.",
        "",
        "IL-06 cut did not finish",
        "------------------------",
        "",
        "- home, far: the two ends of its stroke.",
        "  - removed: deeper",
        "1. First",
        "2. Second",
        "",
        "    benchd cut --yes",
        "      indented",
        "",
        "word   what it is",
        "-----  -----------------",
        "aim    mass of a portion",
        "a | b  either",
    ]


def test_a_table_wraps_its_last_column_and_where_that_is_narrow_goes_row_by_row() -> None:
    table = "| key | unit | meaning |\n|---|---|---|\n| `aim` | g | " + "mass " * 12 + "|\n"
    assert lines(table, 50) == [
        "key  unit  meaning",
        "---  ----  ---------------------------------------",
        "aim  g     mass mass mass mass mass mass mass mass",
        "           mass mass mass mass",
    ]
    assert lines(table, 30) == [
        "aim",
        "    unit: g",
        "    meaning: mass mass mass",
        "    mass mass mass mass mass",
        "    mass mass mass mass",
    ]


def test_a_heading_is_bold_only_where_asked() -> None:
    shown = render(parse("## Two words"), 40, bold=True)
    assert shown == ["\x1b[1mTwo words\x1b[0m", "---------"]


def test_a_command_in_a_sentence_is_quoted_and_stays_on_one_line() -> None:
    assert lines("Say so with `benchd clear IL-20` now.", 24) == [
        "Say so with",
        "'benchd clear IL-20'",
        "now.",
    ]
    assert lines("Its sentence: say it with 'benchd here'.", 36) == [
        "Its sentence: say it with",
        "'benchd here'.",
    ]
    assert plain("`--net NET`: and **bold**, *slanted*").replace("\x00", " ") == (
        "--net NET: and bold, slanted"
    )


def test_signs_that_a_terminal_may_lack_are_spelled_out() -> None:
    assert lines("60 ± 2 µm × 3 – 4 °C…") == ["60 +/- 2 um x 3 - 4 deg C..."]
    assert lines("[the page](job.md), [a site](https://example.org/a)") == [
        "the page, a site (https://example.org/a)"
    ]


def test_sections_rows_and_bold_items_can_be_looked_up() -> None:
    found = {entry.terms: entry.blocks for entry in entries(parse(PAGE))}
    assert set(found) == {
        ("IL-06", "cut did not finish", "IL-06 cut did not finish"),
        ("home", "far"),
        ("aim",),
        ("a | b",),
    }
    assert render(found[("aim",)], 40)[-1] == "aim   mass of a portion"
    assert len(found[("home", "far")]) == 1


def test_a_section_ends_where_the_next_of_its_level_begins() -> None:
    page = "# T\n\n## `a`, view `b`\n\none\n\n### deep\n\ntwo\n\n## 2. c\n\nthree\n"
    found = {entry.terms: entry.blocks for entry in entries(parse(page))}
    assert [block.text for block in found[("a", "b", "a, view b")]][1:] == ["one", "deep", "two"]
    assert ("c",) in found


@pytest.mark.parametrize(
    ("typed", "same"),
    [
        ("il9", "IL-09"),
        ("IL-9", "il-09"),
        ("MC 1", "MC-01"),
        ("take up", "take_up"),
        ("No Link ", "NO LINK"),
    ],
)
def test_small_differences_of_writing_do_not_count(typed: str, same: str) -> None:
    assert normal(typed) == normal(same)


WORD = st.text("abcdefghij-'.", min_size=1, max_size=12).filter(lambda word: word[0].isalpha())


@pytest.mark.slow
@given(st.lists(WORD, min_size=1, max_size=60), st.integers(24, 100))
def test_no_word_is_lost_and_no_line_too_long(words: list[str], width: int) -> None:
    for block in (
        Block("paragraph", " ".join(words)),
        Block("item", " ".join(words), 2, "-"),
        Block("table", rows=(("", ""), ("key", " ".join(words)))),
    ):
        shown = render([block], width)
        assert max(map(len, shown)) <= width
        assert " ".join(shown).split()[-len(words) :] == " ".join(words).split()
