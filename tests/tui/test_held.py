"""A key that is held: when the feed goes on by it, and what ends it."""

from __future__ import annotations

import pytest
from textual import events

from protocols.limits import HELD_LEAST_S, HELD_MOST_S
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.tui.rig import said_in, screens
from tests.waiting import until
from tui.app import Screens
from tui.keys import REPEATS_LEAST, STALE_S, TEST_REPEATS, Repeats
from tui.screens.base import Press
from tui.screens.feed import Feed
from tui.terminal import KeyAgain, KeyMany, KeysParser, KeyUp

MOVED = {"moved_m": 0.0001, "ending": "reached", "position_m": 0.0501}


# Repeats, and what a terminal sends of them.


def repeats(*gaps_s: float) -> Repeats:
    """Repeats with these gaps, the first of which is the keyboard's delay."""
    found, t_s = Repeats("right", 5.0), 5.0
    for gap_s in gaps_s:
        t_s += gap_s
        found.add(t_s)
    return found


def test_a_repeat_counts_for_one_and_a_half_usual_gaps_within_bounds() -> None:
    assert repeats(0.5, 0.06, 0.06, 0.06).lease_s() == pytest.approx(0.09)
    assert repeats(0.5, 0.02, 0.02).lease_s() == HELD_LEAST_S
    assert repeats(0.5, 0.2, 0.2).lease_s() == HELD_MOST_S
    assert repeats().lease_s() == HELD_LEAST_S


def test_steady_is_said_after_enough_repeats_and_only_of_steady_ones() -> None:
    even = [0.5] + [0.033] * TEST_REPEATS
    assert repeats(*even[:-1]).steady() is None
    assert repeats(*even).steady() is True
    assert repeats(*even[:-1], 0.07).steady() is False
    assert repeats(0.5, *[0.2] * TEST_REPEATS).steady() is False, "slower than a lease may last"


@pytest.mark.parametrize(
    ("sent", "kind", "key"),
    [
        ("\x1b[1;1:1C", events.Key, "right"),
        ("\x1b[1;1:2C", KeyAgain, "right"),
        ("\x1b[1;1:3D", KeyUp, "left"),
        ("\x1b[107;1:2;107u", KeyAgain, "k"),
        ("\x1b[107;1:3u", KeyUp, "k"),
        ("\x1b[32;1:3u", KeyUp, "space"),
        ("\x1b[32;1:1;32u", events.Key, "space"),
        ("\x1b[C", events.Key, "right"),
    ],
)
def test_what_a_terminal_sends_with_the_type_of_its_event(
    sent: str, kind: type[events.Key], key: str
) -> None:
    """The forms of the progressive keyboard protocol (kitty's documentation, Event types)."""
    (one,) = KeysParser().feed(sent)
    assert type(one) is kind
    assert isinstance(one, events.Key)
    assert one.key == key


def test_keys_that_came_in_one_read_are_told_so_and_the_stop_key_stays_itself() -> None:
    kinds = [type(one) for one in KeysParser().feed("\x1b[C\x1b[C \x1b[Cx")]
    assert kinds == [KeyMany, KeyMany, events.Key, KeyMany, KeyMany]
    pressed_and_let_go = "\x1b[1;1:1C\x1b[1;1:3C" * 2
    assert [type(one) for one in KeysParser().feed(pressed_and_let_go)] == [events.Key, KeyUp] * 2


def test_a_key_that_waited_for_the_screens_to_open_is_old() -> None:
    parser = KeysParser()
    (first,) = parser.feed("x")
    list(parser.tick())
    (second,) = parser.feed("x")
    assert second.time - first.time > STALE_S


# On the screen.


class Held:
    """The Feed screen with a key pressed by hand, at times of our own."""

    def __init__(self, app: Screens) -> None:
        self.app = app
        self.t_s = app.now_s()

    def press(self, key: str, after_s: float, *, again: bool = False) -> None:
        """Press or repeat a key so long after the last one."""
        self.t_s += after_s
        self.app._guarded(self.app._key, Press(key, "", self.t_s, self.t_s, again))

    def test(self, gap_s: float = 0.033, repeats: int = TEST_REPEATS + 1) -> None:
        """Hold the test's key."""
        self.press("k", 0.5)
        for _ in range(repeats):
            self.press("k", gap_s)

    async def down(self, key: str = "right") -> None:
        """Hold a nudge key until the feed goes on by it."""
        self.press(key, 1.0)
        await until(lambda: "Moved" in self.app.model.message and not self.app.model.busy)
        for _ in range(REPEATS_LEAST):
            self.press(key, 0.033, again=True)
        await until(lambda: "jog_held" in self.app.model.busy)


@pytest.fixture
def feeding(peer: FakeDaemon) -> FakeDaemon:
    """A daemon whose held move ends only when the test says so."""
    peer.answers |= {"jog": MOVED, "hold": {"held": True}}
    peer.silent = {"jog_held"}
    return peer


