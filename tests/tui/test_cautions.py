"""Cautions and live values on a small terminal."""

from __future__ import annotations

import pytest

from benchd.cli.cautions import CAUTIONS
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tests.tui.rig import screens
from tests.waiting import until
from tui.app import Screens

pytestmark = pytest.mark.slow


def shows_values(app: Screens) -> None:
    """Assert that what is read of the bench is in sight."""
    for label in ("Feed", "Eye", "Last"):
        assert any(line.startswith(f"{label} ") for line in app.text().splitlines()), label


async def test_values_come_before_cautions_while_a_question_stands_or_something_moves(
    peer: FakeDaemon, socket_at: str
) -> None:
    smallest = (
        "guard", "emergency stop", "cutter home", "cutter far end", "thrust", "air pressure",
        "ends of travel", "logic supply",
    )  # fmt: skip
    waits = "someone to say where the feed stands"
    status = told(
        not_watched=smallest, thrust_n=None, air_pa=None, tube_net_kg=0.43, controller="client 2",
        barrel="not measured: treat as loaded", air="not measured: treat as live",
        waits_for=waits, why_not={}, tube="T7", position_known=False, eye_taught=None,
    )  # fmt: skip
    moved = {"moved_m": 0.002, "ending": "reached", "position_m": None}
    peer.news = [("status", status), ("tube", {"id": "T7", "what": "in"}), ("move", moved)]
    caution = "! Stored force: a filled barrel is a loaded spring."
    async with screens(socket_at, "t", cautions=CAUTIONS) as (app, pilot):
        await until(lambda: app.model.last_move is not None)
        assert caution in app.text()
        assert "more force." in app.text(), "whole, while nothing is asked"
        await pilot.press("a")
        await until(lambda: app.model.question is not None)
        shows_values(app)
        await pilot.press("escape")
        app._news("status", {**status, "state": "NUDGING"})
        shows_values(app)
        app._news("status", status)
        app.say("Moved +2.00 mm (reached). Look at the plunger: k if it touches the dough.")
        shows_values(app)
        assert caution in app.text()
