"""Every cause of the table: complete, known to the guide, and found by its own signs."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from benchd.diagnose.causes import CAUSES
from benchd.diagnose.causes.base import Cause
from benchd.diagnose.findings import EVENTS, Finding, part_of
from benchd.diagnose.rank import SENSORS, log_odds, opinion
from benchd.diagnose.signals import SIGNALS
from tests.grade.score import separable

IDS = [cause.code for cause in CAUSES]
SIDES = [f"{name}{sign}" for name in SIGNALS for sign in "+-"]
NAMES = [*SIDES, *(f"{side} on" for side in SIDES), *EVENTS]
"""Every finding there can be."""


def found(*seen: str) -> dict[str, Finding]:
    """Every finding as told, those named as seen."""
    return {name: Finding(name, name in seen, name) for name in NAMES}


def test_the_table_holds_the_thirty_causes_in_order() -> None:
    assert [f"MC-{number:02d}" for number in range(1, 31)] == IDS


def test_the_guide_has_a_paragraph_for_each() -> None:
    page = (files("benchd") / "guide" / "misfires.md").read_text("utf-8")
    assert re.findall(r"^### (MC-\d\d) ", page, re.M) == IDS


@pytest.mark.parametrize("cause", CAUSES, ids=IDS)
def test_it_is_complete_and_plain(cause: Cause) -> None:
    for text in (cause.name, cause.how, cause.check, cause.remedy):
        assert text
    assert all(text.isascii() for text in cause if isinstance(text, str))
    assert set(cause.shows) | set(cause.rules_out) <= set(NAMES)
    assert all(0.0 < p <= 0.95 for p in cause.shows.values())
    assert not set(cause.shows) & set(cause.rules_out)
    assert 0.0 < cause.common <= 1.0


NO_CAUTION: dict[str, str] = {
    "MC-02": "looks at a piece that was taken from the tray, and listens",
    "MC-07": "looks at pieces that were taken from the tray, and changes a card",
    "MC-18": "a thermometer in a piece on the scale",
    "MC-25": "a cable outside the guard, and settings of a computer",
    "MC-26": "the computer alone",
    "MC-27": "the journal and a card",
    "MC-28": "tray and scale, away from the bench",
    "MC-29": "asks a person, and locks switches by the card",
}
"""Causes whose check and remedy put no hand near air, blade, pressure or drive, each with why."""


@pytest.mark.parametrize("cause", CAUSES, ids=IDS)
def test_it_has_a_caution_unless_no_hand_comes_near(cause: Cause) -> None:
    assert bool(cause.caution) != (cause.code in NO_CAUTION), cause.check


NOTHING_RULES_OUT: dict[str, str] = {
    "MC-04": "a lump that passes holds dough back, then lets it go: thrust may rise or fall",
    "MC-09": "what gave way may have done so at any thrust, and with any weight",
    "MC-10": "a dull blade may be as fast as ever, and what hung on may fall beside the tray",
    "MC-18": "dough may warm and cool, so that thrust may rise or fall",
    "MC-20": "an eye that was moved may read more or less",
    "MC-23": "a dip may be shorter than any sample of the supply",
    "MC-27": "a changed value may do anything to a portion",
    "MC-28": "a wrong weight may stand beside anything that truly happened",
    "MC-29": "a hand may do anything, also between two looks of the switches",
}
"""Causes that no finding rules out, each with why; `benchd why` says so."""


@pytest.mark.parametrize("cause", CAUSES, ids=IDS)
def test_something_rules_it_out_or_nothing_can(cause: Cause) -> None:
    assert bool(cause.rules_out) != (cause.code in NOTHING_RULES_OUT)


@pytest.mark.parametrize("cause", CAUSES, ids=IDS)
def test_with_all_its_signs_it_is_named(cause: Cause) -> None:
    signs = [name for name, p in cause.shows.items() if p >= 0.5]
    assert signs, "a cause without a sign can never be found"
    mine = next(one for one in opinion(found(*signs)).together if one.cause is cause)
    assert {one.name for one in mine.speaks_for} == set(signs)


@pytest.mark.parametrize(
    ("cause", "name"), [(cause, name) for cause in CAUSES for name in cause.rules_out]
)
def test_what_rules_it_out_costs_it_its_odds(cause: Cause, name: str) -> None:
    signs = [sign for sign, p in cause.shows.items() if p >= 0.5]
    without = log_odds(cause, {sign: sign in signs for sign in NAMES})
    with_it = log_odds(cause, {sign: sign in (*signs, name) for sign in NAMES})
    assert with_it < without - 2.0
    against = opinion(found(name))
    assert cause not in [one.cause for one in against.together]


def test_every_sensor_that_tells_something_has_words() -> None:
    assert {part_of(name) for name in NAMES} <= {"", *SENSORS}


def test_lost_steps_and_a_driver_that_cuts_out_take_an_encoder_or_more() -> None:
    """The trade's table of what basic sensors cannot separate (common practice)."""
    basic = [name for name in NAMES if part_of(name) in ("", "scale", "eye", "local")]
    assert not separable("MC-01", basic)
    assert not separable("MC-11", basic)
    assert separable("MC-11", [*basic, "drop-missing"])
    assert separable("MC-02", basic)
