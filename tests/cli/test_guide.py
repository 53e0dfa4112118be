"""`benchd guide`: everything with a name can be looked up, and every example is understood."""

from __future__ import annotations

import os
import pty
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from benchd.cli import guide_interlocks, guide_pages, guide_text
from benchd.cli.cautions import GENERAL
from benchd.cli.command import Usage
from benchd.cli.guide_pages import Topic
from benchd.cli.guide_tables import describe, parser_of
from benchd.cli.table import COMMANDS
from benchd.config.bench_keys import BENCH_KEYS
from benchd.config.dough import DOUGH_KEYS
from benchd.core import ledger
from benchd.core.interlocks import RULE_BY_NUMBER
from benchd.core.proofs import PROOFS
from protocols.codes import INTERLOCKS, REFUSALS
from protocols.messages import MESSAGES, BoardMessage
from sim.controls import CONTROLS
from sim.faults import KINDS
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]
TOPICS = guide_pages.topics()
INDEX = guide_pages.index()
EVENTS = [tag for tag, spec in MESSAGES.items() if issubclass(spec.cls, BoardMessage)]

NAMED: dict[str, list[str]] = {
    "interlocks": [row.code for row in INTERLOCKS],
    "refusals": [row.word for row in REFUSALS],
    "events": [*EVENTS, *(f"line_{tag}" for tag in EVENTS)],
    "journal": list(ledger.RECORDS),
    "bench-card": [key.path for key in BENCH_KEYS],
    "dough-card": [key.path for key in DOUGH_KEYS],
    "commands": [row.name for row in COMMANDS],
    "simulator": list(KINDS),
    "misfires": [f"MC-{number:02d}" for number in range(1, 31)],
}
"""Page to what must be found on it."""


def found_on(page: str, words: str) -> list[guide_text.Entry]:
    """The entries of one page that these words find."""
    return [one.entry for one in guide_pages.find(words, INDEX) if one.topic == page]


@pytest.mark.slow
@pytest.mark.parametrize("page", NAMED)
def test_everything_with_a_name_is_found_on_its_page(page: str) -> None:
    for name in NAMED[page]:
        assert found_on(page, name), f"{name} does not stand on the page {page}"


def test_the_words_of_the_trade_and_every_state_stand_in_the_glossary() -> None:
    for word in (
        *("bench", "board", "feed", "jog", "cutter", "home", "far", "eye", "teach", "thrust"),
        *("tube", "portion", "phases", "take-up", "push", "draw-back", "settle", "cut", "return"),
        *("relieve", "series", "bench card", "dough card", "commissioning sheet", "permissive"),
        *("trip", "interlock", "lease", "journal", "misfire", "neighbour sum", "case file"),
        *("NOT COMMISSIONED", "DRIVE OFF", "READY", "NUDGING", "PORTIONING", "WAITING", "PAUSED"),
        *("TRIPPED", "NO LINK"),
    ):
        assert found_on("glossary", word), word


def test_an_interlock_says_what_it_watches_says_means_and_how_it_is_cleared() -> None:
    for row in INTERLOCKS:
        (entry,) = found_on("interlocks", row.code)
        text = "\n".join(block.text for block in entry.blocks)
        if row.place == "daemon" and row.number not in RULE_BY_NUMBER:
            assert "nothing watches it in this version" in text
            continue
        for label in ("Watches", "Says, for example", "To clear it", "Where the sensor is not"):
            assert re.search(rf"^{label}[^:]*: \S", text, re.MULTILINE), (row.code, label)
        for statement, word in PROOFS.get(row.number, ()):
            assert f"`{word}`: {statement}" in text


def test_every_interlock_of_the_board_has_its_words_and_only_those() -> None:
    on_board = {row.number for row in INTERLOCKS if row.place != "daemon"}
    assert set(guide_interlocks.WATCHES) == on_board
    assert set(guide_interlocks.ON_BOARD_UNFITTED) <= on_board


def test_an_interlock_names_the_keys_of_the_card_that_set_it() -> None:
    keys = {row.code: guide_interlocks.card_keys(row) for row in INTERLOCKS}
    assert keys["IL-09"] == ["nozzle.first_flow", "nozzle.gap"]
    assert keys["IL-11"] == ["limits.ease", "limits.thrust"]
    assert keys["IL-06"] == ["cutter.cut_time", "cutter.longest"]
    assert keys["IL-01"] == []


