"""The screen *Why* on the study process and a journal of a simulated bench."""

from __future__ import annotations

import os
import string
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchd.cli.run import run
from tests.analysis.bench_journal import at_work, written
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tests.tui.rig import said_in, screens
from tests.tui.snapshots import STUDY
from tests.tui.snapshots import study as study_of_a_frozen_portion
from tests.waiting import WAIT_S, until
from tui import frame
from tui.app import Screens
from tui.screens.journal import Journal
from tui.screens.why import REPLAY, Why
from tui.study import Study, Unanswered

pytestmark = pytest.mark.slow

NAME = "20270115T080000.000000Z-0000000b.journal"
ROOT = str(Path(__file__).parents[2])


@pytest.fixture(scope="module")
def journals(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one journal of four portions. Nobody may change it."""
    folder = tmp_path_factory.mktemp("bench")
    written(folder / NAME, at_work())
    return folder


@pytest.fixture(autouse=True)
def _patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """The daemon of these tests tells its status once: no line about its silence takes room."""
    monkeypatch.setattr(frame, "SILENT_S", WAIT_S)


@pytest.fixture
def study(journals: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, ...]:
    """The command line of its study process."""
    path = os.pathsep.join(filter(None, (ROOT, os.environ.get("PYTHONPATH"))))
    monkeypatch.setenv("PYTHONPATH", path)
    return (sys.executable, "-P", "-m", "benchd.cli.studying", str(journals))


def page(app: Screens) -> Why:
    assert isinstance(app.page, Why)
    return app.page


async def drawn(app: Screens, number: int) -> None:
    """Wait until a portion and its causes have come."""
    await until(lambda: page(app)._number == number and page(app)._told and page(app)._why)


def row(app: Screens, label: str) -> str:
    return next(line for line in app.text().splitlines() if line.startswith(f"{label} "))


def commanded(capsys: pytest.CaptureFixture[str], *words: str) -> list[str]:
    """What a command says."""
    assert run(words) == 0
    return capsys.readouterr().out.splitlines()


def shown_at(app: Screens) -> list[str]:
    """The body of the screen below its first line, without what is blank at its end."""
    lines = app.text().splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("-- ")) + 2
    last = next(n for n in range(first, len(lines)) if lines[n] == "-" * app.size.width)
    return "\n".join(lines[first:last]).rstrip().splitlines()


async def test_the_causes_of_a_portion_are_those_of_the_command(
    peer: FakeDaemon,
    socket_at: str,
    study: tuple[str, ...],
    journals: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    command = commanded(capsys, "why", str(journals / NAME), "--portion", "4")
    async with screens(socket_at, "v", study=study, size=(80, 60)) as (app, pilot):
        await drawn(app, 4)
        await pilot.press("d")
        await until(lambda: page(app)._case)
        assert shown_at(app) == command
        await pilot.press("down", "n", "3", "enter")
        await until(lambda: "Portion 3 of tube" in app.text())


async def test_judge_says_what_the_command_says_and_scrolls(
    peer: FakeDaemon,
    socket_at: str,
    study: tuple[str, ...],
    journals: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    command = commanded(capsys, "judge", str(journals / NAME))
    async with screens(socket_at, "z", study=study, size=(80, 80)) as (app, _):
        await until(lambda: "Verdict: CAN'T TELL" in app.text())
        assert shown_at(app) == command
    async with screens(socket_at, "z", study=study, size=(100, 24)) as (app, pilot):
        await until(lambda: "Verdict: CAN'T TELL" in app.text())
        assert f"Journal {NAME}; lines 1 to " in app.text()
        await pilot.press("down", "down")
        assert "; lines 3 to " in app.text()
        await pilot.press("up", "pagedown", "pageup")
        assert "; lines 1 to " in app.text()
        await pilot.press("pagedown")
        assert "; lines 1 to " not in app.text()
        await pilot.press("o")
        await until(lambda: f"> {NAME}  closed, " in app.text())
        await pilot.press("up", "enter")
        await until(lambda: "Verdict: CAN'T TELL" in app.text())
        await pilot.press("o", "escape", "y")
        await until(lambda: "Verdict: CAN'T TELL" in app.text())
    assert peer.methods() == []


async def test_the_journal_screen_reads_a_past_journal_by_kind_and_word(
    peer: FakeDaemon, socket_at: str, study: tuple[str, ...]
) -> None:
    async with screens(socket_at, "j", "o", study=study) as (app, pilot):
        await until(lambda: f"> {NAME}  closed, " in app.text())
        await pilot.press("enter")
        await until(lambda: "portion 4 " in app.text())
        assert f"everything, past journal {NAME}" in app.text()
        newest = 'note     said "drier"'
        assert newest in app.text()
        await pilot.press("pageup", "up")
        assert newest not in app.text()
        await pilot.press("end")
        assert newest in app.text()
        for _ in range(4):
            await pilot.press("l")
        await until(lambda: "portion 1: 29.8 g" in app.text())
        assert "portion 3 normal" not in app.text()
        await pilot.press("n", *"30.1", "enter")
        await until(lambda: "portion 3: 30.1 g" in app.text())
        assert "portion 1: 29.8 g" not in app.text()
        assert "weight with '30.1', past journal" in app.text()
        await pilot.press("escape")
        assert "weight with '30.1', since these screens opened" in app.text()
        await pilot.press("o", "escape")
        assert "since these screens opened" in app.text()
    assert peer.methods() == []


async def test_the_last_portion_is_shown_on_its_band_with_its_causes(
    peer: FakeDaemon, socket_at: str, study: tuple[str, ...]
) -> None:
    async with screens(socket_at, "v", study=study) as (app, _):
        await drawn(app, 4)
        lines = app.text().splitlines()
        assert (len(lines), max(map(len, lines)) <= 80, app.text().isascii()) == (24, True, True)
        assert f"{REPLAY}; portion 4; normal, complete; not weighed" in lines
        for label in ("Phase", "Feed", "Thrust", "Eye", "Valve", "Air", "Link", "Time"):
            row(app, label)
        assert row(app, "Time").endswith("+0.000 s")
        assert row(app, "Event").endswith("push begins")
        assert "of 2 good ones, at the push" in app.text()
        assert "Cause: can't tell" in app.text()


async def test_it_is_stepped_by_time_by_event_and_by_portion(
    peer: FakeDaemon, socket_at: str, study: tuple[str, ...]
) -> None:
    async with screens(socket_at, "v", study=study) as (app, pilot):
        await drawn(app, 4)
        await pilot.press("right", "right", "left")
        assert row(app, "Time").endswith("+0.010 s")
        await pilot.press("e")
        assert row(app, "Event").endswith("dough seen")
        await pilot.press("b", "b")
        assert row(app, "Event").endswith("take-up begins")
        await pilot.press("a")
        assert row(app, "Event").endswith("take-up begins")
        assert "at the cut" in app.text()
        await pilot.press("up")
        await drawn(app, 3)
        # The same moment beside the cut of another portion.
        assert row(app, "Time").split()[-2].startswith("-3.3")
        assert "; 30.1 g;" in app.text()
        await pilot.press("n", "2", "enter")
        await drawn(app, 2)
        await pilot.press("n", "9", "enter")
        assert "There is no portion 9 in this journal: it has 1 to 4." in app.text()


async def test_that_nothing_moves_is_always_in_view(
    peer: FakeDaemon, socket_at: str, study: tuple[str, ...]
) -> None:
    async with screens(socket_at, "v", study=study) as (app, pilot):
        await drawn(app, 4)
        for keys in ("x", "d", "d", "o", "enter", "n"):
            await pilot.press(keys)
            assert REPLAY in app.text(), keys
        await pilot.press("escape", "o")
        assert f"> {NAME}  closed, 1660 entries" in app.text()
        await pilot.press("escape", "d")
        await until(lambda: "Held against nothing" in app.text())
        await pilot.press("escape")
        row(app, "Thrust")


async def test_no_key_asks_the_bench_for_anything_but_stop(
    peer: FakeDaemon, socket_at: str, study: tuple[str, ...]
) -> None:
    """Every key that stays on this screen, with what each of them opens."""
    others = set("wftsgzicjq")
    keys = [sign for sign in string.ascii_lowercase + string.digits if sign not in others]
    keys += ["left", "right", "up", "down", "plus", "minus", "home", "end", "enter", "pageup"]
    async with screens(socket_at, "v", study=study) as (app, pilot):
        await drawn(app, 4)
        for key in keys:
            await pilot.press(key)
            assert app.model.question is None, key
            await pilot.press("enter")
            if page(app)._form is not None or page(app)._shows != "lanes":
                await pilot.press("escape")
        assert peer.methods() == []
        await pilot.press("n", "space")
        await until(lambda: peer.methods() == ["stop"])


async def test_the_bench_as_it_is_now_stays_on_top(
    peer: FakeDaemon, socket_at: str, study: tuple[str, ...]
) -> None:
    peer.news = [("status", told(state="PORTIONING", phase="push"))]
    async with screens(socket_at, "v", study=study) as (app, _):
        await drawn(app, 4)
        assert app.text().startswith("PORTIONING")


async def test_without_a_journal_it_says_so(
    peer: FakeDaemon, socket_at: str, study: tuple[str, ...], tmp_path: Path
) -> None:
    async with screens(socket_at, "v", study=(*study[:-1], str(tmp_path / "no"))) as (app, _):
        await until(lambda: "There is no journal of this bench yet." in app.text())
        assert REPLAY in app.text()


def test_an_answer_about_another_portion_comes_too_late() -> None:
    asked: list[tuple[str, Any, Callable[[Any], None], Callable[[], None]]] = []
    desk = SimpleNamespace(study=lambda *one: asked.append(one), say=str)
    why = Why(desk)
    why._choose(3)
    why._choose(2)
    why._show("causes")
    for _, given, take, _ in asked:
        if given["portion"] == 3:
            take(["of portion 3"])
    assert (why._told, why._why, why._case) == (None, [], [])
    asked[-1][2](["of portion 2"])
    assert why._case == ["of portion 2"]


def test_an_answer_that_was_asked_for_anew_is_not_taken_twice() -> None:
    asked: list[Callable[[Any], None]] = []
    desk = SimpleNamespace(study=lambda _ask, _given, take, _failed: asked.append(take), say=str)
    journal = Journal(desk)
    journal._journal = "a.journal"
    journal._with(["husk"])
    journal._with(["husk"])
    for take in asked:
        take({"lines": [[1, "one"], [2, "two"]], "from": None})
    assert journal._entries == [(1, "one"), (2, "two")]


async def test_a_study_that_ended_is_said_and_started_anew(study: tuple[str, ...]) -> None:
    one = Study(study)
    try:
        assert [row["name"] for row in await one.ask("journals", {})] == [NAME]
        process = one._process
        assert process is not None
        process.terminate()
        process.wait(10)
        with pytest.raises(Unanswered, match="started anew"):
            await one.ask("journals", {})
        assert len(await one.ask("portions", {"journal": NAME})) == 4
        with pytest.raises(Unanswered, match="There is no portion 9"):
            await one.ask("why", {"journal": NAME, "portion": 9})
        process = one._process
    finally:
        one.close()
    assert process is not None
    assert process.returncode is not None


@pytest.mark.parametrize("not_watched", [(), ("guard", "cutter home", "cutter far end", "thrust")])
async def test_what_warns_stands_whole_above_what_has_no_room(
    peer: FakeDaemon, socket_at: str, monkeypatch: pytest.MonkeyPatch, not_watched: tuple[str, ...]
) -> None:
    (caution,) = (text for text in STUDY["why"] if text.startswith("CAUTION"))
    peer.news = [("status", told(not_watched=not_watched))]
    async with screens(socket_at) as (app, pilot):
        monkeypatch.setattr(app, "study", study_of_a_frozen_portion)
        await pilot.press("v")
        assert caution in said_in(app)
        assert "Likely: MC-04 a lump in the nozzle." in app.text()
