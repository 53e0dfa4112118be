"""The screens in a terminal that is not there, on a daemon that answers from a table."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from protocols.requests import QUESTION
from protocols.status import SeriesStatus
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import told
from tests.tui.rig import answer_yes, said_in, screens
from tests.waiting import until
from tui.app import Screens
from tui.frame import Line
from tui.keys import POWER_AFTER_S
from tui.model import LAPSED_S
from tui.screens.base import Press
from tui.screens.table import SCREENS
from tui.terminal import KeyUp
from tui.view import ANSWER_S

pytestmark = pytest.mark.slow


async def test_the_first_screen_says_state_energy_and_the_stop_key(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(not_watched=("thrust",)))]
    async with screens(socket_at) as (app, _):
        lines = app.text().splitlines()
    assert len(lines) == 24
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith("READY; bench maize; link ")
    assert lines[1].startswith("ENERGY    barrel 8 N low; air 2.0 bar live")
    assert "NOT WATCHED: thrust" in lines
    assert lines[-1].startswith("SPACE = stop now (always)")


async def test_the_stop_key_stops_and_says_so(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at) as (app, pilot):
        await pilot.press("space")
        await until(lambda: ("stop", {"level": 0}) in peer.asked)
        await until(lambda: "Stop was sent; " in app.text())


async def test_a_stop_that_nobody_takes_is_said_loudly(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at) as (app, pilot):
        peer.close()
        await until(lambda: not app.model.up)
        await pilot.press("space")
        await until(lambda: "STOP WAS NOT SENT" in app.text())
        assert "Press the emergency stop" in app.text()
        # A daemon that is back has answered nothing, and the next stop is a first one.
        app._changed(True)
        app._news("status", told())
        assert "STOP WAS NOT SENT" in app.text()
        assert app._stop_key.press(app.now_s() + 2.0) == 0


async def test_a_daemon_that_went_away_does_not_look_like_a_quiet_bench(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at) as (app, _):
        peer.close()
        await until(lambda: not app.model.up)
        text = app.text()
    assert text.startswith("NO DAEMON answers for bench maize")
    assert "barrel not known: treat as loaded; air not known: treat as live" in text
    assert "NOT WATCHED: anything, while no daemon answers" in text


async def test_nothing_is_asked_by_what_an_absent_daemon_said(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at) as (app, pilot):
        peer.close()
        await until(lambda: not app.model.up)
        for key, asks in (("f", "d"), ("t", "a"), ("t", "k"), ("t", "y"), ("s", "a")):
            await pilot.press(key)
            app.say("")
            await pilot.press(asks)
            assert app.model.question is None
            assert "Nothing was asked: no daemon answers." in app.text()


DRIVE = {"pins": {"drive": True}}


@asynccontextmanager
async def answered(peer: FakeDaemon, socket_at: str) -> AsyncIterator[Screens]:
    """Open the screens, and stop a bench that stands with power on the drive."""
    peer.news = [("status", told(**DRIVE))]
    async with screens(socket_at, "space") as (app, _):
        await until(lambda: "Stop was sent; " in app.text())
        app._news("status", told(**DRIVE))
        assert "moves nothing now; SPACE once more drops" in app.text()
        yield app


async def test_the_answer_to_a_stop_goes_once_it_is_no_longer_so(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with answered(peer, socket_at) as app:
        app._news("status", told(**DRIVE))
        assert "moves nothing now" in app.text()
        app._news("status", told(state="PORTIONING", phase="push", **DRIVE))
        assert "moves nothing now" not in app.text()


@pytest.mark.parametrize("gone", ["board", "daemon"])
async def test_the_answer_to_a_stop_goes_once_the_board_is_not_heard(
    peer: FakeDaemon, socket_at: str, gone: str
) -> None:
    async with answered(peer, socket_at) as app:
        if gone == "board":
            app._news("status", told(state="NO LINK", link_age_s=4.0, **DRIVE))
        else:
            peer.close()
        # SPACE would be a first stop again, and what the board said is no word of now.
        await until(lambda: "moves nothing now" not in app.text())


async def test_leaving_leaves_the_bench_alone(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at) as (app, pilot):
        await pilot.press("q")
        await until(lambda: app.return_value == 0)
    assert peer.methods() == []


@pytest.mark.parametrize("size", [(79, 24), (80, 23), (40, 10)])
async def test_a_small_terminal_still_has_state_energy_and_stop(
    peer: FakeDaemon, socket_at: str, size: tuple[int, int]
) -> None:
    async with screens(socket_at, size=size) as (app, pilot):
        lines = app.text().splitlines()
        await pilot.press("space")
        await until(lambda: "stop" in peer.methods())
    assert len(lines) <= size[1]
    assert max(map(len, lines)) <= size[0]
    assert lines[0].startswith("READY")
    assert any(line.startswith("ENERGY") for line in lines)
    assert lines[-1] == "SPACE = stop now"


async def test_in_a_small_terminal_no_key_moves_what_cannot_be_seen(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, size=(60, 15)) as (app, pilot):
        for key in SCREENS:
            app.page = app._pages[key]
            await pilot.press("right", "m", "r", "enter", "h", "7", "escape")
            assert app.page is app._pages[key]
            assert not app.page.typing
            assert app.model.question is None
        assert "only SPACE and q count" in said_in(app)
        app.model.busy["series"] = 1
        await pilot.press("q")
        assert "leave?" in app.text()
        await pilot.press("escape")
        assert app.model.question is None
        await pilot.press("space")
        await until(lambda: "Stop was sent; " in app.text())
        del app.model.busy["series"]
        await pilot.press("q")
        await until(lambda: app.return_value == 0)
    assert peer.methods() == ["stop"]


async def test_a_terminal_made_too_small_takes_a_question_back(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "f", "r") as (app, pilot):
        assert app.model.question is not None
        await pilot.resize_terminal(60, 15)
        await until(lambda: app.model.question is None)
        await pilot.resize_terminal(80, 24)
        await until(lambda: "-- Feed" in app.text())
        assert app.model.question is None


async def test_keys_that_come_together_do_not_leave(peer: FakeDaemon, socket_at: str) -> None:
    """The stop key would go with the screens."""
    async with screens(socket_at) as (app, _):
        now_s = app.now_s()
        app._guarded(app._key, Press("q", "q", now_s, now_s, many=True))
        assert app.return_value is None
        assert "Keys arrived all at once" in app.text()


async def heard_for(app: Screens, for_s: float, **changes: Any) -> None:
    """Let so long go by while the board is heard."""
    end_s = app.now_s() + for_s

    def over() -> bool:
        app._news("status", told(**changes))
        return app.now_s() > end_s

    await until(over)


async def test_a_stop_tells_the_boards_answer_and_a_second_one_drops_power(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "space") as (app, pilot):
        await until(lambda: "stop" in peer.methods())
        await heard_for(app, POWER_AFTER_S + 0.05)
        assert "The board has answered and moves nothing now" in said_in(app)
        await pilot.press("space")
        await until(lambda: ("stop", {"level": 1}) in peer.asked)
        await until(lambda: "power off the drive was asked for; the board has not" in said_in(app))
        await heard_for(app, 0.1)
        assert "has answered" not in said_in(app), "the drive has its power still"
        await heard_for(app, 0.1, pins={"guard": True})
        assert "The board has answered: the drive has no power." in said_in(app)


async def test_a_stop_that_is_not_answered_any_more_is_said_loudly_however_often_it_is_pressed(
    peer: FakeDaemon, socket_at: str
) -> None:
    """The board was unplugged after it answered a first stop."""
    unheard = {"state": "NO LINK", "link_age_s": 4.0}
    async with screens(socket_at, "space") as (app, pilot):
        await until(lambda: "stop" in peer.methods())
        await heard_for(app, 0.1)
        assert "The board has answered" in said_in(app)
        await heard_for(app, POWER_AFTER_S, **unheard)
        await pilot.press("space")
        await until(lambda: "Stop was sent; the board has not answered yet." in said_in(app))
        await heard_for(app, ANSWER_S, **unheard)
        overdue = "the board does not say that it stopped: press the emergency stop"
        await until(lambda: overdue in said_in(app))
        app.say("")
        await pilot.press("space")
        await until(lambda: overdue in said_in(app))
    assert [params["level"] for method, params in peer.asked if method == "stop"] == [0, 0, 0]


async def test_power_off_that_the_board_does_not_confirm_is_said_loudly(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "space") as (app, pilot):
        await until(lambda: "stop" in peer.methods())
        await heard_for(app, POWER_AFTER_S + 0.05)
        await pilot.press("ctrl+space")
        await until(lambda: ("stop", {"level": 1}) in peer.asked)
        await heard_for(app, ANSWER_S + 0.2)
        overdue = "the board does not say that it is off: press the emergency stop"
        await until(lambda: overdue in said_in(app))


async def test_escape_just_after_a_question_lapsed_does_nothing_else(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "i") as (app, pilot):
        app.confirm("will push", lambda: None, 0.0)
        await until(lambda: app.model.question is None)
        await pilot.press("escape", "enter")
        assert app.page.name == "Interlocks"
        assert not app.page.typing
        app.model._lapsed_s -= LAPSED_S
        await pilot.press("escape")
        assert app.page.name == "Watch"


def enters(app: Screens, *times_s: float, again: bool = False) -> None:
    """Press ENTER at these times [s from now]."""
    now_s = app.now_s()
    for t_s in times_s:
        app._guarded(app._key, Press("enter", "", now_s + t_s, now_s + t_s, again))


@pytest.mark.parametrize("delay_s", [0.25, 0.5, 1.0])
async def test_an_enter_that_is_held_says_yes_to_nothing(
    peer: FakeDaemon, socket_at: str, delay_s: float
) -> None:
    done: list[int] = []
    async with screens(socket_at, "s") as (app, _):
        enters(app, 0.0)
        app.confirm("will push", lambda: done.append(1))
        enters(app, *(delay_s + 0.04 * n for n in range(20)))
        assert not done
        assert "may be one key held" in said_in(app)
        assert app.model.question is not None
        enters(app, 2.5)
    assert done == [1], "let go, and pressed once more"


async def test_where_the_terminal_tells_of_repeats_an_enter_let_go_counts_at_once(
    peer: FakeDaemon, socket_at: str
) -> None:
    done: list[int] = []
    async with screens(socket_at, "s") as (app, _):
        enters(app, 0.0)
        app.confirm("will push", lambda: done.append(1))
        enters(app, 0.5, again=True)
        assert not done
        await app.on_event(KeyUp("enter", None))
        enters(app, 0.6)
    assert done == [1]


async def test_a_question_is_taken_back_by_another_key(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at, "f", "r") as (app, pilot):
        assert app.model.question is not None
        await pilot.press("x", "enter")
        assert app.model.question is None
        await pilot.press("r", "escape")
        assert app.model.question is None
        assert "Nothing was done." in app.text()
    assert peer.methods() == []


async def test_the_stop_key_takes_a_question_back(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at, "f", "r", "space") as (app, _):
        await until(lambda: app.model.question is None)
        await until(lambda: peer.methods() == ["stop"])


async def test_a_second_terminal_is_told_that_it_only_watches(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(controller="client 2"))]
    async with screens(socket_at) as (app, _):
        assert "Control   another terminal (client 2)" in app.text()


async def test_a_key_that_needs_control_asks_for_it_first_and_moves_nothing(
    peer: FakeDaemon, socket_at: str
) -> None:
    text = "Client 2 is in control here: take it?"
    peer.answers["jog"] = Refusal(QUESTION, text, {"condition": "control"})
    peer.answers["control"] = {"client": 3}
    peer.news = [("status", told(controller="client 2"))]
    async with screens(socket_at, "f", "right") as (app, pilot):
        asked = await answer_yes(app, pilot)
        assert asked == f"{text} Nothing moves by that"
        await until(lambda: "press the key once more" in app.text())
        assert not app.model.in_control
        app._news("status", told(controller="client 3"))
        assert app.model.in_control
    assert peer.methods() == ["jog", "control"]


async def test_keys_say_that_somebody_is_there_while_a_series_runs(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.answers["attend"] = {"attended": True}
    series = SeriesStatus(3, 12, 8.0, 2.0, False, False)
    peer.news = [("status", told(series=series))]
    async with screens(socket_at, "s", "w", "s") as (_, _pilot):
        await until(lambda: "attend" in peer.methods())
    assert peer.methods() == ["attend"]


async def test_leaving_ones_own_series_asks_first(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at) as (app, pilot):
        app.model.busy["series"] = 1
        await pilot.press("q")
        text = await answer_yes(app, pilot)
        await until(lambda: app.return_value == 0)
    assert text.startswith("The series of this terminal finishes its portion and pauses")


async def test_an_error_of_a_screen_leaves_the_stop_key(
    peer: FakeDaemon, socket_at: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> list[Line]:
        raise KeyError("nothing of ours")

    async with screens(socket_at) as (app, pilot):
        monkeypatch.setattr(app.page, "lines", broken)
        monkeypatch.setattr(app.page, "pressed", broken)
        await pilot.press("x")
        assert "SPACE still stops" in app._paper.lines[0].text
        await pilot.press("space")
        await until(lambda: "stop" in peer.methods())
