"""The case file: a page that stands alone, holds what was found, and is safe to open."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from benchd.analysis.case_times import Lane
from benchd.analysis.notes import Noted
from benchd.cli import case_figures, case_file
from benchd.cli.command import Usage
from benchd.diagnose.case import Bench
from benchd.diagnose.signals import SIGNALS
from sim.operator import weigh_all
from tests.analysis import weights as make
from tests.analysis.bench_journal import written
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.cli.test_explaining import SLOW_CUT, journal
from tests.diagnose.portions import tube
from tests.scenarios.conftest import MASA, ready_world

Benchd = Callable[..., Outcome]
VOID = {"meta", "br", "hr"}
SHAPES = {"rect", "line", "circle", "polygon", "polyline"}


class Page(HTMLParser):
    """A page that was read: its text, its tags, and whether every tag that opens is closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._open: list[str] = []
        self.feed(html)
        assert self._open == []
        self.text = " ".join(self.text.split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in SHAPES
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self._open[-1:] != ["style"]:
            self.text += f" {data}"


def of(verdict: str = "", notes: tuple[Noted, ...] = (), **changes: Any) -> str:
    """The page of one of 14 portions, that one with changed signals."""
    even = tube(14)
    odd = even[11]
    signals: dict[str, float | None] = odd.signals | changes
    even[11] = type(odd)(
        **{name: getattr(odd, name) for name in odd.__struct_fields__} | {"signals": signals}
    )
    parts = frozenset(signal.part for signal in SIGNALS.values())
    bench = Bench(even, parts)
    one = bench.portions[11]
    around = case_file_around(notes)
    names = ["a.journal"]
    made = case_file.Page(bench.case(one), even, around, names, verdict, 0, "0.1")
    return case_file.page(made)


def case_file_around(notes: tuple[Noted, ...]) -> Any:
    from benchd.analysis.case_times import Around

    return Around("maize", {"dough": "<script>alert(1)</script>"}, (), notes)


def test_what_people_typed_is_text_and_nothing_else() -> None:
    notes = (
        Noted(0, '<img src=x onerror="x">'),
        Noted(None, "verdict: <b>mine</b>\x07\u202eback"),
    )
    html = of('"><script>', notes)
    page = Page(html)
    assert not {"script", "img", "b"} & {tag for tag, _ in page.tags}
    assert '<img src=x onerror="x">' in page.text
    assert "<b>mine</b>  back".replace("  ", " ") in page.text
    assert "<script>alert(1)</script>" in page.text
    assert "\x07" not in html
    assert "\u202e" not in html


def test_the_page_loads_nothing_and_runs_nothing() -> None:
    html = of(stroke_s=0.55)
    assert not re.search(r"https?:|url\(|@import|<script|<link|\bon\w+=", html)
    page = Page(html)
    names = {name for _, attributes in page.tags for name in attributes}
    assert not names & {"href", "src", "xlink:href", "action"}
    metas = [attributes for tag, attributes in page.tags if tag == "meta"]
    assert any("default-src 'none'" in (one.get("content") or "") for one in metas)
    assert any(one.get("name") == "viewport" for one in metas)
    for words in ("prefers-color-scheme: dark", "@media print", "max-width: 30rem"):
        assert words in html


def test_every_style_of_a_drawing_is_there() -> None:
    html = of(stroke_s=0.55)
    used = set(re.findall(r'<(?:rect|line|circle|polygon) class="(\w+)"', html))
    used |= {"tone0", "tone1", "outline", "edge"}
    for kind in used:
        assert re.search(rf"\.{kind}\b[^}}]*{{", html), kind


def test_it_says_what_was_found_and_what_for_and_against() -> None:
    text = Page(of(stroke_s=0.55)).text
    assert "cutter stroke 550 ms, usual" in text
    assert text.index("CAUTION") < text.index("Next check")
    for words in ("For", "Missing", "Next check", "Remedy", "CAUTION", "Usual stroke?"):
        assert words in text
    assert "gauge at zero" in text.split("What was asked")[0]
    assert "a person decides" in text


def test_an_even_portion_gets_no_all_clear() -> None:
    text = Page(of()).text
    assert "Can't tell: nothing that was found points to one cause." in text
    assert "Treat pressure, blade and drive as live all the same." in text


def test_without_a_verdict_there_is_room_for_one() -> None:
    page = Page(of(stroke_s=0.55))
    assert "Nobody has said yet" in page.text
    assert "Name and date" in page.text
    assert "Nobody has said yet" not in Page(of("blade was dull")).text


def test_verdicts_of_the_journal_and_of_now_stand_beside_what_was_named() -> None:
    notes = (Noted(60_000_000, "Verdict: mc-12 husk"), Noted(None, "drier dough"))
    text = Page(of("MC-26 the laptop slept", notes, stroke_s=0.55)).text
    found = text.split("What a person found")[1]
    assert "mc-12 husk noted 1970-01-01 00:01 UTC; among the causes named above" in found
    assert "MC-26 the laptop slept given with this file" in found
    assert "; not among the causes named above" in found
    assert "time not known: drier dough" in found.split("Notes")[1]
    # Said again it stands once.
    assert Page(of("mc-12 husk", notes)).text.count("mc-12 husk") == 1


@pytest.mark.parametrize("text", ["", "  ", "MC-99 elves", "MC-1"])
def test_a_verdict_says_something_and_names_no_cause_that_is_not_there(text: str) -> None:
    with pytest.raises(Usage):
        case_file.checked_verdict(text)


def test_the_marked_one_is_marked_once_and_lies_above_the_usual_ones() -> None:
    even = tube(14)
    svg = case_figures.along_tube(even, even[4], "mass_kg", None)
    assert svg.count('class="odd"') == 1
    assert svg.count("<circle") == 13
    heavy = [*even[:4], type(even[4])(**fields(even[4], mass_kg=0.05)), *even[5:]]
    svg = case_figures.along_tube(heavy, heavy[4], "mass_kg", None)
    top = float(re.findall(r'points="[\d.]+,([\d.]+)', svg)[0])
    assert top < min(float(y) for y in re.findall(r'cy="([\d.]+)"', svg))
    assert case_figures.along_tube(even[:1], even[0], "mass_kg", None) == ""


def fields(one: Any, **signals: float) -> dict[str, Any]:
    told = {name: getattr(one, name) for name in one.__struct_fields__}
    return told | {"signals": one.signals | signals}


def test_a_time_line_is_as_wide_as_its_time() -> None:
    mine = Lane(12, (("push", 0.0, 2.0), ("cut", 2.0, 4.0)), ((2.0, "valve on"), (2.1, "far")))
    other = Lane(11, (("push", 0.0, 2.0), ("cut", 2.0, 3.0)), ((2.0, "valve on"),))
    svg = case_figures.time_lines([mine, other])
    widths = [float(w) for w in re.findall(r'class="tone\d"[^>]*width="([\d.]+)"', svg)]
    assert widths == pytest.approx([166, 166, 166, 83])
    assert svg.count('class="edge"') == 3
    assert svg.count('class="outline"') == 1
    assert case_figures.time_lines([]) == ""


@pytest.mark.slow
def test_the_command_writes_the_case_of_a_bench_at_work(benchd: Benchd, tmp_path: Path) -> None:
    world = ready_world("inclusion@8", seed=7)
    world.ask("series", dough=MASA, count=11, every_s=8.0)
    weigh_all(world)
    world.ask("note", text="verdict: MC-12 <husk>", portion=8)
    path = written(tmp_path / "a.journal", world)
    file = tmp_path / "case.html"
    shown = benchd("why", str(path), "--portion", "8", "--case", str(file))
    assert (shown.code, shown.err) == (0, "")
    text = Page(file.read_text("utf-8")).text
    assert "push 12.70 mm" in text
    assert "valve on" in text.split("In time")[1]
    assert "In time 8 T P D S C R 1 " in text
    assert re.search(r"cut 0\.\d{3} s 0\.\d{3} s 0\.\d{3} s", text)
    assert "MC-12 <husk> noted 2027-01-15" in text
    # A page that may bear somebody's hand is not replaced unasked.
    again = benchd("why", str(path), "--portion", "8", "--case", str(file))
    assert (again.code, "--overwrite" in again.err) == (1, True)


@pytest.mark.slow
def test_a_verdict_is_noted_where_its_daemon_runs(
    benchd: Benchd, daemon: FakeDaemon, tmp_path: Path
) -> None:
    path = journal(tmp_path / "a.journal", cutter=SLOW_CUT["cutter"])
    file = str(tmp_path / "case.html")
    words = (
        "why",
        path,
        "--portion",
        "12",
        "--case",
        file,
        "--overwrite",
        "--verdict",
        "MC-12 ice",
    )
    daemon.answers["note"] = {"noted": True}
    status = daemon.answers["status"]
    assert isinstance(status, dict)
    daemon.answers["status"] = status | {"portion": 24}
    assert "as a note in the journal" in benchd(*words).out
    assert daemon.asked[-1] == ("note", {"text": "verdict: MC-12 ice", "portion": 12})
    told = json.loads(benchd(*words, "--json").out)
    assert (told["verdict"], told["noted"], told["case_file"]) == ("MC-12 ice", True, file)
    daemon.answers["note"] = Refusal(-32001, "The journal is not written.")
    assert "in no journal: The journal is not written." in benchd(*words).out
    # Another run of the bench has other portions under these numbers, or none.
    daemon.answers["status"] = status | {"portion": 3}
    assert "in no journal: the bench maize that runs has made no portion 12" in benchd(*words).out


@pytest.mark.slow
def test_a_verdict_without_a_daemon_stands_in_the_file_alone(
    benchd: Benchd, tmp_path: Path
) -> None:
    path = make.write_journal(tmp_path / "a.journal", make.series([30.0, 30.1, 29.9]))
    file = tmp_path / "case.html"
    shown = benchd("why", str(path), "--portion", "2", "--case", str(file), "--verdict", "fine")
    assert "in no journal: no daemon of bench maize runs." in shown.out
    text = Page(file.read_text("utf-8")).text
    assert "The journal has no events of this portion" in text
    assert "fine given with this file" in text


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--case", "x.html"), "add --portion"),
        (("--portion", "2", "--verdict", "MC-12"), "--case FILE"),
        (("--portion", "2", "--case", "x.html", "--verdict", "MC-77"), "no cause MC-77"),
    ],
)
def test_what_does_not_go_together_is_said(
    benchd: Benchd, words: tuple[str, ...], says: str
) -> None:
    shown = benchd("why", *words)
    assert shown.code == 2
    assert says in shown.err
