"""The keys of each screen, and what they ask of the daemon."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchd.cli.studying import ALONE
from benchd.core.interlocks import RULE_BY_NUMBER
from benchd.core.watched import WATCHED
from protocols.codes import INTERLOCKS, PINS
from protocols.requests import QUESTION
from protocols.status import Abnormal, BrokerStatus, LastPortion, SeriesStatus
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import told
from tests.tui.key_table import CASES
from tests.tui.rig import answer_yes, screens
from tests.waiting import until
from tui import view
from tui.app import Screens
from tui.said import KEYS_OF, keyed
from tui.screens.interlocks import LIVE, PART_OF, interlock_line
from tui.screens.table import SCREENS

pytestmark = pytest.mark.slow

MOVED = {"moved_m": 0.0005, "ending": "reached", "position_m": 0.0505}
PLAN = {"stroke_m": 0.0127, "take_up_m": 0.001, "aim_kg": 0.03, "shortest_s": 4.5}
OTHERWISE: dict[str, Any] = {
    "state": "PORTIONING", "phase": "cut", "thrust_n": 310.0, "air_pa": 1.2e5, "supply_v": 4.3,
    "eye_counts": 130, "link_age_s": 0.4, "position_known": False, "clock_error_s": 0.03,
    "lines_bad": 3, "journal_ok": False, "tube_open_s": 7500.0, "attended_s": 660.0,
    "board": "firmware 0.1.0, boot 8", "n_spread": 3, "tube": "T8", "odd": (1, 5),
    "last": LastPortion(3, "normal", "complete", None, ("thrust high",)),
    "pins": {pin: True for pin in PINS if pin not in ("guard", "ends", "drive")},
    "abnormals": tuple(
        Abnormal(code, 1, "Up.", "", "", 1, False, "auto") for code in ("IL-15", "IL-17", "IL-18")
    ),
}  # fmt: skip
GUARD = Abnormal("IL-02", 3, "Guard open.", "The drive is off.", "Shut it.", 1, True, "prove")


@pytest.mark.parametrize("state", ["quiet", "tripped", "unheard"])
async def test_every_screen_fits_and_stops(peer: FakeDaemon, socket_at: str, state: str) -> None:
    """At 80 by 24, in ASCII, with the same head and foot, normal and abnormal."""
    changes: dict[str, dict[str, Any]] = {
        "quiet": {},
        "tripped": {"state": "TRIPPED", "abnormals": (GUARD,), "not_watched": ("thrust",)},
        "unheard": {"state": "NO LINK", "link_age_s": 4.0},
    }
    peer.news = [("status", told(**changes[state]))]
    async with screens(socket_at) as (app, pilot):
        for count, key in enumerate(SCREENS, 1):
            await pilot.press(key)
            text = app.text()
            lines = text.splitlines()
            await pilot.press("space")
            await until(lambda count=count: peer.methods().count("stop") == count)
            assert len(lines) == 24, key
            assert max(map(len, lines)) <= 80, key
            assert text.isascii(), key
            assert any(line.startswith(f"-- {app.page.name} ") for line in lines), key
            assert any(line.startswith("ENERGY ") for line in lines), key
            assert lines[-1].startswith("SPACE = stop now"), key


async def test_watch_shows_what_was_set_by_hand_and_a_broker_that_is_away(
    peer: FakeDaemon, socket_at: str
) -> None:
    broker = BrokerStatus(False, 7, 0, "It refuses us.")
    peer.news = [("status", told(by_hand={"air_pa": 1.2e5}, group=4, broker=broker))]
    async with screens(socket_at) as (app, _):
        assert "By hand   air 1.2 bar; group 4" in app.text()
        assert "Broker    It refuses us; 7 records wait" in app.text()


async def test_feed_nudges_by_the_chosen_way(peer: FakeDaemon, socket_at: str) -> None:
    peer.answers["jog"] = MOVED
    async with screens(socket_at, "f", "2", "right") as (app, pilot):
        await until(lambda: "Moved +0.50 mm (reached)" in app.text())
        await until(lambda: not app.model.busy)
        await pilot.pause(0.15)
        await pilot.press("3", "left")
        await until(lambda: len(peer.methods()) == 2)
    jogs = [params["distance_m"] for method, params in peer.asked if method == "jog"]
    assert jogs == pytest.approx([0.0005, -0.002])


async def test_leaving_feed_ends_a_nudge(peer: FakeDaemon, socket_at: str) -> None:
    async with screens(socket_at, "f") as (app, pilot):
        app.model.busy["jog"] = 1
        await pilot.press("w")
        await until(lambda: "stop" in peer.methods())
        del app.model.busy["jog"]


async def test_feed_says_where_it_stands_and_powers_and_relieves(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(pins={"guard": True}))]
    peer.answers |= {"here": {}, "drive": {}, "relieve": {**MOVED, "ending": "relieved"}}
    async with screens(socket_at, "f", "h", *"12,5", "enter") as (app, pilot):
        await until(lambda: "The feed stands at 12.5 mm." in app.text())
        await pilot.press("d")
        assert "will put power on the drive, which has none; guard shut" in await answer_yes(
            app, pilot
        )
        await until(lambda: "The drive has power." in app.text())
        await pilot.press("r")
        assert "guard shut; barrel 8 N low" in await answer_yes(app, pilot)
        await until(lambda: "(relieved)" in app.text())
    assert [(m, p) for m, p in peer.asked if m in ("here", "drive")] == [
        ("here", {"position_m": 0.0125}),
        ("drive", {"on": True}),
    ]


@pytest.mark.parametrize("key", ["f", "t", "s"])
async def test_a_relieve_is_asked_about_and_told_alike_on_every_screen(
    peer: FakeDaemon, socket_at: str, key: str
) -> None:
    peer.answers["relieve"] = {**MOVED, "ending": "stopped"}
    async with screens(socket_at, key, "r") as (app, pilot):
        assert await answer_yes(app, pilot) == (
            "will feed in reverse to let the pressure off; guard shut; barrel 8 N low; "
            "air 2.0 bar live"
        )
        await until(lambda: "(stopped)" in app.model.message)
        assert app.model.rank == "watch"


@pytest.mark.parametrize("key", ["f", "t"])
async def test_the_last_move_is_that_of_the_news_whoever_made_it(
    peer: FakeDaemon, socket_at: str, key: str
) -> None:
    peer.news = [("status", told()), ("move", {**MOVED, "kind": "jog"})]
    async with screens(socket_at, key) as (app, _):
        await until(lambda: "Last      Moved +0.50 mm (reached)" in app.text())


async def test_series_says_what_will_move_before_it_is_asked(
    peer: FakeDaemon, socket_at: str, folder: str
) -> None:
    ended = {"what": "ended", "made": 6, "count": 6, "reason": "all made"}
    peer.answers |= {"plan": PLAN, "series": ended}
    keys = ("s", "m", *"5", "enter", *"6", "enter")
    async with screens(socket_at, *keys, folder=folder) as (app, pilot):
        text = await answer_yes(app, pilot)
        assert text == (
            "will push 12.7 mm and cut by masa.yaml, one every 5 s; 6 portions; guard shut; "
            "barrel 8 N low; air 2.0 bar live"
        )
        await until(lambda: "Series ended (all made): 6 of 6 made." in app.text())
    (params,) = [params for method, params in peer.asked if method == "series"]
    assert (params["every_s"], params["count"]) == (5.0, 6)


@pytest.mark.parametrize(
    ("keys", "said"), [("o", False), (("m", *"5", "enter", *"6", "enter"), True)]
)
async def test_a_series_that_changes_its_stroke_says_so_before_it_is_made(
    peer: FakeDaemon, socket_at: str, folder: str, keys: tuple[str, ...], said: bool
) -> None:
    peer.answers["plan"] = PLAN | {"auto_stroke": True}
    async with screens(socket_at, "s", *keys, folder=folder) as (app, _):
        await until(lambda: app.model.question is not None)
        assert app.model.question is not None
        follows = "12.7 mm (a series changes this by the weights, at most 2 % at once and 10 % in"
        assert (follows in app.model.question.text) is said


async def test_a_doubted_card_is_asked_about_and_then_confirmed(
    peer: FakeDaemon, socket_at: str, folder: str
) -> None:
    doubt = Refusal(QUESTION, "The aim was 30 g and is 31 g.")
    record = {"number": 4, "class": "first", "outcome": "complete"}
    peer.answers |= {
        "plan": PLAN,
        "portion": lambda params: record if params.get("confirmed") else doubt,
    }
    async with screens(socket_at, "s", "right", "o", folder=folder) as (app, pilot):
        assert "by other.yaml, 1 portion" in await answer_yes(app, pilot)
        await until(lambda: app.model.question is not None)
        assert "The aim was 30 g" in await answer_yes(app, pilot)
        await until(lambda: "portion 4 first" in app.text())


async def test_pause_and_finish_are_taken_at_once(peer: FakeDaemon, socket_at: str) -> None:
    series = SeriesStatus(3, 12, 8.0, 2.0, True, False, "a person asked")
    peer.news = [("status", told(state="PAUSED", series=series))]
    peer.answers |= {"pause": {}, "finish": {}, "attend": {}, "resume": {
        "what": "ended", "made": 12, "count": 12, "reason": ""}}  # fmt: skip
    async with screens(socket_at, "p", "n") as (app, pilot):
        assert "PAUSED: a person asked; go on with keys s,e" in app.text()
        app._news("status", told(state="PAUSED", series=series, why_not={"series": "IL-09."}))
        assert "go on with" not in app.text()
        app._news("status", told(state="PAUSED", series=series))
        await pilot.press("s", "e")
        assert "will go on with the series; 3 of 12 made" in await answer_yes(app, pilot)
        await until(lambda: "resume" in peer.methods())
    assert [m for m in peer.methods() if m != "attend"] == ["pause", "finish", "resume"]


async def test_a_dry_stroke_takes_two_keys(peer: FakeDaemon, socket_at: str) -> None:
    peer.answers |= {"arm": {}, "fire": {"outcome": "complete"}}
    async with screens(socket_at, "s", "a") as (app, pilot):
        assert "will arm one dry stroke of the cutter" in await answer_yes(app, pilot)
        await until(lambda: "Armed for 3 s" in app.text())
        await pilot.press("x")
        await until(lambda: "Dry stroke complete." in app.text())
    assert peer.methods() == ["arm", "fire"]


async def test_the_stop_key_stops_in_a_field_and_leaves_what_was_typed(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(unweighed=(4,)))]
    async with screens(socket_at, "g", *"31", "space", *".8") as (app, _):
        await until(lambda: "stop" in peer.methods())
        assert "Portion 4: 31.8_ g" in app.text()


async def test_an_interlock_is_proven_word_by_word(peer: FakeDaemon, socket_at: str) -> None:
    peer.news = [("status", told(state="TRIPPED", abnormals=(GUARD,)))]
    statements = [
        {"statement": "The guard is shut and fastened.", "word": "shut"},
        {"statement": "Nobody's hands are near.", "word": "clear"},
        {"statement": "The blade is seen at home.", "word": "home"},
    ]
    peer.answers |= {"proofs": {"statements": statements}, "clear": {}}
    async with screens(socket_at, "i") as (app, pilot):
        assert "> IL-02 trips !3 LATCHED guard open" in app.text()
        await pilot.press("enter")
        await until(lambda: "Your name" in app.text())
        await pilot.press(*"ana", "enter", *"shut", "enter", *"clear", "enter", *"home", "enter")
        await until(lambda: "IL-02 is cleared." in app.text())
    assert peer.asked[-1] == (
        "clear",
        {"interlock": 2, "name": "ana", "words": ["shut", "clear", "home"]},
    )


async def test_the_key_of_the_list_chooses_anew_where_the_list_is_shown_already(
    peer: FakeDaemon, socket_at: str
) -> None:
    """A sentence of the next one up says: keys i,ENTER."""
    peer.news = [("status", told(state="TRIPPED", abnormals=(GUARD,)))]
    async with screens(socket_at, "i") as (app, pilot):
        assert "> IL-02" in app.text()
        unproven = Abnormal("IL-15", 1, "Not proven.", "", "", 1, False, "prove")
        app._news("status", told(abnormals=(unproven,)))
        app.say("IL-02 is cleared.")
        await pilot.press("down", "i")
        assert "> IL-15" in app.text()
        assert "IL-02 is cleared." in app.text()


async def test_what_refuses_series_and_stroke_alike_is_told_once(
    peer: FakeDaemon, socket_at: str
) -> None:
    no = {"series": "IL-17: Air was away.", "stroke": "IL-20: Restarted."}
    peer.news = [("status", told(why_not=no))]
    async with screens(socket_at, "s") as (app, _):
        assert "Refused   Series: IL-17: Air was away." in app.text()
        assert "Refused   Stroke: IL-20: Restarted." in app.text()
        app._news("status", told(why_not=dict.fromkeys(no, "IL-20: Restarted.")))
        assert "Refused   Series and stroke: IL-20: Restarted." in app.text()


async def test_why_not_is_said_for_each_action_and_never_that_one_may_open(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(why_not={"portion": "IL-17: Air was away."}))]
    async with screens(socket_at, "i", "y") as (app, _):
        text = app.text()
    assert "Portion   refused. IL-17: Air was away." in text
    assert "Series    would be taken" in text
    assert "Opening" not in text


def test_every_code_is_watched_and_has_its_live_value() -> None:
    """Held against the daemon's table of rules and the words of what is not watched."""
    watched = {i.number for i in INTERLOCKS if i.place != "daemon"} | RULE_BY_NUMBER.keys()
    assert watched == {i.number for i in INTERLOCKS}
    assert set(PART_OF.values()) <= {words for _, words in WATCHED}
    assert set(LIVE) == {one.number for one in INTERLOCKS}, "each has its live value"


