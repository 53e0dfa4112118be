"""Alarms as screens show them: how each stands, what is shelved, how many come."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import msgspec
import pytest

from protocols.codes import INTERLOCKS
from protocols.limits import SPREAD_LEAST
from protocols.status import Abnormal
from tests.quiet_status import STATUS
from tests.tui.test_frame import model_of, text
from tui import view
from tui.screens.interlocks import Interlocks
from tui.screens.watch import abnormal_lines

S = 1_000_000_000
NOW_NS = 1000 * S


def alarm(code: str, rank: int, standing: str, **more: Any) -> Abnormal:
    """An alarm that was raised 40 s ago."""
    return Abnormal(
        code, rank, f"What {code} is.", "So what.", "Do this.", NOW_NS - 40 * S, rank == 3, "auto",
        standing, **more,
    )  # fmt: skip


SHELVED = alarm(
    "IL-28",
    2,
    "shelved",
    shelved_until_ns=NOW_NS + 95 * S,
    shelved_by="ana",
    shelved_why="new disk",
)
ALARMS: dict[str, Any] = {
    "now_ns": NOW_NS,
    "abnormals": (alarm("IL-02", 3, "raised"), SHELVED, alarm("IL-30", 1, "raised")),
    "returned": (alarm("IL-22", 2, "returned"),),
    "raised_lately": 3,
}


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (0, None),
        (1, None),
        (2, "2 raised in 10 min, 1 at most is usual"),
        (10, "10 raised in 10 min, 1 at most is usual"),
        (11, "TOO MANY to follow, take the worst first: 11 raised in 10 min, 1 at most is usual"),
    ],
)
def test_alarms_are_counted_once_they_are_more_than_usual(count: int, said: str | None) -> None:
    """About one in 10 minutes can be managed, and more than ten are a flood (ANSI/ISA-18.2)."""
    row = view.alarm_row(msgspec.structs.replace(STATUS, raised_lately=count))
    assert (row and row.text) == said


def test_what_is_shelved_is_told_with_time_left_name_and_reason_and_stands_nowhere_else() -> None:
    status = msgspec.structs.replace(STATUS, **ALARMS)
    row = view.shelved_row(status)
    assert row is not None
    assert row.text == "IL-28 for 95 s more, by ana: new disk"
    assert view.shelved_row(STATUS) is None
    assert view.abnormal_rows((SHELVED,), NOW_NS) == []


@pytest.mark.parametrize(
    ("rank", "standing", "mark", "words"),
    [
        (3, "raised", "stop", "!3 STOP   IL-09 45 s ago, not seen yet:"),
        (3, "seen", "stop", "!3 STOP   IL-09 45 s ago, seen:"),
        (2, "raised", "watch", "!2 WATCH  IL-09 45 s ago, not seen yet:"),
        (2, "seen", "", "!2 WATCH  IL-09 45 s ago, seen:"),
        (2, "returned", "watch", "!2 WATCH  IL-09 45 s ago, back to normal:"),
    ],
)
@pytest.mark.parametrize("where", ["abnormals", "returned"])
def test_an_alarm_that_was_seen_stands_out_no_more_unless_it_stopped_the_bench(
    rank: int, standing: str, mark: str, words: str, where: str
) -> None:
    """The status came 5 s ago."""
    changes: dict[str, Any] = {where: (alarm("IL-09", rank, standing),), "now_ns": NOW_NS}
    status = msgspec.structs.replace(STATUS, **changes)
    lines = abnormal_lines(status, 5.0, 80, notes=False)
    assert lines[0].text.startswith(words)
    assert {line.mark for line in lines} == {mark}
    assert abnormal_lines(status, 5.0, 80, notes=True) == []


@pytest.mark.parametrize("standing", ["raised", "seen"])
def test_a_latch_is_never_back_to_normal(standing: str) -> None:
    latch = alarm("IL-02", 3, standing, cause_gone=True)
    (row,) = view.abnormal_rows((latch,), NOW_NS)
    words = {"raised": "not seen yet", "seen": "seen"}[standing]
    assert f" ago, cause gone, still latched, {words}: " in row.text


def test_a_note_is_no_alarm() -> None:
    note = alarm("IL-30", 1, "raised")
    status = msgspec.structs.replace(STATUS, abnormals=(note,), now_ns=NOW_NS)
    assert abnormal_lines(status, 0.0, 80, notes=False) == []
    (line,) = abnormal_lines(status, 0.0, 80, notes=True)
    assert line.text.startswith("!1 NOTE   IL-30 40 s ago: What")
    assert line.mark == ""


def test_the_list_of_interlocks_tells_how_each_stands_and_what_is_not_in_view() -> None:
    desk: Any = SimpleNamespace(model=model_of(**ALARMS), cautions={})
    page = Interlocks(desk)
    whole = text(page.lines(10.0, 80, 60))
    rows = {
        line[2:7]: line for line in whole.splitlines() if line[2:5] == "IL-" and line[0] in " >"
    }
    assert rows["IL-01"].startswith("> ")
    for code, stands in (
        ("IL-02", "!3 LATCHED"),
        ("IL-28", "SHELVED"),
        ("IL-22", "!2 WAS UP"),
        ("IL-30", "!1 UP"),
    ):
        assert f" {stands} " in rows[code]
    assert f"- IL-01 to IL-30 of {len(INTERLOCKS)}" in whole
    assert "not in view" not in whole
    assert "Alarms    3 raised in 10 min, 1 at most is usual" in whole
    assert "Shelved   IL-28 for 95 s more, by ana: new disk" in whole
    few = page.lines(10.0, 80, 12)
    assert len(few) <= 12
    assert "not in view: IL-22, IL-28, IL-30" in text(few)


def test_what_is_not_up_was_so_when_word_last_came() -> None:
    model = model_of(**ALARMS)
    page = Interlocks(cast("Any", SimpleNamespace(model=model, cautions={}, say=str)))
    page._at = 3
    assert "IL-04: not up. Once" in text(page.lines(10.0, 80, 20))
    model.changed(False, 10.0)
    assert "IL-04: not up when last heard of. Once" in text(page.lines(15.0, 80, 20))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"n_spread": 0}, None),
        ({"n_spread": 1}, f"not told from 1 weight: it takes {SPREAD_LEAST}"),
        (
            {"n_spread": 11, "spread_kg": (0.0006, 0.0003, 0.0012), "mean_kg": 0.03},
            "2.0 % (95 of 100: 1.0 to 4.0 %) of 11 alike",
        ),
        (
            {"n_spread": 11, "spread_kg": (0.0006, 0.0003, 0.0012), "mean_kg": None},
            "0.6 g (95 of 100: 0.3 to 1.2 g) of 11 alike",
        ),
    ],
)
def test_a_spread_is_told_with_what_so_few_weights_support(
    changes: dict[str, Any], said: str | None
) -> None:
    row = view.spread_row(msgspec.structs.replace(STATUS, **changes))
    assert (row and row.text) == said
