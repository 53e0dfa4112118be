"""Keys that were not typed for this moment: what moves something leaves them aside, on every
screen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from protocols.status import SeriesStatus
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tests.tui.rig import screens
from tests.tui.test_every_key import fresh, keys_of
from tests.waiting import WAIT_S, until
from tui.app import Screens
from tui.keys import Held
from tui.screens.base import Press
from tui.screens.table import SCREENS

pytestmark = pytest.mark.slow

MOVES = frozenset({
    "jog", "jog_held", "relieve", "drive", "portion", "series", "resume", "arm", "fire",
    "approach", "prime", "tube_out",
})  # fmt: skip
PLAN = {"stroke_m": 0.0127, "take_up_m": 0.001, "aim_kg": 0.03, "shortest_s": 4.5}
PAUSED = SeriesStatus(3, 12, 8.0, None, True, False)
MANY: dict[str, Any] = {"many": True}
OLD: dict[str, Any] = {}


def press(app: Screens, key: str, **given: Any) -> None:
    """Press a key as the terminal would tell of it, older than any may be unless `given`."""
    now_s = app.now_s()
    sign = key if len(key) == 1 else ""
    pressed_s = now_s if given else now_s - 2 * WAIT_S
    app._guarded(app._key, Press(key, sign, pressed_s, now_s, **given))


@pytest.mark.parametrize("how", [MANY, OLD], ids=["together", "late"])
async def test_no_key_of_any_screen_moves_or_asks_to_move(
    peer: FakeDaemon, socket_at: str, tmp_path: Path, how: dict[str, Any]
) -> None:
    (tmp_path / "masa.yaml").write_text("dough: masa\naim: 30 g\n")
    peer.answers |= {"plan": PLAN}
    peer.news = [("status", told(series=PAUSED))]
    async with screens(socket_at, folder=str(tmp_path)) as (app, pilot):
        for key, screen in SCREENS.items():
            for one in keys_of(screen.name):
                await fresh(app, pilot, key)
                press(app, one, **how)
                await until(lambda: not app.model.busy)
                assert app.model.question is None, (key, one)
    assert not MOVES & set(peer.methods())


async def test_each_key_that_moves_something_does_so_when_it_is_typed(
    peer: FakeDaemon, socket_at: str, tmp_path: Path
) -> None:
    """So that the test above could fail."""
    (tmp_path / "masa.yaml").write_text("dough: masa\naim: 30 g\n")
    peer.answers |= {"plan": PLAN}
    peer.news = [("status", told(series=PAUSED))]
    async with screens(socket_at, folder=str(tmp_path)) as (app, pilot):
        for key, screen in SCREENS.items():
            for one in sorted(screen.moving):
                await fresh(app, pilot, key)
                before = len(peer.asked)
                await pilot.press(one)
                await until(
                    lambda before=before: (
                        app.model.question is not None
                        or app.page.typing
                        or MOVES & {method for method, _ in peer.asked[before:]}
                    )
                )


async def test_enter_on_a_question_counts_only_when_it_is_typed(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "f", "r") as (app, _):
        asked = app.model.question
        assert asked is not None
        press(app, "enter")
        assert "ENTER arrived late, so it did nothing" in app.text()
        app._presses = Held()
        press(app, "enter")
        assert app.text().count("arrived late") == 1
        press(app, "enter", many=True)
        assert app.model.question is None
        assert "Keys arrived all at once" in app.text()
    assert peer.methods() == []


async def test_keys_that_come_together_stop_what_is_fed_by_hand(
    peer: FakeDaemon, socket_at: str
) -> None:
    """On any screen, and whatever the keys are."""
    async with screens(socket_at, "j") as (app, _):
        app.model.busy["prime"] = 1
        for key in ("down", "down", "x", "5"):
            press(app, key, many=True)
        await until(lambda: "stop" in peer.methods())
        assert "Keys arrived all at once, late or pasted: stop was sent." in app.text()
        del app.model.busy["prime"]
    assert peer.methods() == ["stop"]


async def test_what_is_typed_into_a_field_may_come_late_or_together(
    peer: FakeDaemon, socket_at: str
) -> None:
    """It moves nothing, and a sign left out would falsify a number."""
    peer.news = [("status", told(unweighed=(12,)))]
    async with screens(socket_at, "g") as (app, _):
        for sign in "31":
            press(app, sign)
        for sign in ",8":
            press(app, sign, many=True)
        assert "Portion 12: 31,8_ g" in app.text()


async def test_a_repeat_after_keys_that_were_passed_over_is_no_new_nudge(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "f") as (app, _):
        for _ in range(4):
            press(app, "right", many=True)
        now_s = app.now_s()
        app._guarded(app._key, Press("right", "", now_s, now_s))
        await until(lambda: not app.model.busy)
    assert "jog" not in peer.methods()
