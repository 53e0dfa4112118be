"""What the broker is told: topics, and the packs of each, read back as any SenML reader would."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import msgspec
import pytest

from protocols import news, senml
from protocols.news import Counts, Head, Place
from protocols.status import Abnormal, SeriesStatus
from tests.quiet_status import STATUS

PLACE = "journal|row|after-journal|after-row"
ROOT = Path(__file__).resolve().parents[2]
AT_S = 1_800_000_000.5
HERE = Place("20270115T080000.000000Z-0a1b2c3d", 120)
BEFORE = Place("20270115T080000.000000Z-0a1b2c3d", 90)

TRIPPED = msgspec.structs.replace(
    STATUS,
    state="TRIPPED",
    not_watched=("guard", "thrust"),
    unweighed=(2, 3),
    eye_counts=341,
    eye_sees=False,
    abnormals=(
        Abnormal("IL-09", 3, "dough gone", "", "", 1, True, "ack"),
        Abnormal("IL-30", 1, "times doubtful", "", "", 1, False, "auto"),
    ),
    samples_lost=1,
)

# As `benchd.core.portion_record` makes it, of a bench without air and supply sensors.
PORTION: dict[str, Any] = {
    "number": 12,
    "class": "normal",
    "outcome": "complete",
    "tube": "T1",
    "index": 3,
    "group": 1,
    "dough": "masa",
    "aim_kg": 0.030,
    "asked_m": {"take_up": 0.001, "push": 0.0127, "draw_back": 0.0005},
    "asked_steps": 10_160,
    "made_steps": 10_160,
    "position_m": 0.1,
    "phases": [{"phase": "push", "t_us": 5, "t_ns": 6, "position_m": 0.1}],
    "phase_s": {"take-up": 0.45, "push": 2.23},
    "cutter": {"start_delay_s": 0.019, "stroke_s": 0.284, "return_delay_s": None},
    "thrust_n": {"start": 20.0, "peak": 219.0, "at_cut": 180.0},
    "eye": {"min": 600, "mean": 640, "at_cut": 1023, "gap_m": 0.0},
    "air_pa": {"min": None, "at_cut": None},
    "supply_v": {"min": None},
    "temperature_c": 21.5,
    "clock_error_s": 0.0004,
    "by_hand": {},
}


def values(data: bytes) -> dict[str, Any]:
    """Resolved values by name, (value, unit) for numbers; every record must have the one time."""
    got: dict[str, Any] = {}
    for one in senml.resolve(senml.decode(data), 0.0):
        assert one.time_s == AT_S
        assert one.name is not None
        assert one.name not in got
        if one.value is not None:
            got[one.name] = (one.value, one.unit)
        else:
            got[one.name] = one.text if one.truth is None else one.truth
    return got


def test_the_tree_of_topics() -> None:
    assert [news.topic("kitchen/benchd", "maize", word) for word in news.WORDS] == [
        "kitchen/benchd/maize/online",
        "kitchen/benchd/maize/state",
        "kitchen/benchd/maize/portion",
        "kitchen/benchd/maize/weight",
        "kitchen/benchd/maize/trip",
    ]
    assert set(news.WORDS) >= news.RETAINED


def test_a_portion_with_its_place_and_the_one_before() -> None:
    got = values(news.record("benchd/maize/portion", HERE, BEFORE, AT_S, "portion", PORTION))
    base = "benchd/maize/portion/"
    expected = {
        "number": (12, "count"),
        "class": "normal",
        "outcome": "complete",
        "tube": "T1",
        "index": (3, "count"),
        "group": (1, "count"),
        "dough": "masa",
        "aim": (0.030, "kg"),
        "position": (0.1, "m"),
        "gap": (0.0, "m"),
        "thrust/start": (20.0, "N"),
        "thrust/peak": (219.0, "N"),
        "thrust/at-cut": (180.0, "N"),
        "eye/least": (pytest.approx(600 / 1023), "/"),
        "eye/mean": (pytest.approx(640 / 1023), "/"),
        "eye/at-cut": (pytest.approx(1.0), "/"),
        "cutter/start-delay": (0.019, "s"),
        "cutter/stroke": (0.284, "s"),
        "temperature": (21.5, "Cel"),
        "clock-error": (0.0004, "s"),
        "asked/take-up": (0.001, "m"),
        "asked/push": (0.0127, "m"),
        "asked/draw-back": (0.0005, "m"),
        "phase/take-up": (0.45, "s"),
        "phase/push": (2.23, "s"),
        "journal": HERE.journal,
        "row": (120, "count"),
        "after-journal": BEFORE.journal,
        "after-row": (90, "count"),
    }
    assert got == {base + name: value for name, value in expected.items()}


def test_a_weight() -> None:
    data = {
        "portion": 12, "mass_kg": 0.0301, "text": "30.1 g", "look": "clean", "threw_m": None,
        "confirmed": False, "readability_kg": 1e-4,
    }  # fmt: skip
    got = values(news.record("b/weight", HERE, BEFORE, AT_S, "weight", data))
    assert got["b/weight/mass"] == (0.0301, "kg")
    assert got["b/weight/portion"] == (12, "count")
    assert got["b/weight/look"] == "clean"
    assert "b/weight/threw" not in got


def test_a_trip_that_came_and_one_that_went() -> None:
    data = {"interlock": "IL-09", "up": True, "text": "dough gone", "value": None, "bound": None}
    got = values(news.record("b/trip", HERE, None, AT_S, "trip", data))
    assert got == {
        "b/trip/interlock": "IL-09",
        "b/trip/up": True,
        "b/trip/text": "dough gone",
        "b/trip/journal": HERE.journal,
        "b/trip/row": (120, "count"),
    }
    got = values(news.record("b/trip", HERE, None, AT_S, "trip", {**data, "up": False, "text": ""}))
    assert got["b/trip/up"] is False
    assert "b/trip/text" not in got


@pytest.mark.parametrize("kind", news.RECORDS)
def test_a_record_of_another_version_still_goes_out(kind: str) -> None:
    got = values(news.record("b/x", HERE, BEFORE, AT_S, kind, {"eye": 5}))
    assert set(got) == {"b/x/journal", "b/x/row", "b/x/after-journal", "b/x/after-row"}


def test_the_state_says_what_is_not_watched_and_what_stops() -> None:
    got = values(news.state("b/state", HERE, AT_S, TRIPPED, Counts(waiting=4, dropped=2)))
    assert got["b/state/word"] == "TRIPPED"
    assert got["b/state/not-watched"] == "guard, thrust"
    assert got["b/state/stops"] == "IL-09"
    assert got["b/state/cautions"] == "IL-30"
    assert got["b/state/energy/barrel"] == "8 N low"
    assert got["b/state/thrust"] == (8.0, "N")
    assert got["b/state/air"] == (2e5, "Pa")
    assert got["b/state/eye"] == (pytest.approx(1 / 3), "/")
    assert got["b/state/eye-sees"] is False
    assert got["b/state/unweighed"] == (2, "count")
    assert got["b/state/waiting"] == (4, "count")
    assert got["b/state/dropped"] == (2, "count")
    assert got["b/state/row"] == (120, "count")
    assert "b/state/mean" not in got
    assert "b/state/head/hash" not in got
    assert "b/state/phase" not in got
    assert not [name for name in got if name.startswith("b/state/series")]


def test_the_state_of_a_series_and_of_a_bench_without_an_eye() -> None:
    series = SeriesStatus(3, None, 4.6, 1.0, True, False, "IL-09: dough gone")
    status = msgspec.structs.replace(TRIPPED, series=series, eye_counts=None, eye_sees=None)
    got = values(news.state("b/state", HERE, AT_S, status, Counts()))
    assert got["b/state/series/made"] == (3, "count")
    assert got["b/state/series/every"] == (4.6, "s")
    assert got["b/state/series/paused"] is True
    assert got["b/state/series/why"] == "IL-09: dough gone"
    assert "b/state/series/of" not in got
    assert "b/state/eye" not in got


def test_the_state_carries_the_head_of_the_journal() -> None:
    head = Head("20270115T080000.000000Z-0a1b2c3d", 130, "ab" * 32)
    got = values(news.state("b/state", HERE, AT_S, TRIPPED, Counts(), head))
    assert got["b/state/head/journal"] == head.journal
    assert got["b/state/head/row"] == (130, "count")
    assert got["b/state/head/hash"] == "ab" * 32


def documented(page: str) -> set[str]:
    """The first cells of the tables of a guide's page, and what is in them in code."""
    rows = [line.split("|")[1] for line in page.splitlines() if line.startswith("|")]
    return {name for row in rows for name in re.findall(r"`([^`]+)`", row)}


