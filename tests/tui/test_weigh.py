"""Weights typed one after the other."""

from __future__ import annotations

import pytest

from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tests.tui.rig import answer_yes, doubted, screens, weighed
from tests.waiting import until

pytestmark = pytest.mark.slow


async def test_weights_go_into_the_chosen_cell_and_can_be_taken_back(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(unweighed=(4, 5)))]
    peer.answers |= {"weigh": weighed, "unweigh": {"portion": 4, "left": 2}}
    async with screens(socket_at, "g", *"31,8", "enter") as (app, pilot):
        await until(lambda: "Portion 4: 31.8 g" in app.text())
        await pilot.press("left", *"31.0", "enter")
        await until(lambda: "31.0 g, 31.8 g before" in app.text())
        await pilot.press("u")
        await until(lambda: "has its 31.8 g again" in app.text())
        await pilot.press("u")
        await until(lambda: "Portion 4 has no weight any more" in app.text())
        assert 4 not in app.model.weights
    assert peer.asked[-1] == ("unweigh", {"portion": 4})
    weights = [(p["portion"], p["text"]) for m, p in peer.asked if m == "weigh"]
    assert weights == [(4, "31,8"), (4, "31.0"), (4, "31.8")]


async def test_a_doubted_weight_waits_for_an_answer_and_takes_no_digits(
    peer: FakeDaemon, socket_at: str
) -> None:
    async with doubted(peer, socket_at, "300") as (app, pilot):
        await pilot.press(*"29")
        assert app.model.question is not None
        await pilot.press("escape")
        assert "Portion 4: _ g" in app.text()
        await pilot.press(*"300", "enter")
        assert "300 g where about 30.0 g is expected" in await answer_yes(app, pilot)
        await until(lambda: app.model.weights.get(4) == pytest.approx(0.3))
    assert [p.get("confirmed") for m, p in peer.asked if m == "weigh"] == [None, None, True]


async def test_weights_are_typed_with_the_number_of_their_portion_too(
    peer: FakeDaemon, socket_at: str
) -> None:
    """Trade E: rapid entry is `12=19.8`, or ENTER for the next cell."""
    peer.news = [("status", told(unweighed=(4, 5, 6)))]
    peer.answers["weigh"] = weighed
    async with screens(socket_at, "g", *"6=31") as (app, pilot):
        assert "Portion 6: 31_ g" in app.text()
        await pilot.press(*",8", "enter")
        await until(lambda: "Portion 6: 31.8 g" in app.text())
        await pilot.press(*"9=31", "enter")
        assert "There is no portion 9 to be weighed here: 4 to 6." in app.text()
        await pilot.press("escape", "enter")
        assert "No weight was typed: type it as 31.8 or 31,8, or as 12=31.8." in app.text()
    assert [(p["portion"], p["text"]) for m, p in peer.asked if m == "weigh"] == [(6, "31,8")]
