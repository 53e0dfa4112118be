"""Screens about past journals where the study process does not answer: none of them waits for
ever."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, NamedTuple

import pytest

from tests.cli.fake_daemon import FakeDaemon
from tests.tui import snapshots
from tests.tui.rig import screens
from tests.waiting import until
from tui.screens.base import Press
from tui.screens.interlocks import Interlocks
from tui.screens.journal import Journal
from tui.screens.judge import Judge
from tui.screens.past import PastScreen
from tui.screens.why import Why

ANSWERS = snapshots.STUDY | {
    "journals": [{"name": "a.journal", "state": "closed", "entries": 40, "problem": None}],
    "entries": {"lines": [[30, "the 30th"]], "from": 30},
}


class Asked(NamedTuple):
    """A question that waits for its answer."""

    ask: str
    given: dict[str, Any]
    then: Callable[[Any], None]
    failed: Callable[[], None]


class Bench:
    """A desk whose questions about past journals are answered when the test says so."""

    def __init__(self, kind: Callable[[Any], PastScreen]) -> None:
        self.asked: list[Asked] = []
        self.said: list[str] = []
        self.page = kind(
            SimpleNamespace(
                study=lambda *one: self.asked.append(Asked(*one)),
                say=lambda text, *_: self.said.append(text),
                model=SimpleNamespace(status=None, news=()),
            )
        )
        self.page.shown()

    def press(self, *keys: str) -> None:
        """Press keys."""
        for key in keys:
            self.page.press(Press(key, "", 0.0, 0.0))

    def answer(self, *, but: str = "") -> None:
        """Answer all that was asked, and what is asked meanwhile; `but` cannot be."""
        while self.asked:
            one = self.asked.pop(0)
            if one.ask == but:
                one.failed()
            else:
                one.then(ANSWERS[one.ask])

    def text(self, room: int = 20) -> str:
        """What is shown."""
        return "\n".join(line.text for line in self.page.lines(0.0, 80, room))


@pytest.mark.parametrize(
    ("kind", "keys", "ask", "waits", "failed"),
    [
        (Journal, ["o", "enter"], "entries", "It is being read.", "It could not be read; o asks"),
        (Judge, [], "judge", "a.journal: it is being", "a.journal: it could not be read; o asks"),
        (Judge, [], "journals", "-: it is being", "-: it could not be read; o asks"),
        (Why, [], "timeline", "a.journal: it is being", "a.journal: it could not be read; o asks"),
        (Why, ["d"], "case", "causes: it is being", "causes: it could not be read; d twice asks"),
        (Journal, ["o"], "journals", "list: it is being", "list: it could not be read; o twice"),
    ],
)
def test_a_question_in_vain_is_no_longer_said_to_be_under_way(
    kind: Callable[[Any], PastScreen], keys: list[str], ask: str, waits: str, failed: str
) -> None:
    bench = Bench(kind)
    for key in keys:
        if ask != "journals":
            bench.answer(but=ask)
        bench.press(key)
    while not any(one.ask == ask for one in bench.asked):
        assert bench.asked, f"nothing asks {ask}"
        one = bench.asked.pop(0)
        one.then(ANSWERS[one.ask])
    assert waits in bench.text()
    bench.answer(but=ask)
    assert failed in bench.text()
    assert waits not in bench.text()


def test_a_journal_without_a_portion_says_so_and_how_to_choose_another() -> None:
    bench = Bench(Why)
    bench.answer(but="portions")
    assert "a.journal: it could not be read; o asks" in bench.text()
    bench = Bench(Why)
    while one := bench.asked.pop(0) if bench.asked else None:
        one.then([] if one.ask == "portions" else ANSWERS[one.ask])
    for key, says in (
        ("", "a.journal: no portion is in it; o chooses another"),
        ("d", "The causes: no portion is in it; o chooses another"),
    ):
        bench.press(*key)
        assert says in bench.text()
        assert max(map(len, bench.text().splitlines())) <= 80
    bench.press("d", "n", "9", "enter")
    assert "No portion is in this journal" in bench.said[-1]


def test_the_name_of_a_journal_cuts_nothing_off() -> None:
    bench = Bench(Why)
    long = {"name": f"{'20270115' * 5}.journal", "state": "open", "entries": 1, "problem": None}
    bench.asked.pop(0).then([long])
    bench.asked.pop(0).then([])
    assert "no portion is in it; o chooses another." in " ".join(bench.text().split())


def test_the_keys_below_are_those_of_the_face_that_is_shown() -> None:
    bench = Bench(Why)
    assert bench.page.hints_now == Why.hints
    bench.press("d")
    assert bench.page.hints_now.startswith("up/down pageup pagedown scroll")
    bench.press("o")
    assert "ENTER reads it" in bench.page.hints_now
    page = Interlocks(SimpleNamespace())
    assert page.hints_now == Interlocks.hints
    page.press(Press("y", "y", 0.0, 0.0))
    assert page.hints_now == "y or ESC back to the list"


def test_judge_names_keys_in_place_of_a_command() -> None:
    bench = Bench(Judge)
    bench.asked.pop(0).then(ANSWERS["journals"])
    bench.asked.pop(0).then(["weigh some with 'benchd weigh'."])
    assert "weigh some with key g." in bench.text()


def test_nothing_of_that_kind_is_not_nothing() -> None:
    bench = Bench(Journal)
    bench.page.desk.model.status = SimpleNamespace(journal="a.journal")  # type: ignore[assignment]
    assert "Nothing was recorded since." in bench.text()
    bench.press("l")
    assert "Nothing of that kind was recorded since." in bench.text()


def test_judge_counts_what_was_weighed_since_and_only_of_the_newest_journal() -> None:
    bench = Bench(Judge)
    bench.answer()
    assert "since" not in bench.text()
    bench.page.desk.model.status = SimpleNamespace(n_weighed=2)  # type: ignore[assignment]
    assert "; 2 weights since: y" in bench.text()
    bench.press("y")
    bench.answer()
    assert "since" not in bench.text()
    bench.page.desk.model.status = SimpleNamespace(n_weighed=3)  # type: ignore[assignment]
    assert "; 1 weight since: y" in bench.text()
    newer = [{"name": "b.journal", "state": "open", "entries": 2, "problem": None}]
    bench.page._choice.take(newer + ANSWERS["journals"])
    assert "since" not in bench.text()


def test_what_was_asked_in_vain_can_be_asked_anew() -> None:
    bench = Bench(Judge)
    bench.answer(but="judge")
    bench.press("o", "enter")
    assert "it is being read" in bench.text()
    bench.answer()
    assert "Verdict: STEADY" in bench.text()


def test_an_older_page_that_could_not_be_read_is_asked_for_by_scrolling_on() -> None:
    bench = Bench(Journal)
    bench.press("o")
    bench.answer()
    bench.press("enter")
    bench.answer()
    for _ in range(2):
        bench.press("up")
        assert "the 30th" in bench.text()
        assert [(one.ask, one.given["before"]) for one in bench.asked] == [("entries", 30)]
        bench.answer(but="entries")
        assert bench.text().count("the 30th") == 1
        assert not bench.asked, "a picture asks for nothing by itself"


def test_a_failure_about_another_portion_says_nothing_of_this_one() -> None:
    bench = Bench(Why)
    assert isinstance(bench.page, Why)
    bench.page._choose(3)
    old = list(bench.asked)
    bench.page._choose(2)
    for one in old:
        one.failed()
    assert "it is being read" in bench.text()


@pytest.mark.slow
async def test_a_study_process_that_ends_at_once_is_told(peer: FakeDaemon, socket_at: str) -> None:
    ends = (sys.executable, "-c", "")
    async with screens(socket_at, "z", study=ends) as (app, _):
        await until(lambda: "could not be read; o asks anew" in app.text())
        assert "The process that reads past journals ended" in app.text()
    assert peer.methods() == []