@pytest.mark.slow
async def test_without_releases_or_a_test_a_key_held_is_one_nudge(
    feeding: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "f") as (app, _):
        held = Held(app)
        held.press("right", 1.0)
        for _ in range(20):
            held.press("right", 0.033)
        await until(lambda: "Moved +0.10 mm" in app.text())
        assert "holding it moves no further" in said_in(app)
    assert feeding.methods() == ["jog"]


@pytest.mark.slow
@pytest.mark.parametrize("repeats", [TEST_REPEATS + 1, TEST_REPEATS + 5, 60])
async def test_after_the_test_a_key_held_feeds_on_by_leases(
    feeding: FakeDaemon, socket_at: str, repeats: int
) -> None:
    """Also where the test's key was held for longer than the test takes, as it is asked for."""
    async with screens(socket_at, "f") as (app, _):
        held = Held(app)
        held.test(repeats=repeats)
        assert "This terminal repeats a key every 33 ms" in app.text()
        assert feeding.methods() == []
        await held.down()
        assert app.page.held == "right"
        assert "the feed stands at" not in app.text()
        held.press("right", 0.033)
        await until(lambda: "hold" in feeding.methods())
        held.press("down", 0.01)
        await until(lambda: ("hold", {"lease_s": 0}) in feeding.asked)
    (held_move,) = [params for method, params in feeding.asked if method == "jog_held"]
    assert held_move == {"distance_m": 0.02, "lease_s": HELD_LEAST_S}


@pytest.mark.slow
async def test_uneven_repeats_are_told_and_hold_nothing(
    feeding: FakeDaemon, socket_at: str
) -> None:
    async with screens(socket_at, "f") as (app, _):
        held = Held(app)
        held.press("k", 0.5)
        for n in range(TEST_REPEATS + 1):
            held.press("k", 0.033 if n % 5 else 0.3)
        assert "repeats keys unevenly" in app.text()
        held.press("left", 1.0)
        for _ in range(9):
            held.press("left", 0.033)
        await until(lambda: feeding.methods() == ["jog"])
        assert feeding.asked[-1] == ("jog", {"distance_m": -0.0001})


@pytest.mark.slow
@pytest.mark.parametrize("end", [KeyUp("right", None), events.AppBlur()])
async def test_a_release_and_a_lost_focus_end_it(
    feeding: FakeDaemon, socket_at: str, end: events.Event
) -> None:
    async with screens(socket_at, "f") as (app, _):
        await app.on_event(KeyUp("f", "f"))
        assert "tells when a key is let go" in app.text()
        held = Held(app)
        await held.down()
        await app.on_event(end)
        await until(lambda: ("hold", {"lease_s": 0}) in feeding.asked)


@pytest.mark.slow
async def test_another_screen_and_the_stop_key_stop_it(feeding: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at, "f") as (app, pilot):
        await app.on_event(KeyUp("f", "f"))
        held = Held(app)
        await held.down()
        await pilot.press("space")
        await until(lambda: "stop" in feeding.methods())
        held.press("w", 0.1)
        await until(lambda: feeding.methods().count("stop") == 2)
        assert app.page.name == "Watch"


@pytest.mark.slow
async def test_one_hold_is_one_move_and_the_next_press_is_a_nudge_again(
    feeding: FakeDaemon, socket_at: str
) -> None:
    feeding.silent = set()
    feeding.answers["jog_held"] = Refusal(-32001, "The key was let go.", {"condition": "released"})
    async with screens(socket_at, "f") as (app, _):
        await app.on_event(KeyUp("f", "f"))
        held = Held(app)
        held.press("right", 1.0)
        await until(lambda: "jog" in feeding.methods())
        await until(lambda: not app.model.busy)
        for _ in range(REPEATS_LEAST):
            held.press("right", 0.033, again=True)
        await until(lambda: "jog_held" in feeding.methods() and not app.model.busy)
        for _ in range(9):
            held.press("right", 0.033, again=True)
        assert "Refused" not in app.text()
        await app.on_event(KeyUp("right", None))
        held.press("right", 0.5)
        await until(lambda: feeding.methods() == ["jog", "jog_held", "jog"])


@pytest.mark.slow
async def test_keys_that_waited_renew_nothing(feeding: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at, "f") as (app, _):
        await app.on_event(KeyUp("f", "f"))
        held = Held(app)
        await held.down()
        before = feeding.methods().count("hold")
        app.stale_s = STALE_S
        late = Press("right", "", held.t_s + 0.033, held.t_s + 0.2, again=True)
        app._guarded(app._key, late)
        assert "Keys arrived late" in app.text()
        assert isinstance(app.page, Feed)
        await until(lambda: not app.model.busy.get("hold"))
        assert feeding.methods().count("hold") == before
