"""What is refused, told ahead and afterwards."""

from __future__ import annotations

import pytest

from protocols.status import SeriesStatus
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import STATUS, told
from tests.tui.rig import said_in, screens
from tests.waiting import until
from tui.screens.journal import KINDS

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    ("screen", "key", "action"),
    [
        ("f", "r", "relieve"), ("f", "d", "drive"), ("t", "a", "prime"), ("t", "m", "prime"),
        ("t", "o", "tube_out"), ("s", "m", "series"), ("s", "o", "portion"), ("s", "a", "stroke"),
        ("s", "e", "series"),
    ],
)  # fmt: skip
async def test_nobody_confirms_what_is_known_to_be_refused(
    peer: FakeDaemon, socket_at: str, folder: str, screen: str, key: str, action: str
) -> None:
    no = {action: "IL-02: Guard open: see 'benchd clear IL-02'."}
    paused = SeriesStatus(3, 12, 8.0, None, True, False)
    pins = {**STATUS.pins, "drive": False}
    peer.news = [("status", told(why_not=no, series=paused, pins=pins))]
    async with screens(socket_at, screen, key, folder=folder) as (app, _):
        await until(lambda: "Refused: IL-02: Guard open: see keys i,ENTER." in app.text())
        assert app.model.question is None
        assert not app.page.typing
    assert not {"plan", "relieve", "drive"} & {method for method, _ in peer.asked}


async def test_the_live_journal_tells_refusals_and_keys_in_place_of_commands(
    peer: FakeDaemon, socket_at: str
) -> None:
    no = {"command": "run", "condition": "IL-02", "text": "Latched: 'benchd clear IL-02'."}
    peer.news = [("status", told()), ("refusal", no)]
    async with screens(socket_at, "j") as (app, pilot):
        await pilot.press(*"l" * KINDS.index("refusal"))
        assert "refusal, since these screens opened" in app.text()
        assert "The board refused 'run': Latched: keys i,ENTER." in app.text()


PLAN = {"stroke_m": 0.0127, "take_up_m": 0.001, "aim_kg": 0.03, "shortest_s": 4.51}


@pytest.mark.parametrize(
    ("left_m", "keys", "said"),
    [
        (0.14, ("m", *"4.5", "enter", "6", "enter"), "4.5 s is shorter than one portion takes. "
         "Shortest is 4.6 s."),
        (0.0136, ("m", *"5", "enter", "6", "enter"), "The tube is at its end"),
        (0.0136, ("o",), "The tube is at its end"),
    ],
)  # fmt: skip
async def test_a_plan_that_would_be_refused_is_not_asked_about(
    peer: FakeDaemon, socket_at: str, folder: str, left_m: float, keys: tuple[str, ...], said: str
) -> None:
    peer.answers["plan"] = PLAN
    peer.news = [("status", told(tube_left_m=left_m))]
    async with screens(socket_at, "s", *keys, folder=folder) as (app, _):
        await until(lambda: f"Refused: {said}" in said_in(app))
        assert app.model.question is None


@pytest.mark.parametrize(
    ("left_m", "count", "said"),
    [
        (0.0411, "4", "4 portions (the tube is at its end after 3, where it pauses); guard"),
        (0.0411, "3", "3 portions; guard"),
        (0.0411, "0", "until the tube ends; guard"),
        (0.0137, "1", "1 portion; guard"),
        (None, "4", "4 portions; guard"),
    ],
)
async def test_more_portions_than_are_left_are_told_before_they_are_begun(
    peer: FakeDaemon, socket_at: str, folder: str, left_m: float | None, count: str, said: str
) -> None:
    peer.answers["plan"] = PLAN
    peer.news = [("status", told(tube_left_m=left_m))]
    keys = ("s", "m", *"5", "enter", *count, "enter")
    async with screens(socket_at, *keys, folder=folder) as (app, _):
        await until(lambda: app.model.question is not None)
        assert app.model.question is not None
        assert said in app.model.question.text
