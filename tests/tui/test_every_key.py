"""Every key of every screen, pressed in a terminal that is not there, does what stands in
`key_table`; and there is no key besides."""

from __future__ import annotations

import string
from pathlib import Path

import pytest
from textual.keys import Keys, _character_to_key
from textual.pilot import Pilot

from protocols.status import Abnormal, SeriesStatus
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tests.tui.key_table import ANSWERS, CASES, TOLD, Case
from tests.tui.rig import screens
from tests.tui.test_page import KEY, NAMED
from tests.waiting import until
from tui.app import Screens
from tui.keys import Held
from tui.screens.base import Press
from tui.screens.table import SCREENS

pytestmark = pytest.mark.slow

TEXTUAL = {"+": "plus", "-": "minus", "ENTER": "enter", "digits": "7"}
SPECIAL = {"digits": ["7"], "arrows": ["right", "left", "down", "up"]}
EVERYWHERE = ("q", "escape", "ctrl+c", "space")
"""Keys of no screen: what they do is held in `test_app`."""

SIGNS = [sign for sign in string.printable if sign == " " or not sign.isspace()]
ALL_KEYS = {_character_to_key(sign): sign for sign in SIGNS} | {key.value: "" for key in Keys}
"""Whatever a terminal may send, as the library names it, with the sign that it writes."""

FACES = ("", "o", "y", "d", "enter", "7")
"""What is pressed before: a list, a text or an entry may stand there, with keys of its own."""


def keys_of(name: str) -> list[str]:
    """The keys that a screen names, by the names of the terminal library."""
    screen = next(one for one in SCREENS.values() if one.name == name)
    found = [word for hint in KEY.findall(screen.hints) for word in NAMED.get(hint, [hint])]
    return [key for word in found for key in SPECIAL.get(word, [TEXTUAL.get(word, word)])]


def shown(app: Screens) -> str:
    """What is shown under the head, which holds ages, without the keys; blanks told once."""
    text = app.text()
    return " ".join(text[text.index("\n-- ") :].split())


async def fresh(app: Screens, pilot: Pilot[int], key: str) -> None:
    """Begin on this screen as nobody did anything yet."""
    await until(lambda: not app.model.busy)
    app.model.came_s = app.now_s()  # What is old by now is another thing.
    app.model.question, app.card_name = None, ""
    app._presses = Held()
    app.page = app._pages[key] = SCREENS[key](app)
    app.page.shown()
    app.say("")
    app.draw()
    await pilot.pause()


@pytest.fixture
def folder(tmp_path: Path, peer: FakeDaemon, monkeypatch: pytest.MonkeyPatch) -> str:
    """A folder with two dough cards; a daemon and a study process that answer from a table."""
    cards = tmp_path / "cards"
    cards.mkdir()
    for name in ("masa", "other"):
        rest = "".join(f"# line {n}\n" for n in range(40))
        (cards / f"{name}.yaml").write_text(f"dough: {name}\naim: 30 g\n{rest}")
    abnormal = Abnormal("IL-28", 2, "No journal.", "No series.", "Look.", 1, False, "auto")
    series = SeriesStatus(3, 12, 8.0, None, True, False)
    peer.answers |= ANSWERS
    peer.news = [
        ("status", told(abnormals=(abnormal,), unweighed=(3, 4, 5, 6, 7, 8, 9), series=series)),
        *(("weight", {"portion": n, "mass_kg": 0.03, "look": ""}) for n in range(10, 80)),
    ]
    monkeypatch.setattr(Screens, "study", lambda _, ask, given, then, failed: then(TOLD[ask]))
    return str(cards)


async def does(app: Screens, pilot: Pilot[int], peer: FakeDaemon, key: str, case: Case) -> None:
    """Press the key on a fresh screen, and wait for what it does."""
    await fresh(app, pilot, key)
    if case.gone.endswith(": y") and app.model.status is not None:
        app.model.status.n_weighed += 2
    await pilot.press(*case.before)
    before, asked = shown(app), len(peer.asked)
    assert not case.says or case.says not in before, "it stands there anyway"
    assert case.gone in before
    await pilot.press(case.key)
    if case.asks is not None:
        method, params = case.asks

        def came() -> bool:
            mine = [given for one, given in peer.asked[asked:] if one == method]
            return any(params.items() <= given.items() for given in mine)

        await until(came)
    await until(lambda: case.says in shown(app))
    await until(lambda: not case.gone or case.gone not in shown(app))


@pytest.mark.parametrize("key", list(SCREENS))
async def test_every_key_does_what_stands_in_the_table(
    peer: FakeDaemon, socket_at: str, folder: str, key: str
) -> None:
    name = SCREENS[key].name
    async with screens(socket_at, folder=folder) as (app, pilot):
        await until(lambda: len(app.model.weights) == 70)
        for case in CASES:
            if case.screen == name:
                try:
                    await does(app, pilot, peer, key, case)
                except (AssertionError, TimeoutError) as failed:
                    raise AssertionError(f"{case}: {failed}\n{app.text()}") from failed


async def test_no_key_is_taken_that_does_not_stand_in_the_table(
    peer: FakeDaemon, socket_at: str, folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every key that there is, on every face of every screen; and what a screen names is taken."""
    monkeypatch.setattr(Screens, "ask", lambda *_, **__: None)
    async with screens(socket_at, folder=folder) as (app, _):
        await until(lambda: len(app.model.weights) == 70)
        for goes, make in SCREENS.items():
            tabled = {case.key for case in CASES if case.screen == make.name}
            assert set(keys_of(make.name)) <= tabled
            assert not tabled & {*SCREENS, *EVERYWHERE} - {"escape"}, "it has a meaning already"
            taken = {key for before in FACES for key in keys_taken(app, goes, before)}
            assert taken == tabled, make.name


def keys_taken(app: Screens, goes: str, before: str) -> set[str]:
    """The keys that a screen takes after this one; nothing where that only began an entry."""
    taken = set()
    for key, sign in ALL_KEYS.items():
        page = SCREENS[goes](app)
        page.shown()
        if before:
            page.press(Press(before, before if len(before) == 1 else "", 0.0, 0.0))
        if page.typing:
            return set()
        if page.press(Press(key, sign, 0.0, 0.0)):
            taken.add(key)
    return taken


async def test_the_keys_of_pages_and_the_way_back(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at) as (app, pilot):
        for key, screen in SCREENS.items():
            await pilot.press(key)
            assert app.page.name == screen.name
            await pilot.press("escape")
            assert app.page.name == "Watch"
        await pilot.press("ctrl+c")
        assert "SPACE stops the bench; q leaves" in app.text()
