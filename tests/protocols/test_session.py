"""A session step by step: who speaks first, what is delivered, what may leave."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.framing import frame
from protocols.limits import PROTOCOL
from protocols.messages import (
    Boot,
    Drive,
    Event,
    Freed,
    Hello,
    Lease,
    Lost,
    Message,
    Sample,
    Seen,
    Stop,
    Yes,
)
from protocols.session import (
    HELLO_NS,
    STRANGE_BYTES_MAX,
    STRANGE_LINES_MAX,
    Abandoned,
    EventGap,
    LineFault,
    NotABoard,
    Session,
    WrongProtocol,
)
from tests.protocols.strategies import ANY_MESSAGE
from tests.protocols.talk import MS, beat, bench, freed, greeted, said, wire

# The greeting.


def test_hello_leaves_first_and_again_until_a_greeting_comes() -> None:
    session = Session()
    assert session.wake_at_ns == 0
    assert said(session.outgoing(0)) == [Hello()]
    assert session.wake_at_ns == HELLO_NS
    assert session.outgoing(HELLO_NS - 1) == b""
    assert said(session.outgoing(HELLO_NS)) == [Hello()]
    assert session.receive(wire(bench()), HELLO_NS) == [bench()]
    assert session.greeting == bench()
    assert session.wake_at_ns is None
    assert session.outgoing(10 * HELLO_NS) == b""


def test_nothing_but_stop_and_hello_leaves_before_a_greeting() -> None:
    session = Session()
    for message in (Drive(1, 1), Lease(1), Seen(0), Stop(0)):
        session.send(message, 0)
    assert said(session.outgoing(0)) == [Stop(0), Hello()]


def test_what_is_said_before_the_greeting_is_not_delivered() -> None:
    session = Session()
    early = wire(beat(), *freed(1), Yes(1, 0), Sample(1, 0, 0, 0, 0, 0, 0))
    assert session.receive(early, 0) == []
    assert session.receive(wire(bench(), *freed(1)), 0) == [bench(), *freed(1)]


def test_another_version_is_told_once_and_only_stop_goes_to_it() -> None:
    session = Session()
    session.outgoing(0)
    other = wire(bench(protocol=PROTOCOL + 1))
    assert session.receive(other + other, 0) == [WrongProtocol(PROTOCOL + 1)]
    session.send(Drive(1, 1), 0)
    session.send(Stop(1), 0)
    assert said(session.outgoing(10 * HELLO_NS)) == [Stop(1)]
    assert session.wake_at_ns is None
    assert session.receive(wire(bench()), 0) == [Abandoned(Drive(1, 1)), bench()]


def test_a_command_may_wait_for_the_first_greeting() -> None:
    session = Session()
    session.send(Drive(1, 1), 0)
    session.outgoing(0)
    assert session.receive(wire(bench()), 0) == [bench()]
    assert said(session.outgoing(0)) == [Drive(1, 1)]


def test_hello_may_be_asked_for() -> None:
    session = greeted()
    session.send(Hello(), 5)
    assert said(session.outgoing(5)) == [Hello()]
    assert session.wake_at_ns is None


def test_hello_waits_when_the_window_is_full() -> None:
    session = Session()
    for turn in range(4):
        assert said(session.outgoing(turn * HELLO_NS)) == [Hello()]
    assert session.outgoing(4 * HELLO_NS) == b""
    assert session.wake_at_ns is None


# Damage.


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"lease 17 9D22", "check"),
        (b"lease 17 9D21", "echo"),
        (b"\xfe", "characters"),
        (b"", "short"),
        (b"x" * 96, "long"),
        (frame(b"beat 1")[:-1], "peer"),
        (frame(b"nonsense")[:-1], "peer"),
    ],
)
def test_a_line_that_is_none_is_told_with_its_reason(line: bytes, reason: str) -> None:
    assert greeted().receive(line + b"\n", 0) == [LineFault(reason, line)]


@settings(max_examples=30)
@given(ANY_MESSAGE)
def test_what_the_host_says_never_comes_back_as_a_message(message: Message) -> None:
    items = greeted().receive(wire(message), 0)
    host = not hasattr(message, "t_us") and message.tag not in ("bench", "yes", "no", "beat")
    assert (items == [LineFault("echo", wire(message)[:-1])]) == host


@settings(max_examples=30)
@given(st.lists(st.binary(max_size=200), max_size=5))
def test_random_bytes_raise_nothing(pieces: list[bytes]) -> None:
    session = greeted()
    for piece in pieces:
        for item in session.receive(piece, 0):
            assert isinstance(item, LineFault)
    assert session.greeting is not None


def test_bad_lines_without_a_greeting_are_no_board_and_that_is_told_once() -> None:
    session = Session()
    items = session.receive(b"?\n" * (STRANGE_LINES_MAX - 1), 0)
    assert NotABoard() not in items
    assert session.receive(b"?\n", 0)[-1] == NotABoard()
    assert NotABoard() not in session.receive(b"?\n" * 200, 0)


def test_bytes_without_a_newline_are_no_board_either() -> None:
    session = Session()
    assert session.receive(b"?" * (STRANGE_BYTES_MAX - 1), 0) == [LineFault("long", b"?" * 96)]
    assert session.receive(b"?", 0) == [NotABoard()]


def test_noise_between_good_lines_is_still_a_board() -> None:
    session = Session()
    for turn in range(3):
        noise = b"?\n" * (STRANGE_LINES_MAX - 1)
        assert NotABoard() not in session.receive(noise + wire(beat(turn)), 0)
    known = greeted()
    assert NotABoard() not in known.receive(b"?\n" * 2 * STRANGE_LINES_MAX, 0)


# Events.


@pytest.mark.parametrize(
    ("comes", "delivered"),
    [
        ([1, 2, 3], [1, 2, 3]),
        ([1, 1, 2, 1, 2], [1, 2]),
        ([1, 3, 2, 3], [1, 2, 3]),
        ([2, 3], []),
        ([3, 1], [1]),
    ],
)
def test_events_are_delivered_in_order_and_once(comes: list[int], delivered: list[int]) -> None:
    items = greeted().receive(wire(*freed(*comes)), 0)
    assert [item.event for item in items if isinstance(item, Event)] == delivered
    assert len(items) == len(delivered)


@pytest.mark.parametrize(
    ("comes", "delivered"),
    [
        ([*freed(1), Lost(5, 9000, 3)], [*freed(1), EventGap(2, 4), Lost(5, 9000, 3)]),
        ([Lost(5, 9000, 3)], []),  # Event 1 is still to come: it was not lost.
        ([*freed(1), Lost(5, 9000, 2), *freed(2)], freed(1, 2)),
        ([*freed(1, 2), Lost(5, 9000, 3)], [*freed(1, 2), EventGap(3, 4), Lost(5, 9000, 3)]),
    ],
)
def test_a_gap_that_the_board_states_is_recorded(comes: list[Message], delivered: Any) -> None:
    assert greeted().receive(wire(*comes), 0) == delivered


def test_a_greeting_with_a_later_oldest_event_records_the_gap() -> None:
    session = greeted()
    session.receive(wire(*freed(1)), 0)
    items = session.receive(wire(bench(oldest=4), *freed(4)), 0)
    assert items == [bench(oldest=4), EventGap(2, 3), *freed(4)]
    assert session.receive(wire(bench(oldest=4), *freed(4)), 0) == [bench(oldest=4)]


def test_a_gap_that_stays_makes_the_session_ask() -> None:
    session = greeted()
    session.receive(wire(*freed(2)), 600 * MS)
    asked_ns = 600 * MS + HELLO_NS
    assert session.wake_at_ns == asked_ns
    assert session.outgoing(asked_ns - 1) == b""
    assert said(session.outgoing(asked_ns)) == [Hello()]
    assert session.wake_at_ns == asked_ns + HELLO_NS
    session.receive(wire(*freed(1)), asked_ns)
    assert session.wake_at_ns is None


def test_the_journal_says_where_events_go_on() -> None:
    session = Session(boot=7, last_event=3)
    items = session.receive(wire(bench(oldest=2), *freed(2, 3, 4)), 0)
    assert items == [bench(oldest=2), *freed(4)]


def test_events_that_somebody_else_took_are_a_gap() -> None:
    session = Session(boot=7, last_event=3)
    assert session.receive(wire(bench(oldest=6)), 0) == [bench(oldest=6), EventGap(4, 5)]
    other = Session(boot=6, last_event=3)
    assert other.receive(wire(bench(oldest=2)), 0) == [bench(oldest=2), EventGap(1, 1)]


def test_with_nothing_held_the_first_event_asks_for_a_greeting() -> None:
    session = Session()
    session.outgoing(0)
    session.receive(wire(bench(oldest=0)), 0)
    assert session.receive(wire(*freed(6, 7)), 0) == []
    assert said(session.outgoing(HELLO_NS)) == [Hello()]
    items = session.receive(wire(bench(oldest=6), *freed(6, 7)), HELLO_NS)
    assert items == [bench(oldest=6), EventGap(1, 5), *freed(6, 7)]


def test_seen_is_said_again_when_the_board_repeats_what_is_safe() -> None:
    session = greeted()
    session.receive(wire(*freed(1, 2)), 0)
    session.send(Seen(2), 0)
    assert said(session.outgoing(0)) == [Seen(2)]
    session.receive(wire(*freed(1, 2)), 0)
    assert said(session.outgoing(0)) == [Seen(2)]
    unsafe = greeted()
    unsafe.receive(wire(*freed(1, 1)), 0)
    assert unsafe.outgoing(0) == b""
    known = Session(boot=7, last_event=2, safe_event=1)
    known.receive(wire(bench(), *freed(1, 2)), 0)
    assert Seen(1) in said(known.outgoing(0))


def test_seen_never_goes_beyond_what_was_delivered_nor_back() -> None:
    session = greeted()
    session.send(Seen(1), 0)
    assert session.outgoing(0) == b""
    session.receive(wire(*freed(1, 2)), 0)
    session.send(Seen(2), 0)
    session.send(Seen(1), 0)
    assert said(session.outgoing(0)) == [Seen(2)]


# Another life of the board.


@pytest.mark.parametrize("change", [{"boot": 8}, {"uptime_s": 9}])
def test_a_restart_numbers_events_anew_and_abandons_commands(change: dict[str, int]) -> None:
    session = greeted()
    session.receive(wire(*freed(1, 2)), 0)
    for number in (1, 2):
        session.send(Drive(number, 1), 0)
    session.send(Seen(2), 0)
    session.outgoing(0)
    session.send(Lease(3), 0)
    items = session.receive(wire(bench(**change), *freed(1)), 0)
    abandoned = [Abandoned(Drive(1, 1)), Abandoned(Drive(2, 1))]
    assert items == [*abandoned, bench(**change), *freed(1)]
    assert session.commands_waiting == 0
    assert session.outgoing(HELLO_NS) == b""


@pytest.mark.parametrize(
    "sign",
    [
        [Boot(1, 0, 3, 8)],
        [beat(9), beat(10, t_us=1000)],
        [Sample(1, 500_000, 0, 0, 0, 0, 0), Sample(2, 4999, 0, 0, 0, 0, 0)],
        [Freed(1, 500_000, 9), Freed(2, 4999, 9)],
    ],
)
def test_signs_of_a_restart_hold_everything_until_a_greeting(sign: list[Message]) -> None:
    session = greeted()
    session.send(Drive(1, 1), 0)
    assert said(session.outgoing(0)) == [Drive(1, 1)]
    session.receive(wire(*sign), 0)
    assert session.greeting is None
    session.send(Lease(1), HELLO_NS)
    assert said(session.outgoing(HELLO_NS)) == [Hello()]
    assert session.receive(wire(Yes(1, 5), beat(11)), HELLO_NS) == []
    assert session.wake_at_ns == 2 * HELLO_NS
    items = session.receive(wire(bench(boot=8)), HELLO_NS)
    assert items == [Abandoned(Drive(1, 1)), bench(boot=8)]


def test_the_same_life_goes_on_after_a_false_sign() -> None:
    session = greeted()
    session.send(Drive(1, 1), 0)
    session.outgoing(0)
    session.receive(wire(beat(9), beat(10, t_us=0)), 0)
    assert session.greeting is None
    again = [bench(uptime_s=11), Yes(1, 26), *freed(1)]
    assert session.receive(wire(*again), 0) == again


def test_board_time_may_wrap() -> None:
    session = greeted()
    for t_us in (2**31, 2**32 - 1, 0, 5):
        session.receive(wire(beat(5, t_us=t_us)), 0)
    assert session.greeting is not None
