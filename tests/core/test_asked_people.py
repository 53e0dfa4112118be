"""Requests by which a person tells the bench something: a place, a proof, a weight, a note."""

from __future__ import annotations

from typing import Any

import pytest

from benchd.core.facts import Watch
from benchd.core.inputs import Carry, LinkDown, WallClock
from benchd.core.proofs import statements_of
from tests.core.script import ALL, OTHER, WALL_US, Script, bench, proven


def made(portions: int) -> Script:
    """A bench that has made some portions of 30 g."""
    s = Script().ready()
    for _ in range(portions):
        s.must("portion", seconds=4)
    return s


# Place.


def test_here_is_taken_by_the_board_in_whole_steps() -> None:
    s = Script().connect().prove(20)
    ask = s.ask("here", position_m=0.0123)
    s.run(0.3)
    assert s.result(ask) == {"position_m": 0.0123}
    assert s.board.position == 9840


@pytest.mark.parametrize("position_m", [-0.001, 0.2001, 1e300])
def test_here_lies_inside_the_travel(position_m: float) -> None:
    s = Script().connect()
    assert s.refused(s.ask("here", position_m=position_m)).condition == "range"


# Proof.


def test_a_latch_that_asks_for_proof_is_cleared_with_a_name_and_three_words() -> None:
    s = Script().connect()
    assert s.refused(s.ask("clear", interlock=20)).condition == "proof"
    s.prove(20)
    assert s.records("proof") == [
        {"interlock": "IL-20", "name": "the fitter", "words": ["looked", "clear", "home"]}
    ]
    assert 20 not in s.state.latches


def test_wrong_words_clear_nothing() -> None:
    s = Script().connect()
    words = ["looked", "clear", "homes"]
    ask = s.ask("clear", interlock=20, name="the fitter", words=words)
    s.run(1)
    assert s.refused(ask).condition == "proof"
    assert not s.sent("clear")
    assert not s.records("proof")


def test_a_latch_that_only_wants_to_be_seen_asks_for_no_words() -> None:
    s = Script().ready()
    s.board.trip(9, s.now_ns)
    s.run(0.2)
    assert s.result(s.ask("proofs", interlock=9)) == {"statements": []}
    s.must("clear", interlock=9)


def test_what_is_not_up_cannot_be_cleared() -> None:
    s = Script().ready()
    for interlock in (9, 0, -3, 31):
        for method in ("clear", "proofs"):
            assert s.refused(s.ask(method, interlock=interlock)).condition == "clear"


@pytest.mark.parametrize(
    ("interlock", "pins"),
    [
        (1, {"stop": False}),
        (2, {"guard": False}),
        (7, {"home": False, "valve": False}),
        (8, {"home": True, "far": True}),
    ],
)
def test_while_the_cause_is_seen_nobody_is_asked_for_words_and_nothing_is_proven(
    interlock: int, pins: dict[str, bool]
) -> None:
    s = Script().ready()
    statements = statements_of(interlock, s.facts)
    s.board.trip(interlock, s.now_ns)
    usual = set(s.board.pins)
    for name, on in pins.items():
        (s.board.pins.add if on else s.board.pins.discard)(name)
    s.run(0.3)
    words = [word for _, word in statements]
    asks: dict[str, dict[str, Any]] = {"proofs": {}, "clear": {"name": "ana", "words": words}}
    for method, typed in asks.items():
        refusal = s.refused(s.ask(method, interlock=interlock, **typed))
        assert refusal.condition == f"IL-{interlock:02d}"
        assert refusal.message.startswith("The cause is still there: ")
    assert len(s.records("proof")) == 1, "IL-20, as it was made ready"
    s.board.pins = usual
    s.run(0.3).prove(interlock)
    assert s.records("proof")[-1]["interlock"] == f"IL-{interlock:02d}"


def test_what_the_board_does_not_clear_is_not_journalled_as_proven() -> None:
    s = Script().ready()
    s.board.trip(12, s.now_ns)
    s.board.refuse["clear"] = (56, 12, 0)
    s.run(0.3)
    words = [word for _, word in statements_of(12, s.facts)]
    ask = s.ask("clear", interlock=12, name="ana", words=words)
    s.run(0.3)
    assert s.refused(ask).condition == "cause-stays"
    assert [proof["interlock"] for proof in s.records("proof")] == ["IL-20"]


