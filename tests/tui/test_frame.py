"""How a screen is laid out."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from protocols.status import Abnormal, SeriesStatus
from tests.quiet_status import told
from tui import frame, view
from tui.frame import Line
from tui.model import Model, Question
from tui.screens.watch import Watch
from tui.strip import strip_lines

LATCH = Abnormal("IL-02", 3, "Guard open.", "Off.", "Shut it.", 1, True, "prove")


def model_of(now_s: float = 10.0, **changes: Any) -> Model:
    """A model that has heard one status at `now_s`."""
    model = Model("maize")
    model.changed(True, now_s)
    model.heard("status", told(**changes), now_s)
    return model


def text(lines: list[Line]) -> str:
    """The lines as one text."""
    return "\n".join(line.text for line in lines)


def test_quiet_away_silent_and_unheard_look_different() -> None:
    quiet = frame.head(model_of(), 10.1, 80)
    silent = frame.head(model_of(), 13.0, 80)
    unheard = frame.head(model_of(state="NO LINK", link_age_s=4.0), 10.1, 80)
    lost = model_of()
    lost.changed(False, 12.0)
    away = frame.head(lost, 15.0, 80)
    firsts = [lines[0] for lines in (quiet, silent, unheard, away)]
    assert [line.mark for line in firsts] == ["strong", "stop", "stop", "stop"]
    assert firsts[0].text.startswith("READY")
    assert firsts[1].text.startswith("DAEMON SILENT for 3.0 s")
    assert firsts[2].text.startswith("NO LINK")
    assert firsts[3].text.startswith("NO DAEMON answers for bench maize for 3.0 s")
    for lines in (silent, unheard, away):
        assert "barrel not known: treat as loaded" in text(lines)
        assert "NOT WATCHED: anything" in text(lines)


@pytest.mark.parametrize("lines", [0, 3, 40])
def test_a_page_fills_the_terminal_and_counts_what_does_not_fit(lines: int) -> None:
    body = [Line(f"line {n}") for n in range(lines)]
    page = frame.page([Line("top")], "Watch", body, [Line("end")], 80, 24)
    assert len(page) == 24
    assert page[-1].text == "end"
    hidden = lines - 21
    assert (f"... {hidden + 1} lines more" in text(page)) == (hidden > 0)


def test_a_question_stands_above_the_keys_until_its_time_is_over() -> None:
    model = model_of()
    model.ask(Question("will push 8.5 mm and cut", lambda: None, 10.0))
    shown = text(frame.foot(model, 11.0, 80, "m make", "w Watch", []))
    assert "? will push 8.5 mm and cut -- ENTER within 2 s does it" in shown
    assert shown.splitlines()[-1].startswith("SPACE = stop now (always)")


ENDED = {"what": "ended", "made": 12, "count": 12, "reason": "all made"}


@pytest.mark.parametrize(
    ("series", "news", "shown"),
    [
        (None, [ENDED], "Series    ended, 12 of 12 made: all made; at 09:14:07. q leaves."),
        (
            None,
            [{**ENDED, "made": 4, "reason": "The link is gone: The port ./p hung up: the cable"}],
            "Series    ended, 4 of 12 made: The link is gone; at 09:14:07. q leaves.",
        ),
        (None, [ENDED, {**ENDED, "what": "paused"}], None),
        (None, [], None),
        (SeriesStatus(1, 12, 8.0, 2.0, False, False), [ENDED], "Series    1 of 12"),
    ],
)
def test_watch_says_that_a_series_is_over_and_how_to_leave(
    series: SeriesStatus | None, news: list[dict[str, Any]], shown: str | None
) -> None:
    model = model_of(series=series)
    for data in news:
        model.heard("series", data, 10.0, "09:14:07")
    desk: Any = SimpleNamespace(model=model, cautions={})
    rows = [line.text for line in Watch(desk).lines(10.1, 80, 20) if line.text[:6] == "Series"]
    assert len(rows) == (shown is not None)
    assert all(row.startswith(shown or "") for row in rows)


def test_keys_are_packed_without_parting_a_key_from_its_word() -> None:
    lines = frame.packed("a one two  b three four  c five", 20)
    assert [line.text for line in lines] == ["a one two", "b three four  c five"]


def test_the_strip_keeps_state_energy_and_stop_at_any_size() -> None:
    model = model_of(abnormals=(LATCH,))
    for width, height in ((40, 10), (79, 23), (20, 6)):
        lines = frame.strip(model, 10.1, width, height)
        assert len(lines) <= height
        assert max(len(line.text) for line in lines) <= width
        assert lines[0].text.startswith("READY")
        assert lines[-1].text == "SPACE = stop now"
    assert "!3 STOP" in text(frame.strip(model, 10.1, 60, 14))


@pytest.mark.parametrize("kind", ["quiet", "unheard", "away"])
@pytest.mark.parametrize("size", [(79, 23), (60, 10), (40, 10), (30, 10), (20, 10)])
def test_the_strip_has_the_whole_line_of_energy(kind: str, size: tuple[int, int]) -> None:
    model = model_of(
        state="NO LINK" if kind == "unheard" else "READY",
        link_age_s=4.0 if kind == "unheard" else 0.1,
        not_watched=("thrust", "eye", "cutter far end"),
        abnormals=(LATCH,),
    )
    if kind == "away":
        model.changed(False, 10.0)
    model.say("The stop was heard.")
    lines = frame.strip(model, 10.1, *size)
    shown = " ".join(text(lines).split())
    for part in (
        view.energy_row(model.status).text.split("; ")
        if kind == "quiet"
        else (
            "barrel not known: treat as loaded",
            "air not known: treat as live",
            "coils not known: treat as live",
        )
    ):
        assert part in shown
    assert max(len(line.text) for line in lines) <= size[0]
    assert len(lines) <= size[1]
    assert "The stop was" in shown


def test_the_strip_says_what_a_stop_came_to_and_what_is_asked() -> None:
    model = model_of(abnormals=(LATCH,) * 9)
    model.say("STOP WAS NOT SENT: no daemon takes it. Press the emergency stop.", "stop")
    for width, height in ((60, 15), (40, 10), (40, 4)):
        lines = frame.strip(model, 10.1, width, height)
        assert len(lines) == height
        assert "STOP WAS NOT SENT" in text(lines)
        assert lines[0].text.startswith("READY")
        assert lines[1].text.startswith("ENERGY")
        assert lines[-1].text == "SPACE = stop now"
    model.ask(Question("The series pauses; leave?", lambda: None, 10.0))
    assert "? The series pauses; leave?" in text(frame.strip(model, 10.1, 60, 15))


def test_how_a_question_is_answered_stays_in_sight_however_long_it_is() -> None:
    model = model_of()
    model.ask(Question("word " * 200, lambda: None, 10.0))
    shown = [line.text for line in frame.foot(model, 10.0, 80, "m make", "w Watch", [])]
    assert len(shown) <= frame.MESSAGE_LINES + 4
    assert "-- ENTER within 3 s does it, ESC does not." in " ".join(shown)
    assert any(line.endswith(" ...") for line in shown), "what is left out is told"


def test_while_something_is_typed_no_key_is_named_that_would_only_write_its_letter() -> None:
    shown = text(frame.foot(model_of(), 10.0, 80, "m make", "f Feed", [Line("> Name: _")]))
    assert "> Name: _" in shown
    assert "m make" not in shown
    assert "f Feed" not in shown
    assert "q leave" not in shown
    assert shown.splitlines()[-1] == "SPACE = stop now (always)"


def test_weights_stand_where_they_lie_against_the_aim() -> None:
    """At 80 columns the strip has 24 columns to each side, so 5 % is 12 of them."""
    marks = strip_lines({1: 0.0300, 2: 0.0315, 3: 0.0285, 4: 0.0300}, 0.030, 80)[0].text
    inside = marks[marks.index("|") + 1 : marks.rindex("|")]
    assert len(inside) == 49
    assert {n: sign for n, sign in enumerate(inside) if sign != " "} == {12: ".", 24: "o", 36: "."}


def test_odd_weights_are_crossed_on_the_strip() -> None:
    line = strip_lines({1: 0.0300, 2: 0.0327, 3: 0.0322}, 0.030, 80, 0.08)[0].text
    inside = line[line.index("|") + 1 : line.rindex("|")]
    assert {n: sign for n, sign in enumerate(inside) if sign != " "} == {24: ".", 46: "X", 42: "o"}
    assert line.endswith("o last, X odd")
    last = strip_lines({1: 0.0300, 2: 0.0327}, 0.030, 80, 0.08)[0].text
    assert "X" in last[: last.rindex("|")]
    assert "o" not in last[: last.rindex("|")]
    assert "X" not in strip_lines({1: 0.0300, 2: 0.0323}, 0.030, 80, 0.08)[0].text


def test_a_weight_outside_the_strip_stands_at_its_edge() -> None:
    marks = strip_lines({1: 0.060, 2: 0.010, 3: 0.030}, 0.030, 80)[0].text
    assert "|<" in marks
    assert ">|" in marks
    assert strip_lines({}, 0.030, 80) == []
    assert strip_lines({1: 0.030}, None, 80) == []
