"""What the screens know, and how a question is answered."""

from __future__ import annotations

from tests.quiet_status import told
from tui import view
from tui.model import CONFIRM_S, Model, Question


def test_the_boards_last_word_ages_while_the_daemon_is_silent() -> None:
    model = Model("maize")
    model.heard("status", told(link_age_s=0.1), 10.0)
    fresh, aged = model.shown(10.1), model.shown(10.6)
    assert fresh is not None
    assert aged is not None
    assert not view.is_old(fresh)
    assert view.is_old(aged)


def test_enter_does_what_was_asked_about_once() -> None:
    model, done = Model("maize"), []
    model.ask(Question("will push", lambda: done.append(1), 10.0))
    assert model.yes(11.0, 11.0)
    assert not model.yes(11.5, 11.5)
    assert done == [1]


def test_what_was_said_before_does_not_outlive_the_answer_to_a_question() -> None:
    model = Model("maize")
    model.say("Moved +4.36 mm.")
    model.ask(Question("will push", lambda: None, 10.0))
    model.yes(11.0, 11.0)
    assert model.message == ""


def test_an_enter_typed_ahead_does_nothing_and_the_question_stays() -> None:
    model, done = Model("maize"), []
    model.ask(Question("will push", lambda: done.append(1), 10.0))
    assert model.yes(10.05, 10.2)
    assert done == []
    assert model.question is not None


def test_a_question_is_taken_back_when_its_time_is_over() -> None:
    model, done = Model("maize"), []
    model.ask(Question("will push", lambda: done.append(1), 10.0))
    late_s = 10.1 + CONFIRM_S
    assert not model.yes(late_s, late_s)
    assert done == []
    assert "Nothing was done: no ENTER within 3 s." in model.message
    assert model.just_lapsed(late_s + 1.9)
    assert not model.just_lapsed(late_s + 2.1)


def test_a_question_does_not_outlive_the_daemon() -> None:
    model = Model("maize")
    model.ask(Question("will push", lambda: None, 10.0))
    model.changed(False, 11.0)
    assert model.question is None


def test_weights_and_portions_are_remembered_from_the_news() -> None:
    model = Model("maize")
    model.heard("weight", {"portion": 2, "mass_kg": 0.03}, 1.0)
    model.heard("weight", {"portion": 2, "mass_kg": 0.031}, 2.0)
    model.heard("portion", {"number": 3, "class": "normal"}, 3.0)
    assert model.weights == {2: 0.031}
    assert list(model.portions) == [3]


def test_weights_of_before_these_screens_opened_are_known_from_the_status() -> None:
    model = Model("maize")
    model.heard("status", told(weights=((2, 0.03), (3, 0.031))), 1.0)
    model.heard("weight", {"portion": 3, "mass_kg": 0.032}, 2.0)
    assert model.weights == {2: 0.03, 3: 0.032}


def test_control_is_ours_only_while_the_daemon_says_so() -> None:
    model = Model("maize")
    model.heard("status", told(controller="client 4"), 1.0)
    assert not model.in_control
    model.claimed_s = 1.1
    assert model.claims(1.3)
    assert not model.claims(3.0)
    model.mine = "client 4"
    assert model.in_control
    model.heard("status", told(controller="client 5"), 4.0)
    assert not model.in_control


def test_what_was_refused_ahead_holds_no_more_once_a_request_was_answered() -> None:
    model = Model("maize")
    assert model.why_not("portion") == ""
    model.heard("status", told(why_not={"portion": "IL-17: Air was away."}), 10.0)
    model.changed(True, 10.0)
    assert model.why_not("portion") == "IL-17: Air was away."
    assert model.why_not("series") == ""
    model.claimed_s = 10.1
    assert model.why_not("portion") == "", "the dry stroke was made since"
    model.heard("status", told(why_not={"portion": "IL-02: Guard open."}), 10.2)
    assert model.why_not("portion") == "IL-02: Guard open."
    model.changed(False, 11.0)
    assert model.why_not("portion") == ""
