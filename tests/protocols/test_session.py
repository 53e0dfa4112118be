"""A session step by step: who speaks first, what is delivered, what may leave."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.errors import OwnError, QueueFull
from protocols.framing import frame
from protocols.limits import FRESH_MS, HOST_LINE_BYTES_MAX, PROTOCOL, WINDOW_BYTES
from protocols.messages import (
    Beat,
    Bench,
    Boot,
    Draft,
    Drive,
    Ended,
    Event,
    Freed,
    Hello,
    Lease,
    Lost,
    Message,
    No,
    Sample,
    Seen,
    Set,
    Stop,
    Yes,
    decode,
    encode,
)
from protocols.session import (
    COMMANDS_MAX,
    HELLO_NS,
    LEASE_AGE_NS_MAX,
    RESEND_NS,
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

MS = 1_000_000
LONG = Draft(4_294_967_295, 65_535, 99_999, 999_999, 20_000)
"""The longest line that the host sends."""


def wire(*messages: Message) -> bytes:
    return b"".join(frame(encode(message)) for message in messages)


def bench(**changes: Any) -> Bench:
    values = {
        "protocol": PROTOCOL, "firmware": "1", "build": "a", "board": "m", "boot": 7,
        "cause": "power", "uptime_s": 10, "last_id": 0, "digest": 0, "oldest": 1,
    }  # fmt: skip
    return Bench(**(values | changes))


def beat(nonce: int = 1, *, t_us: int | None = None, lease: int = 0, taken: int = 0) -> Beat:
    t_us = nonce * 100_000 if t_us is None else t_us
    return Beat(nonce, t_us, lease, 0, 0, 0, 0, 0, 0, 0, 0, taken)


def freed(*numbers: int) -> list[Message]:
    return [Freed(number, number * 1000, 9) for number in numbers]


def said(data: bytes) -> list[Message]:
    """The messages in what leaves."""
    return [decode(line.rpartition(b" ")[0]) for line in data.splitlines()]


def greeted(**changes: Any) -> Session:
    """A session after a greeting, with nothing under way."""
    session = Session()
    session.outgoing(0)
    session.receive(wire(bench(**changes), beat(1, taken=0), beat(2, taken=11)), 0)
    assert session.in_flight_bytes == 0
    return session


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


# What may leave.


def test_stop_goes_first_whatever_waits() -> None:
    session = greeted()
    session.send(Lease(2), 0)
    session.send(Stop(0), 0)
    assert said(session.outgoing(0)) == [Stop(0), Lease(2)]


def test_stop_uses_the_reserve_when_the_window_is_full() -> None:
    session = greeted()
    session.send(LONG, 0)
    session.outgoing(0)
    assert session.in_flight_bytes == HOST_LINE_BYTES_MAX - 1
    session.send(Lease(1), 0)
    session.send(Stop(0), 0)
    assert said(session.outgoing(0)) == [Stop(0)]
    assert session.in_flight_bytes <= WINDOW_BYTES
    session.send(Stop(1), 0)
    assert session.outgoing(0) == b"", "even the reserve is used: the ring would overflow"
    session.receive(wire(beat(3, taken=11 + session.in_flight_bytes)), 0)
    assert said(session.outgoing(0)) == [Stop(1), Lease(1)]


def test_the_stronger_stop_is_kept() -> None:
    session = greeted()
    for level in (0, 1, 0):
        session.send(Stop(level), 0)
    assert said(session.outgoing(0)) == [Stop(1)]
    assert session.outgoing(0) == b""


def test_stop_abandons_the_commands_that_wait() -> None:
    session = greeted()
    for number in (1, 2, 3):
        session.send(Drive(number, 1), 0)
    session.outgoing(0)
    session.send(Stop(0), 0)
    session.send(Drive(4, 0), 0)
    assert said(session.outgoing(0)) == [Stop(0), Drive(4, 0)]
    items = session.receive(wire(Yes(1, 30)), 0)
    assert items == [Abandoned(Drive(2, 1)), Abandoned(Drive(3, 1))]


def test_a_stop_ends_the_repeats_of_the_command_under_way() -> None:
    session = greeted()
    session.send(Drive(1, 1), 0)
    assert said(session.outgoing(0)) == [Drive(1, 1)]
    session.send(Stop(1), 0)
    assert said(session.outgoing(0)) == [Stop(1)]
    session.receive(wire(beat(20)), RESEND_NS)
    assert said(session.outgoing(2 * RESEND_NS)) == []


def test_a_repeat_is_too_old_to_start_motion() -> None:
    """A command whose answer was lost may be repeated: its beat number is stale by then."""
    assert RESEND_NS >= FRESH_MS * MS


def test_one_command_at_a_time_and_each_answer_once() -> None:
    session = greeted()
    for number in (1, 2):
        session.send(Drive(number, 1), 0)
    assert said(session.outgoing(0)) == [Drive(1, 1)]
    assert session.commands_waiting == 2
    assert session.receive(wire(Yes(2, 20), Yes(9, 20)), 0) == []
    assert session.outgoing(0) == b""
    assert session.receive(wire(No(1, 43, 0, 0, 26), No(1, 43, 0, 0, 26)), 0) == [
        No(1, 43, 0, 0, 26)
    ]
    assert said(session.outgoing(0)) == [Drive(2, 1)]
    assert session.in_flight_bytes == len(wire(Drive(2, 1)))


def test_a_command_is_repeated_as_it_was_until_it_is_answered() -> None:
    session = greeted()
    session.send(Set(1, 5, -77), 0)
    first = session.outgoing(0)
    assert session.wake_at_ns is None
    session.receive(wire(beat(3, taken=11)), 100 * MS)
    assert session.wake_at_ns == RESEND_NS
    assert session.outgoing(RESEND_NS - 1) == b""
    assert session.outgoing(RESEND_NS) == first
    assert session.resends == 1
    session.receive(wire(beat(4, taken=50)), RESEND_NS + 1)
    assert session.wake_at_ns == 2 * RESEND_NS
    assert session.outgoing(2 * RESEND_NS) == first
    assert session.receive(wire(Yes(1, 40)), 2 * RESEND_NS) == [Yes(1, 40)]
    assert session.outgoing(9 * RESEND_NS) == b""


def test_a_silent_board_gets_no_repeat() -> None:
    session = greeted()
    session.send(Drive(1, 1), 0)
    session.outgoing(0)
    assert session.outgoing(10 * RESEND_NS) == b""
    assert session.wake_at_ns is None


def test_a_repeat_waits_for_room() -> None:
    session = greeted()
    session.send(LONG, 0)
    session.outgoing(0)
    session.receive(wire(beat(3, taken=11)), 1)
    assert session.outgoing(RESEND_NS) == b""
    assert session.wake_at_ns is None
    session.receive(wire(beat(4, taken=11)), RESEND_NS)
    session.receive(wire(beat(5, taken=11)), RESEND_NS)
    assert said(session.outgoing(RESEND_NS)) == [LONG]


def test_too_many_commands_are_refused_with_a_sentence() -> None:
    session = greeted()
    for number in range(1, COMMANDS_MAX + 1):
        session.send(Drive(number, 1), 0)
    with pytest.raises(QueueFull, match=r"64 commands wait .* try again\.$"):
        session.send(Drive(99, 1), 0)
    session.outgoing(0)
    with pytest.raises(QueueFull):
        session.send(Drive(99, 1), 0)


@pytest.mark.parametrize(
    "message", [Drive(0, 1), Drive(1, 2), Stop(2), Lease(65536), Seen(-1), Set(1, 0, 0)]
)
def test_what_the_wire_cannot_carry_is_refused_at_once(message: Any) -> None:
    session = greeted()
    with pytest.raises(OwnError):
        session.send(message, 0)
    assert session.outgoing(0) == b""


def test_a_lease_that_got_old_is_dropped_and_a_newer_one_replaces_it() -> None:
    session = greeted()
    session.send(Lease(1), 0)
    session.send(Lease(2), 5)
    assert said(session.outgoing(5 + LEASE_AGE_NS_MAX)) == [Lease(2)]
    session.send(Lease(3), 0)
    assert session.outgoing(LEASE_AGE_NS_MAX + 1) == b""


def test_lease_and_seen_do_not_wait_behind_commands() -> None:
    session = greeted()
    session.receive(wire(*freed(1)), 0)
    for number in (1, 2):
        session.send(Drive(number, 1), 0)
    session.outgoing(0)
    session.send(Lease(2), 0)
    session.send(Seen(1), 0)
    assert said(session.outgoing(0)) == [Lease(2), Seen(1)]


def test_a_long_command_is_not_starved_by_leases() -> None:
    """Lease and command do not fit the window together; the command goes at the second beat."""
    session = greeted()
    taken = 11
    left: list[Message] = []
    for nonce in range(10, 14):
        t_ns = nonce * 100 * MS
        session.receive(wire(beat(nonce, lease=nonce - 1, taken=taken)), t_ns)
        if nonce == 10:
            session.send(LONG, t_ns)
        session.send(Lease(nonce), t_ns)
        data = session.outgoing(t_ns)
        taken += len(data)
        left += said(data)
        if LONG in left:
            break
    assert left == [Lease(10), LONG]
    session.receive(wire(Yes(LONG.id, taken)), t_ns)
    assert said(session.outgoing(t_ns)) == [Lease(11)]


def test_a_long_repeat_is_not_starved_by_leases_either() -> None:
    session = greeted()
    session.send(LONG, 0)
    taken = 11 + len(session.outgoing(0))
    session.receive(wire(beat(3, taken=taken)), 100 * MS)
    session.send(Lease(3), 200 * MS)
    taken += len(session.outgoing(200 * MS))
    session.receive(wire(beat(5, lease=3, taken=taken)), 300 * MS)
    session.send(Lease(5), 300 * MS)
    assert said(session.outgoing(300 * MS)) == [LONG]


def test_seen_lets_an_overtaken_command_pass() -> None:
    session = greeted()
    session.receive(wire(*freed(1)), 0)
    session.send(Lease(2), 0)
    taken = 11 + len(session.outgoing(0))
    session.send(LONG, 0)
    session.send(Seen(1), 0)
    session.receive(wire(beat(3, taken=11)), 1)
    assert session.outgoing(1) == b""
    session.receive(wire(beat(4, taken=taken)), 2)
    assert said(session.outgoing(2)) == [LONG]


def test_an_accepted_lease_proves_what_was_lost_before_it() -> None:
    session = greeted()
    session.send(Drive(1, 1), 0)
    session.outgoing(0)
    session.send(Lease(2), 0)
    session.outgoing(0)
    session.receive(wire(beat(3, lease=2, taken=11 + len(wire(Lease(2))))), 1)
    assert session.in_flight_bytes == 0


def test_a_talk_from_the_opened_port_byte_by_byte() -> None:
    session = Session()
    talk = [bench(), *freed(1), beat(1), Ended(2, 2000, 3, 0, 1, 2, 3, 4, 5), beat(2)]
    heard: list[Any] = []
    for byte in wire(*talk):
        heard += session.receive(bytes([byte]), 0)
    assert heard == talk


def test_a_line_that_was_overtaken_is_no_sign_of_a_restart() -> None:
    session = greeted()
    session.receive(wire(Sample(1, 500_000, 0, 0, 0, 0, 0), Sample(2, 499_000, 0, 0, 0, 0, 0)), 0)
    assert session.greeting is not None