def test_every_interlock_shows_its_live_value() -> None:
    """One that is worth something: another status shows another one, and an old one shows none."""
    pushing = {"state": "PORTIONING", "phase": "push"}
    statuses = [view.from_json(told(**changes)) for changes in ({}, OTHERWISE, pushing)]
    old = view.from_json(told(state="NO LINK", link_age_s=9.0))
    for one in INTERLOCKS:
        values = [LIVE[one.number](status) for status in statuses]
        assert all(values), one.code
        assert len(set(values)) > 1, one.code
        assert max(map(len, values)) <= 18, "so many columns are left of 80"
        if one.number not in (19, 28):
            assert interlock_line(one, old, {}).endswith(" old")


async def test_what_is_not_up_or_latched_is_not_shelved(peer: FakeDaemon, socket_at: str) -> None:
    peer.news = [("status", told(state="TRIPPED", abnormals=(GUARD,)))]
    async with screens(socket_at, "i", "k") as (app, pilot):
        assert "What stopped the bench is never shelved" in app.text()
        await pilot.press("down", "k")
        assert "IL-03 is not up, so there is nothing to shelve." in app.text()
        assert not app.page.typing


async def test_interlocks_begin_at_what_a_person_can_clear(
    peer: FakeDaemon, socket_at: str
) -> None:
    notes = (
        Abnormal("IL-17", 1, "Dry stroke.", "", "", 1, False, "auto"),
        Abnormal("IL-15", 1, "Not proven.", "", "", 1, False, "prove"),
    )
    peer.news = [("status", told(abnormals=notes))]
    async with screens(socket_at, "i") as (app, pilot):
        assert "> IL-15" in app.text()
        await pilot.press("up", "y", "w", "i")
        assert "> IL-15" in app.text(), "each time it is opened, and in the list"