def test_a_card_key_says_range_unit_and_what_stands_for_it() -> None:
    keys = {key.path: describe(key) for key in BENCH_KEYS + DOUGH_KEYS}
    assert keys["feed.bore"].endswith(": 10 to 120 mm; must be given")
    assert keys["feed.still"].endswith(": 0 to 5000 ms; 100 ms if left out")
    assert keys["watch.odd_share"].endswith(": 0.5 to 50 %; 8 % if left out")
    assert keys["limits.thrust"].endswith("; must be given; only where `thrust` is fitted")
    assert keys["cutter.rest"].endswith(": home or far; must be given")
    assert keys["stroke"].endswith("; may be left out")
    names = ("D2", "D3", "D4", "A0", "A1", "reset")
    many = DOUGH_KEYS[0]._replace(kind="choice", choices=names)
    assert ": D2 to D4, A0 to A1, reset; " in describe(many)


def test_every_control_of_the_simulator_stands_on_its_page_and_in_its_help(
    benchd: Benchd,
) -> None:
    shown = benchd("simulate", "--help").out
    page = benchd("guide", "simulator").out
    controls = [line.split()[0] for line in CONTROLS.splitlines() if line[0] != " "]
    assert controls == ["press", "load", "reset", "unplug", "plug"]
    for control in controls:
        assert re.search(rf"^{control}\b", shown, re.MULTILINE)
        assert re.search(rf"^{control}\b", page, re.MULTILINE)


# How it is shown.


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: topic.name)
def test_a_page_fits_a_terminal_and_is_plain_text(topic: Topic) -> None:
    blocks = guide_pages.blocks(topic)
    assert blocks[0].kind == "heading"
    assert blocks[0].level == 1
    code = {f"    {one}" for block in blocks if block.kind == "code" for (one,) in block.rows}
    for width in (80, 40):
        for line in guide_text.render(blocks, width):
            assert line.isascii()
            assert not re.search(r"\*\*|`|\x1b|\x00", line), line
            if width == 80:
                assert len(line) <= 80, line
            else:
                assert len(line) <= 40 or line in code or " " not in line.strip(" '-|.,;:"), line


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: topic.name)
def test_no_sign_of_a_page_is_lost_on_a_plain_terminal(topic: Topic) -> None:
    source = guide_pages.markdown(topic)
    shown = "\n".join(guide_text.render(guide_pages.blocks(topic), 80))
    assert shown.count("?") <= source.count("?")


def test_alone_it_lists_every_page_with_a_line_of_its_own(benchd: Benchd) -> None:
    shown = benchd("guide")
    assert shown.code == 0
    for topic in TOPICS:
        assert re.search(rf"^{topic.name} +\S.*$", shown.out, re.MULTILINE)
        assert topic.summary in shown.out
    assert len(shown.out.splitlines()) <= 24


