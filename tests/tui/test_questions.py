"""What is asked before something moves is read whole, also on the smallest bench in a terminal of
80 by 24."""

from __future__ import annotations

import pytest

from benchd.cli.cautions import CAUTIONS
from benchd.core.watched import not_watched
from protocols.status import SeriesStatus
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tests.tui.rig import said_in, screens
from tests.tui.test_every_key import fresh
from tests.waiting import until
from tui import frame, said
from tui.screens.table import SCREENS

pytestmark = pytest.mark.slow

PLAN = {"stroke_m": 0.0127, "take_up_m": 0.001, "aim_kg": 0.03, "shortest_s": 4.5,
        "auto_stroke": True}  # fmt: skip
SMALLEST = not_watched(())
UNKNOWN = {"barrel": "not known: treat as loaded", "air": "not known: treat as live"}


@pytest.mark.parametrize("unpowered", [False, True])
async def test_no_question_of_any_screen_is_shortened(
    peer: FakeDaemon, socket_at: str, folder: str, unpowered: bool
) -> None:
    """Nor with what is said beside it of a key."""
    pins = {} if unpowered else {"drive": True}
    series = SeriesStatus(3, 120, 8.0, None, True, False)
    status = told(not_watched=SMALLEST, pins=pins, series=series, **UNKNOWN)
    peer.answers |= {"plan": PLAN, "jog": {}, "fire": {"outcome": "complete"}, "drive": {}}
    peer.news = [("status", status)]
    asked = 0
    async with screens(socket_at, folder=folder, cautions=CAUTIONS) as (app, pilot):
        for key, screen in SCREENS.items():
            for one in sorted(screen.moving):
                await fresh(app, pilot, key)
                await pilot.press(one)
                if app.page.typing:
                    await pilot.press(*"12", "enter", *"34", "enter")
                await until(lambda: not app.model.busy)
                for note in (said.maybe_held("enter"), said.LATE_YES.format(key="ENTER")):
                    app.model.note(note)
                    question = app.model.question
                    if question is not None:
                        asked += 1
                        app._news("status", status)  # What is old by now is another thing.
                        shown = said_in(app)
                        assert f"? {note} {question.text} -- ENTER within" in shown, one
                        assert " ..." not in shown.partition("? ")[2].partition(" -- ")[0]
                        assert ", ".join(SMALLEST) in shown
    assert asked >= 20


@pytest.mark.parametrize(("pins", "powers"), [({}, True), ({"drive": True}, False)])
async def test_what_moves_the_feed_says_that_it_gives_the_drive_power(
    peer: FakeDaemon, socket_at: str, pins: dict[str, bool], powers: bool
) -> None:
    peer.news = [("status", told(pins=pins))]
    async with screens(socket_at, "f", "r") as (app, _):
        says = "air 2.0 bar live; the drive, which has none, gets power --"
        assert (says in said_in(app)) is powers


async def test_before_a_dry_stroke_its_caution_comes_first_and_there_is_time_to_read_it(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(not_watched=SMALLEST))]
    async with screens(socket_at, "s", "a", cautions=CAUTIONS) as (app, _):
        question = app.model.question
        assert question is not None
        assert question.text.startswith(" ".join(CAUTIONS["cut"]))
        assert question.text.endswith("; nobody watches 8 parts (above); air 2.0 bar live")
        assert question.within_s >= 10.0
        assert len(frame.said(app.model, app.now_s(), 80)) <= frame.MESSAGE_LINES
