"""What is refused, told ahead and afterwards."""

from __future__ import annotations

import pytest

from protocols.status import SeriesStatus
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import STATUS, told
from tests.tui.rig import screens, until
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