def test_a_latch_of_the_board_is_the_boards_to_let_go() -> None:
    s = Script().ready()
    s.board.trip(14, s.now_ns)
    s.board.refuse["clear"] = (56, 14, 0)
    s.run(0.01)  # The trip is known before a beat shows the latch.
    ask = s.ask("clear", interlock=14)
    s.run(0.3)
    assert s.refused(ask).condition == "cause-stays"
    assert 14 in s.state.latches


def test_nothing_is_cleared_while_something_moves() -> None:
    s = Script().ready(at_m=0.1)
    s.board.trip(14, s.now_ns)
    s.run(0.2)
    s.ask("jog", distance_m=-0.01)
    s.run(1)
    assert s.refused(s.ask("clear", interlock=14)).condition == "busy"


def test_a_bench_that_was_never_proven_only_jogs_until_it_is() -> None:
    s = Script(carry=Carry()).connect().prove(20).must("here", position_m=0.1)
    s.must("jog", distance_m=0.001)
    for method in ("arm", "prime", "approach"):
        assert s.refused(s.ask(method)).condition == "IL-15"
    s.prove(15)
    s.must("arm", seconds=0.2).must("fire")
    proof = s.state.carry.proof
    assert proof is not None
    assert (proof.name, proof.build) == ("the fitter", "abc1234")
    assert s.records("carry")[-1]["proof"]["digests"] == s.facts.digests


def test_a_bench_is_proven_only_while_it_is_there_and_at_rest() -> None:
    s = Script(carry=Carry()).connect().prove(20)
    words = ["forward", "hardware", "wired"]
    s.ask("jog", distance_m=-0.01)
    s.run(1)
    ask = s.ask("clear", interlock=15, name="x", words=words)
    assert s.refused(ask).condition == "busy"
    s.run(6)
    s.tell(LinkDown("The cable was pulled."))
    ask = s.ask("clear", interlock=15, name="x", words=words)
    assert s.refused(ask).condition == "IL-19"
    assert s.state.carry.proof is None


def test_a_proof_made_with_a_clock_that_was_wrong_does_not_count_for_ever() -> None:
    s = Script(carry=Carry()).connect().prove(20)
    s.tell(WallClock(WALL_US + 400 * 86_400_000_000))
    s.prove(15)
    s.tell(WallClock(WALL_US))
    assert s.refused(s.ask("arm")).condition == "IL-15"


def test_a_rule_of_the_daemon_whose_cause_stays_is_not_cleared() -> None:
    s = Script().connect().prove(20)
    assert s.refused(s.ask("clear", interlock=17)).message.startswith("The cause is still there")
    assert 17 in s.state.latches


# Attendance.


def test_a_series_that_nobody_attends_pauses_until_somebody_says_so() -> None:
    facts = bench(*ALL, watch=Watch(attendance_min=0.5))
    s = Script(facts, proven(facts)).ready()
    ask = s.ask("series", every_s=5.0)
    s.run(60)
    assert s.result(ask)["reason"].startswith("IL-26: Still there?")
    made_before = len(s.records("portion"))
    assert made_before < 8
    assert s.refused(s.ask("resume")).condition == "IL-26"
    s.result(s.ask("attend", client=OTHER))
    s.ask("resume")
    s.run(5)
    assert len(s.records("portion")) == made_before + 1


def test_a_key_now_and_then_keeps_a_series_going() -> None:
    facts = bench(*ALL, watch=Watch(attendance_min=0.5))
    s = Script(facts, proven(facts)).ready()
    ask = s.ask("series", count=12, every_s=5.0)
    for _ in range(4):
        s.run(20)
        s.result(s.ask("attend", client=OTHER))
    assert s.result(ask)["made"] == 12


# Weights.


def test_a_bare_weight_goes_to_the_oldest_unweighed_portion() -> None:
    s = made(2)
    assert s.result(s.ask("weigh", mass_kg=0.0302, text="30,2")) == {
        "portion": 1, "mass_kg": 0.0302, "left": 1
    }  # fmt: skip
    s.result(s.ask("weigh", mass_kg=0.0298, text="29.8", look="clean"))
    assert [w.portion for w in s.state.weights] == [1, 2]
    assert s.records("weight")[-1]["look"] == "clean"
    assert (
        "Every portion has a weight" in s.refused(s.ask("weigh", mass_kg=0.03, text="30")).message
    )


