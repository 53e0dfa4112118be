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


@pytest.mark.parametrize("cause", CAUSES, ids=IDS)
def test_a_hand_near_air_blade_or_drive_gets_a_caution(cause: Cause) -> None:
    near = re.search(r"\b(blade|cutter|needle|plunger|screw|nut|wipe|gauge)\b", cause.check, re.I)
    if near and cause.code not in ("MC-03", "MC-07", "MC-28"):
        assert cause.caution, cause.check


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
