"""What commands ask of a daemon, and what they say: done, refused, nobody there, nobody to ask."""

from __future__ import annotations

import json
import os
import pty
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchd.cli import daemon as cli_daemon
from benchd.core import cycle
from benchd.io import clock, paths
from protocols import requests
from protocols.status import Abnormal, SeriesStatus
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import STATUS

Benchd = Callable[..., Outcome]
NOW = "Now barrel 8 N low; air 2.0 bar live; coils drive live, valve off."
SEEN: tuple[str, dict[str, Any]] = ("status", {})
MOVED = {"ending": "reached", "moved_m": 0.0025, "position_m": 0.0525}
RECORD = {
    "number": 4,
    "class": "normal",
    "outcome": "complete",
    "asked_m": {"take_up": 0.002, "push": 0.0133, "draw_back": 0.002},
    "asked_steps": 12240,
    "made_steps": 12240,
    "phase_s": {"take-up": 0.58, "push": 3.41, "cut": 0.33},
    "thrust_n": {"start": 10.0, "peak": 214.0, "at_cut": 90.0},
}
LINE = "portion 4 normal; stroke 13.3 mm; take-up 0.58 push 3.41 cut 0.33 s; thrust 214 N"


def test_codes_are_those_of_the_protocol() -> None:
    assert cli_daemon.QUESTION == requests.QUESTION


def test_every_request_that_commands_send_exists(daemon: FakeDaemon) -> None:
    folder = Path(cli_daemon.__file__).parent
    text = "".join(path.read_text() for path in folder.glob("*.py"))
    missing = [name for name in requests.REQUESTS if f'"{name}"' not in text]
    # Keys alone say that somebody is there, and that one is held: `jog` goes as far in one command.
    assert set(missing) <= {"attend", "jog_held", "hold"}


# Which bench.


def test_without_a_daemon_one_sentence_says_so(benchd: Benchd) -> None:
    shown = benchd("status")
    none = "No daemon is running: start one with 'benchd serve bench.yaml'."
    assert shown[:2] == (1, "")
    assert shown.err.startswith(f"{none} Until then nobody measures anything: the barrel counts")
    assert benchd("relieve", "--yes") == (1, "", f"{none}\n")


def test_a_jog_that_is_too_long_is_refused_before_anybody_is_asked(
    benchd: Benchd, daemon: FakeDaemon
) -> None:
    for way in ("500mm", "-50.1mm"):
        shown = benchd("jog", way)
        assert shown.code == 2
        assert "A jog goes 50 mm at most" in shown.err
        assert "will feed" not in shown.err.lower()
    assert not daemon.asked