@pytest.mark.parametrize("portion", [None, 3])
def test_before_the_first_portion_there_is_none_to_weigh(portion: int | None) -> None:
    s = made(0)
    no = s.refused(s.ask("weigh", mass_kg=0.03, text="30", portion=portion))
    assert no.message == "No portion was made yet, so there is none to weigh."


def test_a_weight_again_is_a_new_reading_that_counts() -> None:
    s = made(2)
    s.result(s.ask("weigh", mass_kg=0.0302, text="30.2", portion=2))
    s.result(s.ask("weigh", mass_kg=0.0301, text="30.1", portion=2))
    assert [(w.portion, w.mass_kg) for w in s.state.weights] == [(2, 0.0301)]
    assert s.state.carry.unweighed == (1,)
    assert len(s.records("weight")) == 2


@pytest.mark.parametrize("portion", [0, -1, 3])
def test_a_portion_that_never_was_has_no_weight(portion: int) -> None:
    s = made(2)
    assert (
        "no portion" in s.refused(s.ask("weigh", mass_kg=0.03, text="30", portion=portion)).message
    )


def test_a_weight_of_a_portion_that_did_not_complete_is_asked_about() -> None:
    s = Script().ready()
    s.ask("portion")
    s.run(1)
    s.board.ended(1, s.now_ns)
    s.run(1)
    asked = s.refused(s.ask("weigh", mass_kg=0.03, text="30", portion=1))
    assert asked.question
    assert asked.message == "Portion 1 ended stopped. Is that its weight?"
    s.result(s.ask("weigh", mass_kg=0.03, text="30", portion=1, confirmed=True))
    # What cannot be a weight is said before there is any portion to weigh.
    assert "above 0 g" in s.refused(s.ask("weigh", mass_kg=-0.003, text="-3")).message


def test_an_implausible_weight_is_a_question_until_it_is_confirmed() -> None:
    s = made(1)
    refusal = s.refused(s.ask("weigh", mass_kg=0.302, text="302"))
    assert refusal.question
    assert "decimal point" in refusal.message
    assert not s.state.weights
    s.result(s.ask("weigh", mass_kg=0.302, text="302", confirmed=True))
    assert s.records("weight")[-1]["confirmed"]


@pytest.mark.parametrize("mass_kg", [0.0, -0.03, 100.0, 1e308])
def test_a_weight_that_cannot_be_is_refused_even_when_confirmed(mass_kg: float) -> None:
    s = made(1)
    refusal = s.refused(s.ask("weigh", mass_kg=mass_kg, text="?", confirmed=True))
    assert not refusal.question


def test_a_portion_of_an_earlier_day_is_judged_by_the_last_aim() -> None:
    s = Script(carry=proven(bench(*ALL), last_portion=2, unweighed=(1, 2))).ready()
    s.result(s.ask("weigh", mass_kg=0.5, text="500"))  # Nothing to compare it with.
    assert not s.state.weights
    s.must("portion", seconds=4)
    s.result(s.ask("weigh", mass_kg=0.03, text="30", portion=3))
    assert s.refused(s.ask("weigh", mass_kg=0.5, text="500")).question


def test_a_weight_that_is_taken_back_leaves_its_portion_without_one() -> None:
    s = made(2)
    s.result(s.ask("weigh", mass_kg=0.0301, text="30.1"))
    assert s.result(s.ask("unweigh", portion=1)) == {"portion": 1, "left": 2}
    assert (s.state.weights, s.state.carry.unweighed) == ((), (1, 2))
    assert s.records("weight")[-1] == {"portion": 1, "mass_kg": None}
    assert "no weight" in s.refused(s.ask("unweigh", portion=1)).message
    assert "no portion 3" in s.refused(s.ask("unweigh", portion=3)).message
    # The next weight without a portion is its again.
    assert s.result(s.ask("weigh", mass_kg=0.0302, text="30.2"))["portion"] == 1


def test_a_stopped_portion_whose_weight_is_taken_back_waits_for_none() -> None:
    s = Script().ready()
    s.ask("portion")
    s.run(1)
    s.board.ended(1, s.now_ns)
    s.run(1)
    s.result(s.ask("weigh", mass_kg=0.03, text="30", portion=1, confirmed=True))
    assert s.result(s.ask("unweigh", portion=1)) == {"portion": 1, "left": 0}


