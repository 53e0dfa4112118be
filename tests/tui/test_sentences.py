"""Changes as sentences."""

from __future__ import annotations

from typing import Any

import pytest

from benchd.core.ledger import RECORDS
from protocols.requests import TOPICS
from protocols.status import Abnormal, BenchStatus
from tests.quiet_status import told
from tui import view
from tui.screens.journal import KINDS
from tui.sentences import SENTENCES, changes, news_sentence

GUARD = Abnormal("IL-02", 3, "Guard open.", "The drive is off.", "Shut it.", 1, True, "prove")


def seen(**fields: Any) -> BenchStatus:
    """A status as the daemon tells it, with some fields changed."""
    return view.from_json(told(**fields))


def test_the_first_status_says_state_energy_and_what_nobody_watches() -> None:
    assert list(changes(None, seen(not_watched=("thrust",)))) == [
        "The bench is READY.",
        "Energy: barrel 8 N low; air 2.0 bar live; coils drive live, valve off.",
        "Not watched: thrust.",
    ]


def test_numbers_that_drift_are_not_news() -> None:
    before = seen(barrel="8 N low", link_age_s=0.1, position_m=0.05)
    after = seen(barrel="9 N low", link_age_s=0.2, position_m=0.06)
    assert list(changes(before, after)) == []


def test_what_becomes_loaded_is_said() -> None:
    assert list(changes(seen(), seen(barrel="90 N loaded"))) == [
        "Energy: barrel 90 N loaded; air 2.0 bar live; coils drive live, valve off."
    ]


def test_an_abnormal_is_said_once_with_its_rank() -> None:
    tripped = seen(state="TRIPPED", abnormals=(GUARD,))
    assert list(changes(seen(), tripped)) == [
        "The bench is TRIPPED.",
        "!3 STOP IL-02: Guard open. The drive is off. Shut it.",
    ]
    assert list(changes(tripped, tripped)) == []


def test_a_silent_board_is_said_as_not_known() -> None:
    said = list(changes(seen(), seen(state="NO LINK", link_age_s=2.0)))
    assert "Not watched: anything, while no word comes from the board." in said
    assert any("barrel not known: treat as loaded" in sentence for sentence in said)


@pytest.mark.parametrize(
    ("topic", "data", "sentence"),
    [
        ("weight", {"portion": 3, "mass_kg": 0.0318, "look": ""}, "Portion 3 weighs 31.8 g."),
        (
            "series",
            {"what": "paused", "made": 4, "count": 12, "reason": "IL-09: No dough."},
            "Series paused, 4 of 12 made: IL-09: No dough.",
        ),
        (
            "move",
            {"moved_m": -0.002, "ending": "reached", "position_m": 0.048},
            "Moved -2.00 mm (reached); the feed stands at 48.00 mm.",
        ),
        (
            "move",
            {"moved_m": None, "ending": "stopped", "position_m": None},
            "Moved an unknown way (stopped); where the feed stands is not known.",
        ),
        ("trip", {"interlock": "IL-02", "up": False, "text": ""}, "IL-02 is gone."),
        (
            "refusal",
            {"command": "move", "condition": "IL-02", "text": "The guard is open."},
            "The board refused 'move': The guard is open.",
        ),
        ("message", {"text": "Look at the eye."}, "Look at the eye."),
        ("weight", {"portion": 3}, "News of a weight that cannot be read here."),
        ("carry", {"anything": 1}, ""),
    ],
)
def test_news_is_one_sentence(topic: str, data: dict[str, Any], sentence: str) -> None:
    assert news_sentence(topic, data) == sentence


def test_every_topic_of_the_daemon_that_is_for_people_has_a_sentence() -> None:
    assert set(TOPICS) - {"status"} == set(SENTENCES)


def test_every_kind_of_news_to_choose_from_is_recorded_and_has_a_sentence() -> None:
    """Also in a past journal, where the same word asks for records of that kind."""
    assert ("all", *SENTENCES) == KINDS
    assert set(SENTENCES) <= set(RECORDS)
