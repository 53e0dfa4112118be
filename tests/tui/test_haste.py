"""What is typed in haste, refused, or repeated by a key that is held."""

from __future__ import annotations

from typing import Any

import pytest

from protocols.requests import QUESTION
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import told
from tests.tui.rig import answer_yes, doubted, said_in, screens, weighed
from tests.tui.test_screens import MOVED, PLAN
from tests.waiting import until
from tui.app import Screens
from tui.screens.base import Field, Press
from tui.screens.feed import Feed

pytestmark = pytest.mark.slow


def press(app: Screens, key: str, at_s: float, **given: bool) -> None:
    """Press a key at a time of our own."""
    app._guarded(app._key, Press(key, key if len(key) == 1 else "", at_s, at_s, **given))


# Weights.


async def test_an_enter_of_the_next_weight_records_no_doubted_one(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with doubted(peer, socket_at) as (app, pilot):
        question = app.model.question
        assert question is not None
        await until(lambda: app.now_s() - question.asked_s > 0.2)
        await pilot.press(*"29.4", "enter")
        assert 4 not in app.model.weights
        assert "What was typed meanwhile was not taken: answer first." in said_in(app)
        assert "-- y within" in said_in(app)
        await pilot.press("escape", *"29.4", "enter")
        await until(lambda: app.model.weights.get(4) == pytest.approx(0.0294))
    assert [p["text"] for m, p in peer.asked if m == "weigh"] == ["318", "29.4"]


async def test_a_scale_that_types_all_at_once_answers_no_doubt(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with doubted(peer, socket_at) as (app, _):
        now_s = app.now_s() + 1.0
        for n, key in enumerate(["2", "9", ".", "4", "enter", "y"]):
            press(app, key, now_s + 0.003 * n, many=n > 2)
        assert app.model.question is not None
    assert peer.methods() == ["weigh"]


async def test_what_was_typed_before_a_doubt_came_is_told_and_not_taken(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(unweighed=(4, 5)))]
    peer.silent = {"weigh"}
    async with screens(socket_at, "g", *"318", "enter", *"29.4", "enter") as (app, pilot):
        assert "The weight before is not recorded yet: ENTER once more." in said_in(app)
        page: Any = app.page
        await until(lambda: app.model.busy)
        asked: dict[str, Any] = {}
        app.ask = lambda *given, **how: asked.update(how)  # type: ignore[method-assign]
        page._field.text, page._field.fresh = "318", True
        page._send({"portion": 4, "mass_kg": 0.318})
        await pilot.press(*"29.4")
        asked["on_question"]("318 g where about 30.0 g is expected.")
        assert "'29.4' was typed meanwhile and not taken. Portion 4: 318 g where" in said_in(app)
        assert page._field.text == ""


async def test_the_tubes_doubt_too_wants_a_letter(peer: FakeDaemon, socket_at: str) -> None:
    doubt = Refusal(QUESTION, "4300 g is more than a tube holds.")
    peer.answers["tube_in"] = lambda params: {"id": "T7"} if params.get("confirmed") else doubt
    keys = ("t", "b", *"T7", "enter", *"4300", "enter", *"6", "enter")
    async with screens(socket_at, *keys) as (app, pilot):
        await until(lambda: app.model.question is not None)
        question = app.model.question
        assert question is not None
        assert question.answer == "y"
        await answer_yes(app, pilot)
        await until(lambda: "The record of tube T7 is open" in app.text())


@pytest.mark.parametrize("typed", ["30", "2=0", "4=30"])
async def test_what_was_refused_stands_there_still_and_gives_way_to_the_next(
    peer: FakeDaemon, socket_at: str, typed: str
) -> None:
    refusal: Any = Refusal(-32001, "The journal cannot be written.")
    peer.news = [("status", told(unweighed=(2, 4)))]
    peer.answers["weigh"] = lambda params: weighed(params) if params["text"] == "31" else refusal
    async with screens(socket_at, "g", *typed, "enter") as (app, pilot):
        await until(lambda: "Refused" in app.text())
        grams = typed.rpartition("=")[2]
        assert f": {grams}_ g" in app.text()
        await pilot.press("backspace")
        assert f": {grams[:-1]}_ g" in app.text()
        await pilot.press(grams[-1], "enter")
        await until(lambda: peer.methods().count("weigh") == 2 and not app.model.busy)
        await pilot.press(*"31")
        assert "Portion 2: 31_ g" in app.text()
        await pilot.press("enter")
        await until(lambda: "Portion 2: 31.0 g" in app.text())
        assert ": _ g" in app.text()


def test_a_backspace_takes_one_sign_and_a_sign_replaces_what_was_wrong() -> None:
    field = Field("A word", text="lookd")
    assert field.press(Press("backspace", "", 0.0, 0.0))
    assert field.text == "look"
    field.fresh = True
    field.press(Press("x", "x", 0.0, 0.0))
    assert field.text == "x"


# ENTER held.


@pytest.mark.parametrize("delay_s", [0.25, 0.5, 1.0])
async def test_an_enter_that_is_held_begins_no_series(
    peer: FakeDaemon, socket_at: str, folder: str, delay_s: float
) -> None:
    """Not even where the question comes before its first repeat."""
    peer.answers["plan"] = PLAN
    async with screens(socket_at, "s", "m", *"5", "enter", *"6", folder=folder) as (app, _):
        now_s = app.now_s()
        press(app, "enter", now_s)
        await until(lambda: app.model.question is not None)
        for n in range(30):
            press(app, "enter", now_s + delay_s + 0.04 * n)
        await until(lambda: not app.model.busy)
        assert app.model.question is not None
    assert "series" not in peer.methods()


async def test_an_enter_that_is_held_takes_one_field_and_what_a_keyboard_repeats_first(
    peer: FakeDaemon, socket_at: str, folder: str
) -> None:
    async with screens(socket_at, "s", "m", folder=folder) as (app, _):
        now_s = app.now_s()
        for n in range(9):
            press(app, "enter", now_s + 0.04 * n)
        assert "How many portions" in app.text()
        for n in range(9):
            press(app, "enter", now_s + 2.0 + 0.5 * n, again=True)
        assert "How many portions" in app.text()


@pytest.mark.parametrize("delay_s", [0.25, 0.5, 1.0])
async def test_a_y_that_is_held_records_no_doubted_weight(
    peer: FakeDaemon, socket_at: str, delay_s: float
) -> None:
    """Also where it was held before the doubt came."""
    async with doubted(peer, socket_at) as (app, _):
        now_s = app.now_s() + 1.0
        question, app.model.question = app.model.question, None
        press(app, "y", now_s)
        app.model.question = question
        for n in range(30):
            press(app, "y", now_s + delay_s + 0.04 * n)
            assert "y so soon after the last may be one key held" in said_in(app)
        assert app.model.question is not None
        press(app, "y", now_s + delay_s + 5.0)
        await until(lambda: app.model.weights.get(4) == pytest.approx(0.318))
    assert [p.get("confirmed") for m, p in peer.asked if m == "weigh"] == [None, True]


# Nudges.


async def nudged(app: Screens, peer: FakeDaemon, count: int) -> None:
    """Wait for so many nudges, and that none is under way."""
    await until(lambda: peer.methods().count("jog") == count and not app.model.busy)


async def test_a_second_press_that_may_be_a_repeat_is_told_and_a_third_one_counts(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.answers["jog"] = MOVED
    async with screens(socket_at, "f") as (app, _):
        now_s = app.now_s()
        press(app, "right", now_s)
        await nudged(app, peer, 1)
        press(app, "right", now_s + 0.5)
        assert "Not counted: so soon after the last one it may be one key held." in said_in(app)
        press(app, "right", now_s + 0.8)
        await nudged(app, peer, 2)
        press(app, "2", now_s + 1.0)
        press(app, "right", now_s + 1.2)
        await nudged(app, peer, 3)
        press(app, "right", now_s + 2.4)
        await nudged(app, peer, 4)


@pytest.mark.parametrize("delay_s", [0.25, 0.5, 1.0])
async def test_a_nudge_key_that_is_held_is_one_nudge_whatever_the_keyboards_delay(
    peer: FakeDaemon, socket_at: str, delay_s: float
) -> None:
    peer.answers["jog"] = MOVED
    async with screens(socket_at, "f") as (app, _):
        now_s = app.now_s()
        press(app, "right", now_s)
        await nudged(app, peer, 1)
        for n in range(30):
            press(app, "right", now_s + delay_s + 0.04 * n)
        await nudged(app, peer, 1)


async def test_a_press_while_a_nudge_is_under_way_is_told(peer: FakeDaemon, socket_at: str) -> None:
    peer.silent = {"jog"}
    async with screens(socket_at, "f", "right") as (app, pilot):
        await pilot.press("left")
        assert "Not counted: a move is under way." in said_in(app)
    assert peer.methods() == ["jog"]


async def test_a_nudge_key_puts_no_power_on_the_drive_by_chance(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(pins={"guard": True}))]
    peer.answers |= {"jog": MOVED, "drive": {}}
    async with screens(socket_at, "f", "3", "right") as (app, pilot):
        assert "will put power on the drive, which has none" in await answer_yes(app, pilot)
        await until(lambda: "The drive has power." in app.text())
        assert peer.methods() == ["drive"]
        await pilot.press("right")  # At once: ENTER between shows that it was not held.
        await nudged(app, peer, 1)


async def test_after_a_stop_a_nudge_is_the_shortest_again(peer: FakeDaemon, socket_at: str) -> None:
    """Also where it was pressed on another screen."""
    async with screens(socket_at, "f", "3") as (app, pilot):
        assert "[3 2.0 mm]" in app.text()
        await pilot.press("w", "space")
        page = app._pages["f"]
        assert isinstance(page, Feed)
        await until(lambda: page._nudge_m == 0.0001)
        await pilot.press("f")
        assert "[1 0.1 mm]" in app.text()
