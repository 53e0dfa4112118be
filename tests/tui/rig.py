"""The screens in a terminal that is not there, on a daemon that answers from a table."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from textual.pilot import Pilot

from protocols.requests import QUESTION
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import told
from tests.waiting import WAIT_S, until
from tui.app import Screens
from tui.keys import REPEAT_S
from tui.model import SETTLE_S


@asynccontextmanager
async def screens(
    path: str, *keys: str, size: tuple[int, int] = (80, 24), **given: Any
) -> AsyncIterator[tuple[Screens, Pilot[int]]]:
    """Open the screens, wait for the first status, and press keys; a busy machine may keep them."""
    app = Screens("maize", path, **given)
    app.stale_s = WAIT_S
    async with app.run_test(size=size) as pilot:
        await until(lambda: app.model.status is not None)
        await pilot.press(*keys)
        yield app, pilot


def said_in(app: Screens) -> str:
    """Return what is shown, blanks told once."""
    return " ".join(app.text().split())


async def answer_yes(app: Screens, pilot: Pilot[int]) -> str:
    """Wait for a question and say yes, as late as it is no type-ahead, and once more where that may
    have been a key held; return the question."""
    await until(lambda: app.model.question is not None)
    question = app.model.question
    assert question is not None
    await until(lambda: app.now_s() - question.asked_s > SETTLE_S + 0.01)
    await pilot.press(question.key)
    again = app.model.question
    if again is not None and again.note:
        await pilot.pause(REPEAT_S + 0.01)
        await pilot.press(question.key)
    return question.text


def weighed(params: dict[str, Any]) -> Any:
    """Answer as the daemon does: doubt what is far from the aim."""
    if params["mass_kg"] > 0.1 and not params.get("confirmed"):
        return Refusal(QUESTION, "300 g where about 30.0 g is expected.")
    return {"portion": params["portion"], "mass_kg": params["mass_kg"], "left": 1}


@asynccontextmanager
async def doubted(
    peer: FakeDaemon, path: str, typed: str = "318"
) -> AsyncIterator[tuple[Screens, Pilot[int]]]:
    """Open the screens, and type a weight for portion 4 that is asked about."""
    peer.news = [("status", told(unweighed=(4, 5)))]
    peer.answers["weigh"] = weighed
    async with screens(path, "g", *typed, "enter") as (app, pilot):
        await until(lambda: app.model.question is not None)
        yield app, pilot
