"""The numbers on the wire that stand for words."""

from __future__ import annotations

import pytest

from protocols import codes
from protocols.codec import Number
from protocols.limits import FITTED_BITS, GROUPS, LIMITS
from protocols.messages import MESSAGES


@pytest.mark.parametrize(
    ("tag", "name", "words"),
    [
        ("beat", "mode", codes.MODES),
        ("beat", "phase", codes.PHASES),
        ("phase", "phase", codes.PHASES),
        ("edge", "signal", codes.SIGNALS),
        ("ignored", "signal", codes.PINS),
        ("boot", "cause", codes.CAUSES),
        ("moved", "kind", codes.MOVES),
        ("moved", "reason", codes.MOVE_ENDINGS),
        ("ended", "outcome", codes.OUTCOMES),
    ],
)
def test_a_field_has_room_for_every_word_and_no_more(
    tag: str, name: str, words: tuple[str, ...]
) -> None:
    field = dict(MESSAGES[tag].fields)[name]
    assert isinstance(field, Number)
    assert field.high == len(words) - 1
    assert len(set(words)) == len(words)


def test_the_host_may_ask_for_every_move_but_the_local_one() -> None:
    field = dict(MESSAGES["move"].fields)["kind"]
    assert isinstance(field, Number)
    assert codes.MOVES[field.high + 1 :] == ("local",)


def test_interlocks_are_numbered_one_to_thirty_and_fit_the_latches() -> None:
    assert [row.number for row in codes.INTERLOCKS] == list(range(1, 31))
    assert codes.INTERLOCK_BY_NUMBER[9].code == "IL-09"
    latches = dict(MESSAGES["beat"].fields)["latches"]
    assert isinstance(latches, Number)
    assert latches.high == 2 ** len(codes.INTERLOCKS) - 1
    for row in codes.INTERLOCKS:
        assert row.kind in ("P", "T")
        assert row.reset in ("auto", "ack", "prove")
        assert row.place in ("board", "daemon", "both")


def test_refusals_do_not_collide_with_interlocks_and_say_a_sentence() -> None:
    reason = dict(MESSAGES["no"].fields)["reason"]
    assert isinstance(reason, Number)
    for refusal in codes.REFUSALS:
        assert refusal.code not in codes.INTERLOCK_BY_NUMBER
        assert reason.low <= refusal.code <= reason.high
        assert refusal.sentence[0].isupper()
        assert refusal.sentence.endswith(".")
    assert len(codes.REFUSAL_BY_CODE) == len(codes.REFUSALS)
    assert len({refusal.word for refusal in codes.REFUSALS}) == len(codes.REFUSALS)


def test_pins_and_fitted_parts_have_a_bit_each() -> None:
    assert sorted(codes.PIN.values()) == list(range(16))
    assert sorted(FITTED_BITS.values()) == list(range(14))
    fitted = LIMITS[0]
    assert (fitted.name, fitted.high) == ("fitted", 2 ** len(FITTED_BITS) - 1)
    assert {limit.group for limit in LIMITS} == set(GROUPS)