def test_the_guide_explains_every_name() -> None:
    page = (ROOT / "benchd" / "guide" / "mqtt.md").read_text("utf-8")
    series = SeriesStatus(3, 12, 4.6, 1.0, True, False, "IL-09: dough gone")
    status = msgspec.structs.replace(
        TRIPPED, phase="push", waits_for="x", series=series, mean_kg=0.03
    )
    every: dict[str, Any] = {
        "portion": {**PORTION, "air_pa": {"min": 1.0, "at_cut": 1.0}, "supply_v": {"min": 5.0}},
        "weight": {
            "portion": 1, "mass_kg": 0.03, "readability_kg": 1e-4, "look": "clean", "threw_m": 0.1,
        },
        "trip": {"interlock": "IL-09", "up": True, "text": "dough gone"},
    }  # fmt: skip
    delays = ("start_delay_s", "stroke_s", "return_delay_s", "return_s")
    every["portion"]["cutter"] = dict.fromkeys(delays, 0.1)
    packs = [news.record(kind, HERE, BEFORE, AT_S, kind, data) for kind, data in every.items()]
    packs.append(news.state("state", HERE, AT_S, status, Counts(), Head("a", 1, "ab")))
    packs.append(news.online("online", HERE, AT_S, up=False, why="ended"))
    names = {name for data in packs for name in values(data)}
    # What all of them say has rows of its own, and the phases have one for all.
    for pattern, shown in (
        (rf"^\w+/({PLACE})$", r"WORD/\1"),
        (r"^portion/phase/.*", "portion/phase/PHASE"),
    ):
        names = {re.sub(pattern, shown, name) for name in names}
    told = documented(page)
    assert names - told == set()
    assert told - names == {news.topic("benchd", "BENCH", word) for word in news.WORDS}
    for unit in senml.UNITS:
        assert f"`{unit}`" in page


def test_online_and_the_will() -> None:
    got = values(news.online("b/online", HERE, AT_S, up=True))
    assert got["b/online/online"] is True
    assert "b/online/why" not in got
    will = senml.decode(news.online("b/online", HERE, None, up=False, why="gone without a word"))
    assert [one.time_s for one in will] == [None] * len(will)
    assert will[0].base_time_s is None
    assert (will[0].truth, will[1].text) == (False, "gone without a word")