def many(*pairs: tuple[int, float]) -> list[dict[str, object]]:
    return [{"portion": n, "mass_kg": kg, "text": f"{kg * 1000:.1f} g"} for n, kg in pairs]


def test_many_weights_are_taken_at_once_and_those_known_are_left_out() -> None:
    s = made(3)
    s.result(s.ask("weigh", mass_kg=0.0301, text="30.1", portion=2))
    # The same reading, written in kg: 30.1 * 1e-3 is not 0.0301 to the last bit.
    weights = many((3, 0.0299), (2, 0.0301 + 1e-17), (1, 0.0302))
    told = s.result(s.ask("weigh_many", weights=weights))
    assert told == {"taken": [3, 1], "known": 1, "left": 0}
    assert [(one["portion"], one["mass_kg"]) for one in s.records("weight")] == [
        (2, 0.0301), (3, 0.0299), (1, 0.0302)
    ]  # fmt: skip
    assert s.result(s.ask("weigh_many", weights=weights)) == {"taken": [], "known": 3, "left": 0}
    assert len(s.records("weight")) == 3


def test_of_many_weights_none_is_taken_where_one_cannot_be() -> None:
    s = made(2)
    refusal = s.refused(s.ask("weigh_many", weights=many((1, 0.0302), (3, 0.03))))
    assert (refusal.value, "no portion 3" in refusal.message) == (3, True)
    for wrong in (many((1, 0.0302), (1, 0.03)), [], [{"mass_kg": 0.03, "text": "30"}]):
        assert s.refused(s.ask("weigh_many", weights=wrong)).condition == "weigh"
    assert "above 0 g" in s.refused(s.ask("weigh_many", weights=many((1, -0.03)))).message
    assert not s.records("weight")
    assert s.state.carry.unweighed == (1, 2)


def test_of_many_weights_the_implausible_ones_are_asked_about_together() -> None:
    s = made(8)
    weights = many((1, 0.0302), *((n, 0.3) for n in range(2, 9)))
    refusal = s.refused(s.ask("weigh_many", weights=weights))
    assert refusal.question
    assert "Portion 2: 300 g where about 30.0 g is expected." in refusal.message
    assert refusal.message.endswith("And 2 more.")
    assert not s.records("weight")
    s.result(s.ask("weigh_many", weights=weights, confirmed=True))
    assert [one["confirmed"] for one in s.records("weight")] == [True] * 8


def test_odd_weights_pause_the_series_at_the_next_safe_point() -> None:
    s = Script().ready()
    s.ask("series", count=9, every_s=5.0)
    s.run(9)
    for text in ("33", "26.9"):
        s.result(s.ask("weigh", mass_kg=float(text) / 1000, text=text))
    s.run(10)
    assert s.state.series is not None
    assert s.state.series.paused
    assert s.refused(s.ask("resume")).condition == "IL-25"
    s.must("clear", interlock=25)
    s.ask("resume")
    s.run(20)
    assert len(s.records("portion")) > 3


# Values set by hand, notes.


def test_values_set_by_hand_begin_a_new_group_and_stand_in_every_record() -> None:
    s = Script().ready()
    assert s.result(s.ask("set", values={"needle_turns": 2.0, "sleeve": "S3"})) == {"group": 2}
    assert not s.state.dry_needed
    s.must("portion", seconds=4)
    record = s.records("portion")[-1]
    assert (record["group"], record["by_hand"]) == (2, {"needle_turns": 2.0, "sleeve": "S3"})


def test_air_set_by_hand_asks_for_a_dry_stroke() -> None:
    s = Script().ready()
    s.ask("set", values={"air_pa": 120_000.0})
    assert s.state.dry_needed


@pytest.mark.parametrize("values", [{"colour": 1.0}, {}])
def test_what_a_bench_does_not_have_cannot_be_set(values: dict[str, float]) -> None:
    s = Script().ready()
    assert "air_pa" in s.refused(s.ask("set", values=values)).message
    assert s.state.carry.group == 1


def test_a_note_is_kept_as_it_was_typed() -> None:
    s = Script().ready()
    s.result(s.ask("note", text="smells of maize", portion=3))
    assert s.records("note") == [{"text": "smells of maize", "portion": 3}]
