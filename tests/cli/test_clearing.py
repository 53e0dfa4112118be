"""Clearing an interlock: proven word by word where that is asked, and only what is up."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from protocols.status import Abnormal
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal
from tests.quiet_status import STATUS

Benchd = Callable[..., Outcome]
UP = msgspec.to_builtins(
    msgspec.structs.replace(
        STATUS,
        abnormals=(
            Abnormal("IL-09", 3, "No dough.", "", "", 0, True, "ack"),
            Abnormal("IL-20", 3, "The board restarted.", "", "", 0, True, "prove"),
        ),
    )
)
STATEMENTS = [
    {"statement": "Someone looked.", "word": "looked"},
    {"statement": "Hands are away.", "word": "clear"},
    {"statement": "Blade at home.", "word": "home"},
]


def test_an_interlock_without_proof_is_just_cleared(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers |= {"status": UP, "proofs": {"statements": []}, "clear": {"interlock": "IL-09"}}
    assert benchd("clear", "il9").out == "IL-09 is cleared. Nothing moves until you say so.\n"
    assert daemon.asked[-1] == ("clear", {"interlock": 9})


def test_a_proof_is_typed_word_by_word(
    benchd: Benchd, daemon: FakeDaemon, typing: Callable[[str], None]
) -> None:
    daemon.answers |= {"status": UP, "proofs": {"statements": STATEMENTS}, "clear": {}}
    typing("Ana\nlooked\nclear\nhome\n")
    assert benchd("clear", "IL-20").code == 0
    words = {"interlock": 20, "name": "Ana", "words": ["looked", "clear", "home"]}
    assert daemon.asked[-1] == ("clear", words)


def test_a_wrong_word_clears_nothing(
    benchd: Benchd, daemon: FakeDaemon, typing: Callable[[str], None]
) -> None:
    daemon.answers |= {"status": UP, "proofs": {"statements": STATEMENTS}}
    typing("Ana\nlooked\nyes\n")
    shown = benchd("clear", "IL-20")
    assert shown.code == 1
    assert "Nothing was cleared: 'yes' is not 'clear'." in shown.err
    assert daemon.methods() == ["proofs"]


def test_scripts_give_the_words_and_a_name(benchd: Benchd, daemon: FakeDaemon) -> None:
    daemon.answers |= {"status": UP, "proofs": {"statements": STATEMENTS}, "clear": {}}
    assert benchd("clear", "20", "--words", "looked, clear,home").code == 2
    assert benchd("clear", "20", "--words", "looked, clear,home", "--name", "demo").code == 0
    assert daemon.asked[-1][1]["words"] == ["looked", "clear", "home"]


def test_nobody_is_asked_to_prove_what_is_not_up(benchd: Benchd, daemon: FakeDaemon) -> None:
    """No terminal is there to ask on, so a question would end it with 2."""
    daemon.answers |= {"proofs": {"statements": STATEMENTS}}
    daemon.answers["clear"] = Refusal(-32001, "IL-20 is not up, so there is nothing to clear.")
    shown = benchd("clear", "IL-20")
    assert shown == (1, "", "Refused: IL-20 is not up, so there is nothing to clear.\n")