def test_every_page_in_the_folder_is_listed() -> None:
    folder = Path(guide_pages.__file__).parents[1] / "guide"
    assert {path.stem for path in folder.glob("*.md")} <= {topic.name for topic in TOPICS}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["job"], "The whole job, in order"),
        (["Bench", "card"], "The bench card"),
        (["IL-09"], "IL-09 dough gone"),
        (["il9"], "IL-09 dough gone"),
        (["dough", "gone"], "IL-09 dough gone"),
        (["MC-12"], "food safety"),
        (["feed.bore"], "10 to 120 mm"),
        (["line_phase"], "phase, view line_phase"),
        (["tube", "in"], "--record-only"),
        (["benchd jog"], "benchd jog +2.5mm"),
        (["no", "link"], "all values are old"),
        (["journal", "weight"], "what was typed"),
        (["busy"], "The bench is busy"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_a_word_goes_straight_to_its_page_or_entry(
    benchd: Benchd, words: list[str], says: str
) -> None:
    shown = benchd("guide", *words)
    assert shown.code == 0, shown.err
    assert says in shown.out


def test_an_entry_names_the_page_it_stands_on(benchd: Benchd) -> None:
    shown = benchd("guide", "portion").out
    assert re.findall(r"^\[(.+)\]$", shown, re.MULTILINE) == ["commands", "journal", "glossary"]


def test_a_page_that_shares_its_name_with_a_command_says_so(benchd: Benchd) -> None:
    assert benchd("guide", "journal").out.endswith("benchd guide commands journal\n")
    assert "benchd journal show" in benchd("guide", "commands", "journal").out


@pytest.mark.parametrize(
    ("typed", "near"), [("interlock s", "interlocks"), ("IL-31", "IL-3"), ("relive", "relieve")]
)
def test_an_unknown_word_names_the_nearest_and_ends_with_2(
    benchd: Benchd, typed: str, near: str
) -> None:
    shown = benchd("guide", typed)
    assert shown.code == 2
    assert f"The guide has nothing called '{typed}'; the nearest: " in shown.err
    assert near in shown.err
    assert shown.out == ""


@pytest.mark.slow
def test_lines_follow_the_width_of_the_terminal(
    benchd: Benchd, monkeypatch: pytest.MonkeyPatch
) -> None:
    for columns, longest in (("50", 50), ("300", 100), ("3", 24)):
        monkeypatch.setenv("COLUMNS", columns)
        shown = benchd("guide", "MC-01").out
        assert longest - 14 < max(map(len, shown.splitlines())) <= longest


def in_terminal(words: list[str], folder: Path, **environment: str) -> str:
    """What a terminal of 80x24 shows of a command."""
    master, slave = pty.openpty()
    kept = {k: v for k, v in os.environ.items() if k not in ("PAGER", "NO_COLOR", "COLUMNS")}
    process = subprocess.Popen(
        [sys.executable, "-m", "benchd", *words],
        stdout=slave,
        stdin=subprocess.DEVNULL,
        cwd=folder,
        env={**kept, "TERM": "xterm", "PYTHONPATH": os.fspath(ROOT), **environment},
    )
    os.close(slave)
    shown = b""
    while True:
        try:
            data = os.read(master, 65_536)
        except OSError:  # The other end of a pty has gone.
            break
        if not data:
            break
        shown += data
    os.close(master)
    assert process.wait(30) == 0
    return shown.decode().replace("\r\n", "\n")


ROOT = Path(__file__).parents[2]


@pytest.mark.slow
def test_a_pager_is_used_for_what_a_terminal_cannot_hold(tmp_path: Path) -> None:
    pager = "tee paged.txt"
    assert "Glossary\n====" in in_terminal(["guide", "glossary"], tmp_path, PAGER=pager)
    assert "\x1b" not in (tmp_path / "paged.txt").read_text()
    (tmp_path / "paged.txt").unlink()
    in_terminal(["guide", "IL-03"], tmp_path, PAGER=pager)
    assert not (tmp_path / "paged.txt").exists()
    gone = in_terminal(["guide", "glossary"], tmp_path, PAGER="no-such-pager")
    assert "simulated bench" in gone


@pytest.mark.slow
def test_headings_are_bold_on_a_terminal_unless_that_is_unwanted(tmp_path: Path) -> None:
    assert "\x1b[1mIL-03" in in_terminal(["guide", "IL-03"], tmp_path)
    assert "\x1b" not in in_terminal(["guide", "IL-03"], tmp_path, NO_COLOR="1")
    assert "\x1b" not in in_terminal(["guide", "IL-03"], tmp_path, TERM="dumb")


# What the pages say.


def examples() -> list[tuple[str, str]]:
    """Every command that a page shows, in a block or in a sentence, with its page."""
    shown: list[tuple[str, str]] = []
    for topic in TOPICS:
        text = guide_pages.markdown(topic)
        blocks = re.findall(r"^```\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
        found = [line for block in blocks for line in block.splitlines()]
        prose = re.sub(r"^```\n.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
        prose = " ".join(prose.split())
        found += re.findall(r"`([^`]+)`", prose) + re.findall(r"'(benchd [^']+)'", prose)
        shown += [(topic.name, one) for one in found if one.startswith("benchd ")]
    return sorted({one for one in shown if "COMMAND" not in one[1]})


@pytest.mark.parametrize(("page", "typed"), examples(), ids=lambda value: value[:40])
def test_every_example_is_understood(page: str, typed: str) -> None:
    name, *words = shlex.split(typed)[1:]
    row = next((row for row in COMMANDS if row.name == name), None)
    assert row is not None, f"{page}: there is no command '{name}'"
    if not words and name in NAMED_ALONE:
        return
    words = [f" {word}" if re.match(r"-[\d.,]", word) else word for word in words]
    try:
        parser_of(row).parse_args(words)
    except Usage as error:
        raise AssertionError(f"{page}: '{typed}': {error}") from None


NAMED_ALONE = {
    *("serve", "simulate", "here", "jog", "tube", "set", "clear", "portion", "series", "weigh"),
    *("journal", "size"),
}
"""Commands that a sentence may name without what must follow them."""


def test_the_pages_have_many_examples() -> None:
    assert len(examples()) > 60


def test_every_topic_and_word_that_a_page_points_to_is_there() -> None:
    for page, typed in examples():
        words = shlex.split(typed)[1:]
        if words[0] == "guide" and len(words) > 1:
            word, inside = " ".join(words[1:]), " ".join(words[2:])
            assert (
                guide_pages.topic_of(word)
                or guide_pages.find(word, INDEX)
                or found_on(words[1], inside)
            ), (page, typed)


def test_the_cautions_say_what_every_screen_says() -> None:
    page = next(topic for topic in TOPICS if topic.name == "cautions")
    text = " ".join(guide_pages.markdown(page).split())
    assert GENERAL in text
    assert "It is not a safety device" in text
    for head in ("Stored force", "Blade", "Air", "Pinch", "Electricity", "Raw dough", "Unattended"):
        assert f"## {head} " in text