def test_a_socket_left_behind_is_no_daemon(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.close()
    shown = benchd("status")
    assert shown.code == 1
    assert "start it with 'benchd serve'" in shown.err


def test_where_two_run_the_name_is_asked(benchd: Benchd, daemon: FakeDaemon) -> None:
    other = FakeDaemon(paths.socket_path("barley"))
    Path(paths.socket_path("stale")).touch()
    shown = benchd("status")
    assert shown.code == 2
    assert "More than one bench runs (barley, maize): say which with --bench NAME." in shown.err
    assert benchd("status", "--bench", "maize").code == 0
    other.close()
    assert benchd("status").code == 0


# Status.


def test_status_is_lines_or_json(benchd: Benchd, daemon: FakeDaemon) -> None:
    shown = benchd("status")
    assert shown.code == 0
    assert shown.out.startswith("READY; bench maize")
    assert json.loads(benchd("status", "--json").out)["bench"] == "maize"


def test_following_prints_a_line_a_change_until_the_daemon_ends(
    benchd: Benchd, daemon: FakeDaemon
) -> None:
    ready = msgspec.to_builtins(STATUS)
    daemon.news = [("status", ready), ("status", ready), ("status", ready | {"state": "PAUSED"})]
    daemon.hang_up_after_news = True
    shown = benchd("status", "--follow")
    assert [line.split(";")[0] for line in shown.out.splitlines()] == ["READY", "PAUSED"]
    assert shown.code == 1
    assert "The daemon ended, so nothing is known" in shown.err


# Moving.


def test_a_jog_shows_cautions_and_consequence_and_moves(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["jog"] = MOVED
    shown = benchd("jog", "+2.5mm", "--speed", "2mm/s", "--yes")
    assert shown.code == 0
    assert daemon.asked[-2:] == [("jog", {"distance_m": 0.0025, "speed_m_s": 0.002}), SEEN]
    assert "Will feed 2.5 mm forward; guard shut; barrel 8 N low" in shown.err
    assert "! Pinch" in shown.err
    assert shown.out == f"Moved +2.50 mm (reached); the feed stands at 52.50 mm. {NOW}\n"


def test_a_negative_distance_is_no_option(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["jog"] = MOVED | {"ending": "tripped"}
    shown = benchd("jog", "-5mm", "--yes", "--json")
    assert ("jog", {"distance_m": -0.005}) in daemon.asked
    assert json.loads(shown.out)["ending"] == "tripped"
    assert shown.code == 1


def test_what_latched_in_a_move_is_named(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["jog"] = MOVED | {"ending": "tripped"}
    latch = Abnormal("IL-14", 3, "End of travel.", "", "", 0, True, "ack")
    status = msgspec.structs.replace(STATUS, abnormals=(latch,))
    daemon.answers["status"] = msgspec.to_builtins(status)
    shown = benchd("jog", "1mm", "--yes")
    assert shown.out.endswith(f"{NOW} IL-14 is up: 'benchd status' says what to do.\n")


def test_nothing_moves_when_nobody_can_be_asked(benchd: Benchd, daemon: FakeDaemon) -> None:
    for words in (["jog", "1mm"], ["relieve"], ["cut"], ["drive", "on"], ["tube", "out"]):
        shown = benchd(*words)
        assert shown.code == 2, words
        assert "add --yes" in shown.err
    assert daemon.methods() == []


@pytest.mark.parametrize("answer", ["no\n", "\n", "nay\n", ""])
def test_nothing_moves_unless_the_person_says_yes(
    benchd: Benchd, daemon: FakeDaemon, typing: Callable[[str], None], answer: str
) -> None:
    typing(answer)
    shown = benchd("jog", "1mm")
    assert shown.code == 1
    assert "Nothing was done" in shown.err
    assert daemon.methods() == []


def test_yes_moves(benchd: Benchd, daemon: FakeDaemon, typing: Callable[[str], None]) -> None:
    daemon.answers["jog"] = MOVED
    typing("yes\n")
    assert benchd("jog", "1mm").code == 0


def test_a_guard_that_is_open_or_not_watched_is_said(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["relieve"] = MOVED | {"ending": "relieved", "moved_m": -0.001}
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | {"not_watched": ["guard"]}
    shown = benchd("relieve", "--yes")
    assert "guard not watched" in shown.err
    assert shown.err.index("! Pinch") < shown.err.index("! Stored force") < shown.err.index("Will ")
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | {"pins": {"guard": False}}
    assert "guard open" in benchd("relieve", "--yes").err
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | {"state": "NO LINK", "pins": {}}
    assert "guard not known" in benchd("relieve", "--yes").err
    smallest = {"not_watched": ["guard", "thrust"]}
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | smallest
    assert "; guard not watched; nobody watches thrust;" in benchd("relieve", "--yes").err


def test_a_refusal_is_the_daemons_sentence(benchd: Benchd, daemon: FakeDaemon) -> None:
    data = {"condition": "IL-02", "value": None, "bound": None}
    daemon.answers["jog"] = Refusal(-32001, "Guard open.", data)
    shown = benchd("jog", "1mm", "--yes", "--json")
    assert shown.code == 1
    assert "Refused by IL-02: Guard open. 'benchd status' says what to do." in shown.err
    assert json.loads(shown.out) == {"refused": "Guard open.", "code": -32001, "data": data}


# Portions.


def test_a_portion_says_what_it_will_push(benchd: Benchd, daemon: FakeDaemon, card: str) -> None:
    daemon.answers |= {"portion": RECORD, "plan": {"stroke_m": 0.0133}}
    shown = benchd("portion", card, "--yes")
    loaded = "guard shut; barrel 8 N low; air 2.0 bar live"
    assert f"Will push 13.3 mm and cut; 1 portion; {loaded}; Ctrl-C stops" in shown.err
    assert "! Blade" in shown.err
    assert shown.out == f"{LINE}\n{NOW}\n"
    assert daemon.asked[-2] == ("portion", {"dough": "dough: masa\n", "button": False})


def test_a_portion_that_did_not_complete_ends_with_1(
    benchd: Benchd, daemon: FakeDaemon, card: str
) -> None:
    daemon.answers["portion"] = RECORD | {"outcome": "tripped", "made_steps": 6120}
    shown = benchd("portion", card, "--yes")
    assert shown.code == 1
    assert "portion 4 normal; TRIPPED; stroke 13.3 mm; made 50 % of it" in shown.out


def test_a_mistake_in_the_card_names_the_file(
    benchd: Benchd, daemon: FakeDaemon, card: str
) -> None:
    daemon.answers["plan"] = Refusal(-32001, "dough card, line 1: 'aim' is missing.")
    shown = benchd("portion", card, "--yes")
    assert shown.code == 1
    assert f"{card}, line 1: 'aim' is missing." in shown.err
    missing = benchd("portion", "no-such-card.yaml", "--yes")
    assert missing.code == 1
    assert "no-such-card.yaml: cannot be read" in missing.err


def test_a_card_of_the_other_kind_gets_one_sentence(
    benchd: Benchd, daemon: FakeDaemon, card: str, tmp_path: Path
) -> None:
    bench = tmp_path / "bench.yaml"
    bench.write_text("# A comment\nbench: maize\nfeed:\n  bore: 50 mm\n")
    shown = benchd("portion", str(bench), "--yes")
    assert shown.code == 1
    assert shown.err == (
        f"{bench} is a bench card; a dough card belongs here, such as masa.yaml.\n"
    )
    assert daemon.asked == []
    shown = benchd("serve", card)
    assert shown == (
        1, "", f"{card} is a dough card; a bench card belongs here, such as bench.yaml.\n"
    )  # fmt: skip


def test_a_series_prints_a_line_a_portion(benchd: Benchd, daemon: FakeDaemon, card: str) -> None:
    ended = {"what": "ended", "made": 1, "count": 1, "reason": "all made", "first": 4}
    daemon.answers |= {"series": ended, "plan": {"stroke_m": 0.0133}}
    trip = {"interlock": "IL-25", "up": True, "text": "2 of the last 5 odd."}
    daemon.news = [("portion", RECORD), ("trip", trip), ("series", ended)]
    shown = benchd("series", card, "--count", "1", "--every", "8s", "--yes")
    assert shown.code == 0
    assert "Will push 13.3 mm and cut, one every 8 s; 1 portion; guard shut; " in shown.err
    assert LINE in shown.err
    assert "IL-25: 2 of the last 5 odd." in shown.err
    assert shown.out == f"Series ended (all made): 1 of 1 made. {NOW}\n"
    asked = next(params for method, params in daemon.asked if method == "series")
    assert asked == {"dough": "dough: masa\n", "every_s": 8.0, "count": 1}


def test_a_series_that_is_too_quick_is_refused_before_anybody_is_asked(
    benchd: Benchd, daemon: FakeDaemon, card: str
) -> None:
    daemon.answers["plan"] = {"stroke_m": 0.0133, "shortest_s": 4.3}
    shown = benchd("series", card, "--count", "2", "--every", "1s")
    assert shown.code == 1
    assert "1.0 s is shorter than one portion takes. Shortest is " in shown.err
    assert "Go ahead?" not in shown.err
    assert "series" not in daemon.methods()


def test_enter_says_that_somebody_is_there_while_a_series_runs(
    benchd: Benchd, daemon: FakeDaemon, card: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = pty.openpty()
    attended = threading.Event()

    def attend(params: dict[str, Any]) -> dict[str, Any]:
        attended.set()
        return {"attended": True}

    def series(params: dict[str, Any]) -> dict[str, Any]:
        os.write(ours, b"\n")
        assert attended.wait(30)
        return {"what": "ended", "made": 2, "count": 2, "reason": "", "first": 1}

    daemon.answers |= {"series": series, "attend": attend}
    daemon.news = [("series", {"what": "ended"})]
    with os.fdopen(theirs, "r") as terminal, os.fdopen(ours, "wb"):
        monkeypatch.setattr("sys.stdin", terminal)
        shown = benchd("series", card, "--count", "2", "--every", "8s", "--yes")
    assert shown.code == 0
    assert "ENTER says that somebody is there" in shown.err
    assert "attend" in daemon.methods()


def test_a_paused_series_can_be_resumed(benchd: Benchd, daemon: FakeDaemon, card: str) -> None:
    paused = {"what": "paused", "made": 3, "count": None, "reason": "nobody attends", "first": 1}
    daemon.answers["series"] = paused
    daemon.news = [("series", paused)]
    shown = benchd("series", card, "--until-end", "--every", "8", "--yes")
    assert shown.code == 1
    assert f"Series paused (nobody attends): 3 made. {NOW}\nGo on with 'benchd " in shown.out
    series = SeriesStatus(3, 20, 8.0, None, True, False, "nobody attends")
    daemon.answers["status"] = msgspec.to_builtins(msgspec.structs.replace(STATUS, series=series))
    daemon.answers["resume"] = paused | {"what": "ended", "made": 20, "count": 20, "reason": ""}
    daemon.news = [("series", {"what": "ended"})]
    shown = benchd("resume", "--yes")
    assert shown.err.startswith("! ")
    assert "Will go on with the series; 3 made of 20; guard shut; barrel 8 N low" in shown.err
    assert shown.out == f"Series ended: 20 of 20 made. {NOW}\n"


def test_where_nothing_is_paused_nobody_is_cautioned_or_asked(
    benchd: Benchd, daemon: FakeDaemon
) -> None:
    refused = (1, "", "No series is paused, so there is nothing to resume.\n")
    assert benchd("resume") == refused
    going = SeriesStatus(3, 20, 8.0, 1.0, False, False)
    daemon.answers["status"] = msgspec.to_builtins(msgspec.structs.replace(STATUS, series=going))
    assert benchd("resume") == refused


def test_a_series_that_an_interlock_paused_sends_to_the_status(
    benchd: Benchd, daemon: FakeDaemon, card: str
) -> None:
    paused = {"what": "paused", "made": 3, "count": 4, "reason": "IL-02: Guard open.", "first": 1}
    latch = Abnormal("IL-02", 3, "Guard open.", "", "", 0, True, "prove")
    status = msgspec.structs.replace(STATUS, abnormals=(latch,))
    daemon.answers |= {"series": paused, "status": msgspec.to_builtins(status)}
    daemon.news = [("series", paused)]
    shown = benchd("series", card, "--count", "4", "--every", "8", "--yes")
    assert "Series paused (IL-02: Guard open): 3 of 4 made. " in shown.out
    assert "IL-02 is up: 'benchd status' says what to do.\nWhen that is done, go" in shown.out


@pytest.mark.parametrize(
    ("reason", "code"), [("end of the tube", 0), ("finished early", 0), ("stopped", 1), ("Air.", 1)]
)
def test_a_series_without_a_count_is_done_when_the_tube_is(
    benchd: Benchd, daemon: FakeDaemon, card: str, reason: str, code: int
) -> None:
    ended = {"what": "ended", "made": 3, "count": None, "reason": reason, "first": 1}
    daemon.answers["series"] = ended
    daemon.news = [("series", ended)]
    assert benchd("series", card, "--until-end", "--every", "8", "--yes").code == code
    if code == 0:
        core = Path(cycle.__file__).read_text("utf-8")
        assert f'end_series(turn, "{reason}")' in core


@pytest.mark.parametrize(
    "words",
    [["in", " "], ["in", "T7", "--net", "0g"], ["in", "T7", "--net=-5g"], ["out", "--heel", "0g"]],
)
def test_a_tube_has_a_name_and_masses_above_zero(
    benchd: Benchd, daemon: FakeDaemon, words: list[str]
) -> None:
    shown = benchd("tube", *words, "--yes")
    assert shown.code == 2
    assert daemon.asked == []


@pytest.mark.parametrize(
    ("words", "method", "params"),
    [
        (["stop"], "stop", {"level": 0}),
        (["stop", "--drop-power"], "stop", {"level": 1}),
        (["pause"], "pause", {}),
        (["finish"], "finish", {}),
        (["here", "0mm"], "here", {"position_m": 0.0}),
        (["drive", "off"], "drive", {"on": False}),
        (["note", "new needle", "--portion", "4"], "note", {"text": "new needle", "portion": 4}),
    ],
)
def test_what_is_asked_of_the_daemon(
    benchd: Benchd, daemon: FakeDaemon, words: list[str], method: str, params: dict[str, Any]
) -> None:
    daemon.answers[method] = {}
    daemon.answers["status"]["pins"]["drive"] = False
    shown = benchd(*words)
    assert shown.code == 0
    assert [(name, given) for name, given in daemon.asked if name == method] == [(method, params)]


# Dough in, out, and seen.


def test_a_tube_goes_in_with_its_record(benchd: Benchd, daemon: FakeDaemon) -> None:
    contact = MOVED | {"ending": "contact"}
    daemon.answers |= {"tube_in": {}, "approach": contact, "prime": MOVED | {"ending": "flowing"}}
    words = [
        "tube",
        "in",
        "T7",
        "--lot",
        "A12",
        "--net",
        "450g",
        "--temperature",
        "43F",
        "--column",
        "190mm",
        "--yes",
    ]
    shown = benchd(*words)
    assert shown.code == 0
    assert daemon.methods() == ["tube_in", "approach", "prime"]
    record = next(params for method, params in daemon.asked if method == "tube_in")
    assert record["id"] == "T7"
    assert record["net_mass_kg"] == pytest.approx(0.45)
    assert record["temperature_c"] == pytest.approx(6.11, abs=0.01)
    assert record["column_m"] == pytest.approx(0.19)
    assert "Primed: moved +2.50 mm (flowing)" in shown.out


@pytest.mark.parametrize("text", ["00:00", "8:30", "23:59"])
def test_when_a_tube_was_opened_is_the_last_such_time_of_day(
    benchd: Benchd, daemon: FakeDaemon, text: str
) -> None:
    daemon.answers |= {"tube_in": {}}
    before = datetime.fromtimestamp(clock.wall_us() / 1e6, UTC)
    assert benchd("tube", "in", "T7", "--opened", text, "--record-only").code == 0
    opened = datetime.fromisoformat(daemon.asked[-1][1]["opened_at"])
    assert opened.strftime("%H:%M") == text.zfill(5)
    assert timedelta(0) <= before - opened <= timedelta(days=1, minutes=1)


def test_a_whole_time_goes_to_the_daemon_as_it_is(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers |= {"tube_in": {}}
    benchd("tube", "in", "T7", "--opened", "2027-01-15T08:30:00Z", "--record-only")
    assert daemon.asked[-1][1]["opened_at"] == "2027-01-15T08:30:00Z"


def test_no_tube_is_primed_before_an_eye_that_was_never_taught(
    benchd: Benchd, daemon: FakeDaemon
) -> None:
    untaught = {"eye_sees": None, "eye_taught": None}
    daemon.answers["status"] = msgspec.to_builtins(STATUS) | untaught
    for words in (["in", "T7"], ["prime"]):
        shown = benchd("tube", *words, "--yes")
        assert shown.code == 1
        assert "Teach it first: 'benchd eye --empty'" in shown.err
    assert daemon.methods() == []


def test_no_contact_or_no_flow_ends_with_1_and_what_to_do(
    benchd: Benchd, daemon: FakeDaemon
) -> None:
    daemon.answers |= {"tube_in": {}, "approach": MOVED, "prime": MOVED}
    shown = benchd("tube", "in", "T7", "--yes")
    assert shown.code == 1
    assert "No contact with the dough" in shown.out
    assert "prime" not in daemon.methods()
    daemon.answers |= {"approach": MOVED | {"ending": "contact"}}
    daemon.answers["prime"] = MOVED | {"ending": "no-flow", "moved_m": 0.025}
    shown = benchd("tube", "prime", "--yes")
    assert shown.code == 1
    assert "No dough after 25 mm: casing not open" in shown.out


def test_a_tube_goes_out_with_its_heel(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers["tube_out"] = {"ending": "reached", "open": "Shut and vent the air first."}
    shown = benchd("tube", "out", "--heel", "23g", "--yes")
    assert shown.code == 0
    assert daemon.asked[-2] == ("tube_out", {"heel_kg": pytest.approx(0.023)})
    assert "Shut and vent the air first." in shown.out


def test_the_eye_is_shown_and_taught(benchd: Benchd, daemon: FakeDaemon) -> None:
    assert benchd("eye").out == "640 counts, dough; taught 120/640\n"
    daemon.answers["teach"] = {"what": "empty", "mean": 120.4, "spread": 6.1, "both": False}
    shown = benchd("eye", "--empty")
    assert daemon.asked[-1] == ("teach", {"what": "empty"})
    assert shown.err == (
        "Reading the eye for some seconds: nothing may stand before it, and nothing may move.\n"
    )
    assert shown.out == (
        "Without dough the eye reads 120 counts (spread 6.1). The other level is missing: bring a "
        "strand before it with 'benchd jog', then 'benchd eye --dough'.\n"
    )
    daemon.answers["teach"] = {"what": "dough", "mean": 640.0, "spread": 5.0, "both": True}
    shown = benchd("eye", "--dough")
    assert shown.out == "With dough the eye reads 640 counts (spread 5.0).\n"