async def test_the_record_of_a_tube_is_there_for_a_terminal_that_comes_later(
    peer: FakeDaemon, socket_at: str
) -> None:
    peer.news = [("status", told(tube_net_kg=0.43, tube_temperature_c=6.5, tube_open_s=600.0))]
    async with screens(socket_at, "t") as (app, _):
        assert "open for 10 min" in app.text()
        assert "Record    net 430 g; 6.5 C as it came in" in app.text()


@pytest.mark.parametrize("key", ["f", "t"])
async def test_who_else_is_in_control_stands_where_the_feed_is_moved(
    peer: FakeDaemon, socket_at: str, key: str
) -> None:
    peer.news = [("status", told(controller="client 2"))]
    async with screens(socket_at, key) as (app, _):
        words = "Control   another terminal (client 2); at rest it can be taken over"
        assert words in app.text()
        app._changed(False)
        assert "Control   not known: no daemon answers" in app.text()
        app._changed(True)
        app._news("status", told())
        assert "Control " not in app.text()


def test_a_command_in_a_sentence_is_told_by_its_keys() -> None:
    assert keyed("Then 'benchd clear IL-20' asks; 'benchd here' says.") == (
        "Then keys i,ENTER ask; keys f,h say."
    )
    assert keyed("It moves. 'benchd here' says.") == "It moves. Keys f,h say."
    assert keyed("'benchd weigh' asks") == "Key g asks"
    assert keyed("Look: 'benchd eye --empty', 'benchd here 0mm', 'benchd serve'") == (
        "Look: keys t,e, keys f,h, 'benchd serve'"
    )
    for keys in KEYS_OF.values():
        first, second, *_ = [*keys.split(","), ""]
        case = [one for one in CASES if one.screen == SCREENS[first].name]
        assert not second or {"ENTER": "enter"}.get(second, second) in {one.key for one in case}


