"""The page of a day: it stands alone, holds the whole day, and is safe to open."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from benchd.analysis.day import Day, Touched, read_day
from benchd.cli import report_figures, report_page
from benchd.core import ledger
from benchd.io import paths
from benchd.io.journal_format import Entry
from protocols import messages as m
from tests.analysis import weights as make
from tests.cli.conftest import Outcome
from tests.cli.test_case_file import Page
from tests.cli.test_judging import masses_g

Benchd = Callable[..., Outcome]
HOUR_NS = 3_600_000_000_000
OPENED_US = 1_800_000_000_000_000
LATER = 5 * HOUR_NS + 90_000_000_000


def at(entry: Entry, t_ns: int) -> Entry:
    return entry._replace(t_ns=t_ns)


def day_of(path: Path, *, cleaned: bool = True) -> str:
    """A day of one tube: an odd portion, one not weighed, a trip, a cut link, notes."""
    told = make.told_of(0.05)
    fitted = '"travel_m":0.5,"fitted":["home","far","thrust","eye"]'
    told = told._replace(text=(told.text or "").replace('"travel_m":0.25', fitted))
    entries = [told, make.tube_in("T<1>")]
    for number, mass_g in enumerate(masses_g(1, 24, 0.2), 1):
        odd = {"cutter": {"start_delay_s": 0.02, "stroke_s": 0.55}} if number == 12 else {}
        entries.append(make.portion(number, number, "T<1>", **odd))
        if number != 20:
            entries.append(make.weight(number, mass_g / 1000))
    entries += [
        make.record("trip", interlock="IL-09", up=True, text="Dough <b>gone</b>."),
        make.record("trip", interlock="IL-16", up=True, text="Air is low."),
        make.record("trip", interlock="IL-09", up=False, text=""),
        make.record("link", up=False, text="the cable was pulled out"),
        make.record("gap", first=7, last=9),
        make.record("note", text="verdict: MC-12 husk", portion=12),
        make.record("series", what="ended", made=24, count=24, reason="all made"),
    ]
    fault = '{"input":"line-fault","reason":"wrong check value","count":3}'
    entries.append(Entry(1, ledger.INPUT, (), fault))
    entries.append(Entry(1, m.Boot.code, (1, 5, 3, 2), None))
    entries = [at(entry, 1_000 + n) for n, entry in enumerate(entries)]
    note = make.record("note", text="Cleaned: blade, M." if cleaned else "drier", portion=None)
    entries.append(at(note, LATER))
    made = make.write_journal(path, entries, meta={"bench": "maize"}, opened_us=OPENED_US)
    return str(made)


@pytest.mark.slow
def test_tubes_are_held_against_frozen_ones_on_the_page(benchd: Benchd, tmp_path: Path) -> None:
    path = day_of(tmp_path / "a.journal")
    assert benchd("judge", path, "--freeze").code == 0
    assert benchd("report", path, "--to", str(tmp_path / "day.html")).code == 0
    text = Page((tmp_path / "day.html").read_text()).text
    assert "Tube means" in text
    assert "g in the one frozen tube; T<1>" in text


@pytest.mark.slow
def test_the_page_tells_the_whole_day(benchd: Benchd, tmp_path: Path) -> None:
    path = day_of(tmp_path / "a.journal")
    told = benchd("report", path, "--to", str(tmp_path / "day.html"))
    assert told.code == 0, told.err
    assert "the page of bench maize, 2027-01-15" in told.out
    html = (tmp_path / "day.html").read_text()
    page = Page(html)
    text = page.text
    assert "times are UTC" in text.split("Portions")[0]
    assert "24 portions; 24 complete; 23 weighed" in text
    assert "24 of 24 made: all made" in text
    misfires = text.split("Misfires")[1].split("Interlocks that tripped")[0]
    assert "cutter stroke 550 ms" in misfires
    assert "MC-12 something hard met the blade" in misfires
    assert "A person found MC-12 husk" in misfires
    assert "benchd why a.journal --portion 12 --case" in misfires
    assert misfires.index("CAUTION") < misfires.index("Next check")
    trips = text.split("Interlocks that tripped")[1].split("Link and board")[0]
    assert re.search(r"IL-09 08:00 08:00 24 Dough <b>gone</b>\. IL-16 08:00 still up", trips)
    link = text.split("Link and board")[1].split("Cards in force")[0]
    assert "link lost: the cable was pulled out" in link
    assert "events 7 to 9 of the board never came" in link
    assert "3 lines dropped: wrong check value" in link
    assert "the board started (cause: watchdog)" in link
    assert "dough masa" in text.split("Cards in force")[1]
    assert "1 complete portion without a weight: 20." in text
    assert "08:00; cleaned 13:01 (5.0 h). LONGER than 4 h" in text
    assert html.count("<svg") >= 4
    assert text.count("about the tube's mean") >= 1


@pytest.mark.slow
def test_it_loads_nothing_runs_nothing_and_has_a_style_for_all_it_draws(
    benchd: Benchd, tmp_path: Path
) -> None:
    path = day_of(tmp_path / "a.journal", cleaned=False)
    assert benchd("report", path, "--to", str(tmp_path / "day.html")).code == 0
    html = (tmp_path / "day.html").read_text()
    assert not re.search(r"https?:|url\(|@import|<script|<link|\bon\w+=", html)
    names = {name for _, attributes in Page(html).tags for name in attributes}
    assert not names & {"href", "src", "xlink:href", "action"}
    assert "<b>gone" not in html
    for kind in set(re.findall(r'<(?:rect|line|circle|polygon|polyline) class="(\w+)"', html)):
        assert re.search(rf"\.{kind}\b[^}}]*{{", html), kind
    assert "no cleaning noted up to 13:01 (5.0 h)" in Page(html).text


@pytest.mark.slow
def test_days_benches_and_files_that_are_there(
    benchd: Benchd, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    folder = Path(paths.make_private(paths.state_dir("maize")))
    entries = [make.told_of(0.05), *make.series(masses_g(3, 2, 0.2))]
    name = "20270115T080000.000000Z-0000000a.journal"
    make.write_journal(folder / name, entries, opened_us=OPENED_US)
    told = json.loads(benchd("report", "--day", "2027-01-15", "--json").out)
    assert told["report"] == "maize-2027-01-15.html"
    assert (tmp_path / "maize-2027-01-15.html").read_text().startswith("<!doctype html>")
    assert (told["portions"], told["odd"], told["trips"]) == (2, [], 0)
    again = benchd("report", "--day", "2027-01-15")
    assert again.code != 0
    assert "is there already" in again.err
    assert benchd("report", "--day", "2027-01-15", "--overwrite").code == 0
    nothing = benchd("report", "--day", "2027-01-16")
    assert "No journal was opened on that day" in nothing.err
    assert "is no day" in benchd("report", "--day", "tomorrow").err
    both = benchd("report", str(folder / name), "--day", "2027-01-15")
    assert "not both" in both.err
    other = make.write_journal(tmp_path / "b.journal", entries, meta={"bench": "other"})
    assert "of several" in benchd("report", str(folder / name), str(other)).err


@pytest.mark.slow
def test_a_page_of_several_days_tells_the_day_with_the_time(benchd: Benchd, tmp_path: Path) -> None:
    entries = [make.told_of(0.05), *make.series(masses_g(3, 2, 0.2))]
    note = at(make.record("note", text="drier", portion=None), LATER)
    paths = [
        str(make.write_journal(tmp_path / f"{day}.journal", [*entries, note], opened_us=us))
        for day, us in ((1, OPENED_US), (2, OPENED_US + 24 * 3_600_000_000))
    ]
    assert benchd("report", *paths, "--to", str(tmp_path / "two.html")).code == 0
    text = Page((tmp_path / "two.html").read_text()).text
    assert "2027-01-15 to 2027-01-16" in text
    assert "01-15 13:01: drier" in text
    assert "01-16 13:01: drier" in text


def test_dough_stays_at_the_parts_from_a_tube_to_the_next_cleaning(tmp_path: Path) -> None:
    entries = [
        at(make.tube_in("T1"), 1),
        at(make.tube_in("T2"), HOUR_NS),
        at(make.record("note", text="cleaned: all", portion=None), 2 * HOUR_NS),
        at(make.record("note", text="cleaned: again", portion=None), 3 * HOUR_NS),
        at(make.tube_in("T3"), 4 * HOUR_NS),
    ]
    path = make.write_journal(tmp_path / "a.journal", entries, opened_us=OPENED_US)
    first, second = read_day([path]).uncleaned()
    assert hours_in(first.began.at_us) == pytest.approx(0, abs=0.01)
    assert hours_in(first.end_us) == pytest.approx(2, abs=0.01)
    assert hours_in(second.began.at_us) == pytest.approx(4, abs=0.01)
    assert second.end_us is None
    assert not first.began.before


def hours_in(wall_us: int | None) -> float:
    assert wall_us is not None
    return (wall_us - OPENED_US) / 3.6e9


def cleaning_of(path: Path) -> str:
    """What the page says of cleaning, without its marks."""
    return Page(report_page._cleaning(read_day([path]))).text


@pytest.mark.parametrize("told", ["portions", "carried"])
def test_a_tube_that_was_in_before_the_journal_is_no_all_clear(told: str, tmp_path: Path) -> None:
    opened = make.told_of(0.05)
    if told == "carried":
        carried = (opened.text or "").replace('"carry":{', '"carry":{"tube":{"id":"T1"},')
        opened = opened._replace(text=carried)
    entries = [
        at(opened, 1),
        at(make.portion(7, 7), HOUR_NS) if told == "portions" else at(opened, HOUR_NS),
        at(make.record("note", text="drier", portion=None), 3 * HOUR_NS + 1),
    ]
    path = make.write_journal(tmp_path / "a.journal", entries, opened_us=OPENED_US)
    (span,) = read_day([path]).uncleaned()
    assert span.began.before
    text = cleaning_of(path)
    assert "before the journal of 08:00 begins, since when is not known here" in text
    assert "no cleaning noted up to 11:00 (at least 3.0 h). It may be LONGER than 4 h" in text
    entries.append(at(make.record("note", text="cleaned: all", portion=None), LATER))
    path = make.write_journal(tmp_path / "b.journal", entries, opened_us=OPENED_US)
    assert "cleaned 13:01 (at least 5.0 h). LONGER than 4 h" in cleaning_of(path)


@pytest.mark.slow
def test_the_page_says_of_such_a_tube_that_it_was_in_before(benchd: Benchd, tmp_path: Path) -> None:
    entries = [at(make.told_of(0.05), 1), at(make.portion(7, 7), HOUR_NS)]
    path = make.write_journal(tmp_path / "a.journal", entries, opened_us=OPENED_US)
    assert benchd("report", str(path), "--to", str(tmp_path / "day.html")).code == 0
    text = Page((tmp_path / "day.html").read_text()).text
    assert "T1: in before this journal, 1 portion" in text


def test_a_portion_after_a_cleaning_brings_dough_to_the_parts_again(tmp_path: Path) -> None:
    entries = [
        at(make.tube_in("T1"), 1),
        at(make.record("note", text="cleaned: blade", portion=None), HOUR_NS),
        at(make.portion(1, 1), 2 * HOUR_NS),
        at(make.portion(2, 2), 3 * HOUR_NS),
    ]
    path = make.write_journal(tmp_path / "a.journal", entries, opened_us=OPENED_US)
    first, second = read_day([path]).uncleaned()
    assert hours_in(first.end_us) == pytest.approx(1, abs=0.01)
    assert hours_in(second.began.at_us) == pytest.approx(2, abs=0.01)
    assert second.end_us is None


def test_without_a_tube_nothing_is_said_of_what_was_there_before(tmp_path: Path) -> None:
    path = make.write_journal(tmp_path / "a.journal", [make.told_of(0.05)], opened_us=OPENED_US)
    assert read_day([path]).uncleaned() == []
    assert (
        "whether dough of an earlier one is still at the parts is not" in cleaning_of(path).lower()
    )


def test_dough_at_a_time_that_is_not_known_is_no_all_clear() -> None:
    day = Day()
    day._touched.append(Touched(None))
    assert "since when, and whether they were cleaned, is not known" in report_page._cleaning(day)


def test_the_strip_shows_each_portion_by_its_kind() -> None:
    from benchd.analysis.weighed import Made

    def made(number: int, mass_kg: float | None, **changes: object) -> Made:
        data: dict[str, object] = {
            "bench": "maize", "number": number, "tube": "T1", "loading": 1, "index": number,
            "group": 1, "dough": "masa", "aim_kg": 0.03, "recipe": (None, None, None),
            "kind": "normal", "outcome": "complete", "position_m": None, "travel_m": None,
            "tolerance": None, "by_hand": {}, "signals": {}, "mass_kg": mass_kg,
        }  # fmt: skip
        return Made(**(data | changes))  # type: ignore[arg-type]

    ones = [
        made(1, 0.0315, kind="first"),
        made(2, 0.030),
        made(3, 0.024),
        made(4, None),
        made(5, None, outcome="tripped"),
    ]
    svg = report_figures.strip(ones, [0.05] * 5, {3})
    assert (svg.count('"open"'), svg.count('"bar"'), svg.count('"cross"')) == (1, 2, 2)
    assert svg.count('"odd"') == 1
    assert ">?</text>" in svg
    # Half the length up at the tolerance, and never beyond the end.
    open_bar = re.search(r'"open" x="[\d.]+" y="([\d.]+)" width="[\d.]+" height="([\d.]+)"', svg)
    assert open_bar is not None
    assert float(open_bar[2]) == pytest.approx(8 + 1.5, abs=0.1)
    assert report_figures.strip([], [], set()) == ""
    rows = report_figures.strip([made(n, 0.03) for n in range(1, 1001)], [0.05] * 1000, set())
    assert rows.count('"bar"') == report_figures.MOST
