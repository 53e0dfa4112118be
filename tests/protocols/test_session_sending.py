"""What a session lets leave, in which order, and when it repeats."""

from __future__ import annotations

from typing import Any

import pytest

from protocols.errors import OwnError, QueueFull
from protocols.limits import FRESH_MS, HOST_LINE_BYTES_MAX, WINDOW_BYTES
from protocols.messages import (
    Drive,
    Ended,
    Lease,
    Message,
    No,
    Sample,
    Seen,
    Set,
    Stop,
    Yes,
)
from protocols.session import (
    COMMANDS_MAX,
    LEASE_AGE_NS_MAX,
    RESEND_NS,
    Abandoned,
    Session,
)
from tests.protocols.talk import LONG, MS, beat, bench, freed, greeted, said, wire

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
    assert items == [Abandoned(Drive(number, 1)) for number in (1, 2, 3)]


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