async def test_a_tube_is_put_in_primed_and_taken_out(peer: FakeDaemon, socket_at: str) -> None:
    peer.answers |= {
        "tube_in": {"id": "T7"},
        "approach": {**MOVED, "ending": "contact"},
        "prime": {**MOVED, "ending": "no-flow"},
        "teach": {"mean": 640.0, "spread": 9.0, "both": True},
        "tube_out": {"ending": "relieved"},
    }
    keys = ("t", "b", *"T7", "enter", *"430", "enter", *"6.5", "enter")
    async with screens(socket_at, *keys) as (app, pilot):
        await until(lambda: "The record of tube T7 is open" in app.text())
        for key, said in (
            ("a", "(contact)"),
            ("m", "No dough came"),
            ("y", "The eye reads 640 counts"),
            ("o", "Backed out (relieved)."),
        ):
            await pilot.press(key)
            await answer_yes(app, pilot)
            await until(lambda said=said: said in app.text())
    (record,) = [params for method, params in peer.asked if method == "tube_in"]
    assert record == {"id": "T7", "net_mass_kg": pytest.approx(0.43), "temperature_c": 6.5}


async def test_cards_are_read_compared_and_chosen(
    peer: FakeDaemon, socket_at: str, folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    peer.answers["plan"] = PLAN
    monkeypatch.setattr(Screens, "study", lambda _, ask, given, then, __: then(ALONE[ask](given)))
    async with screens(socket_at, "c", folder=folder) as (app, pilot):
        assert "> bench  bench.yaml" in app.text()
        assert "notes.yaml" not in app.text()
        await pilot.press("down", "k", "down", "d")
        assert "masa.yaml to other.yaml; " in app.text()
        assert "aim: 30 g -> 31 g (+3.3 %)" in app.text()
        await pilot.press("escape", "u", "l")
        await until(lambda: "other.yaml: stroke 12.7 mm" in app.text())
        await pilot.press("s")
        assert "Card      other.yaml" in app.text()


async def test_below_the_list_stands_how_the_chosen_card_begins(
    peer: FakeDaemon, socket_at: str, tmp_path: Path
) -> None:
    """From its first key on, where there is room for that."""
    (tmp_path / "a.yaml").write_text("dough: masa\naim: 30 g\n", "utf-8")
    (tmp_path / "b.yaml").write_text("# Said first.\n\ndough: other\naim: 31 g\n", "utf-8")
    async with screens(socket_at, "c", folder=str(tmp_path)) as (app, pilot):
        assert "- a.yaml; all of it\ndough: masa\naim: 30 g\n" in app.text()
        await pilot.press("down")
        assert "- b.yaml; from line 3; ENTER: all\ndough: other\naim: 31 g\n" in app.text()
        assert "Said first" not in app.text()
        assert len(app.page.lines(0.0, 80, 6)) == 2


async def test_a_card_is_read_with_its_signs_spelled(
    peer: FakeDaemon, socket_at: str, tmp_path: Path
) -> None:
    (tmp_path / "a.yaml").write_text("dough: masa  # 22 \u00b0C \u00b1 1\n\tok\u2028\n", "utf-8")
    async with screens(socket_at, "c", "enter", folder=str(tmp_path)) as (app, _):
        assert "dough: masa  # 22  deg C +- 1" in app.text()
        assert "    ok" in app.text()
        assert app.text().isascii()


async def test_the_journal_shows_news_and_filters_it(peer: FakeDaemon, socket_at: str) -> None:
    peer.news = [
        ("status", told()),
        ("weight", {"portion": 3, "mass_kg": 0.0318, "look": ""}),
        ("trip", {"interlock": "IL-09", "up": True, "text": "No dough for 15 mm."}),
    ]
    async with screens(socket_at, "j", time_of_day=lambda: "09:14:07") as (app, pilot):
        assert "09:14:07 Portion 3 weighs 31.8 g." in app.text()
        assert "09:14:07 IL-09 is up: No dough for 15 mm." in app.text()
        await pilot.press("l", "l")
        assert "Portion 3 weighs" not in app.text()
        assert "IL-09 is up" in app.text()


def test_the_fake_peer_speaks_json() -> None:
    """What these tests give out is what the daemon could send."""
    assert json.loads(json.dumps(told(abnormals=(GUARD,))))["abnormals"][0]["code"] == "IL-02"
