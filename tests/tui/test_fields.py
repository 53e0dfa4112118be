"""What is typed into fields, and what a field does not take."""

from __future__ import annotations

import pytest

from protocols.status import Abnormal
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tests.tui.rig import said_in, screens
from tests.waiting import until

pytestmark = pytest.mark.slow


WRONG = (
    ("fh", "1..", "'1..' is no number: type it as 12.5 or 12,5.", "12,5"),
    ("fh", "", "No number was typed: type it as 12.5 or 12,5.", "12,5"),
    ("tb", "", "It takes a name.", "T7"),
    ("tb", "T7\n4-", "'4-' is no number", "430"),
    ("tb", "T7\n-3", "A net mass is above 0 g and below 100 kg.", "430"),
    ("sm", "0", "It takes a number of s above 0.", "8"),
    ("sm", "8\n1.5", "It takes a whole number, 0 or more.", "12"),
    ("ik", "-", "'-' is no number", "5"),
    ("ik", "5\n", "It takes a name.", "ana"),
    ("ik", "5\nana\n", "It takes a reason.", "disk"),
    ("i\n", "", "It takes a name.", "ana"),
    ("i\n", "ana\nso", "'so' is not the word room.", "Room"),
)
"""Keys that open fields; what is typed, the last of it wrong; what is said; what is right."""


async def test_a_sign_that_a_field_does_not_take_is_told(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at, "f", "h", *"1e9") as (app, pilot):
        assert ": 19_" in app.text()
        await pilot.press("backspace", "x")
        assert "'x' is not taken here, and was left out." in app.text()
        await pilot.press("escape")
        peer.news = [("status", told(unweighed=(4, 5)))]
    async with screens(socket_at, "g", *"3e") as (app, pilot):
        assert "'e' is not taken here, and was left out." in app.text()
        assert "Portion 4: 3_ g" in app.text()


@pytest.mark.parametrize("wrong", ["30..5", "99=30"])
async def test_a_weight_that_cannot_be_gives_way_to_the_next(
    peer: FakeDaemon, socket_at: str, wrong: str
) -> None:
    peer.news = [("status", told(unweighed=(4, 5)))]
    async with screens(socket_at, "g", *wrong, "enter") as (app, pilot):
        assert f": {wrong.rpartition('=')[2]}_ g" in app.text()
        await pilot.press(*"31")
        assert "Portion 4: 31_ g" in app.text()


def names(text: str) -> list[str]:
    """The names of the keys that write a text."""
    return ["enter" if sign == "\n" else sign for sign in text]


async def test_what_cannot_be_is_told_in_its_field_and_only_that_is_typed_again(
    peer: FakeDaemon, socket_at: str, folder: str
) -> None:
    disk = Abnormal("IL-28", 2, "No journal.", "", "", 1, False, "auto")
    peer.news = [("status", told(abnormals=(disk,)))]
    peer.answers["proofs"] = {"statements": [{"statement": "There is room.", "word": "room"}]}
    async with screens(socket_at, folder=folder) as (app, pilot):
        for keys, typed, says, right in WRONG:
            app.show("w")
            await pilot.press(*names(keys))
            await until(lambda: app.page.typing)
            form = app.page._form
            assert form is not None
            *before, wrong = typed.split("\n")
            for text in before:
                await pilot.press("delete", *text, "enter")
            await pilot.press("delete", *wrong, "enter")
            assert says in said_in(app)
            assert app.page._form is form, typed
            assert form._at == len(before)
            await pilot.press("space", *right)
            assert form._fields[form._at].text == right
            await pilot.press("enter")
            assert says not in said_in(app)
    assert peer.methods().count("stop") == len(WRONG), "that key stops and writes nothing"
    done = [params for method, params in peer.asked if method in ("here", "shelve", "clear")]
    assert done == [
        {"position_m": 0.0125},
        {"position_m": 0.0125},
        {"for_s": 300.0, "name": "ana", "reason": "disk", "interlock": 28},
        {"interlock": 28, "name": "ana", "words": ["room"]},
    ]
