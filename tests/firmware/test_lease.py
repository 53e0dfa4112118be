"""The leave to move: fresh numbers only, never added up, and what follows when it lapses."""

from __future__ import annotations

import random

import pytest

from protocols.messages import Beat, Clear, Drive, Lease, Moved, Trip
from tests.firmware.talk import Talk

JOG, HELD = 0, 1


@pytest.fixture
def talk() -> Talk:
    talk = Talk().wake(accel=500_000, stop_decel=500_000)
    talk.run(300)
    return talk


def test_beats_come_every_100_ms_and_every_40_while_a_key_is_held(talk: Talk) -> None:
    start = len(talk.heard)
    talk.run(1000)
    assert len(talk.of(Beat, start)) == 10
    talk.move(HELD, 50_000, 4000)
    start = len(talk.heard)
    talk.run(1000)
    assert 24 <= len(talk.of(Beat, start)) <= 26


def test_a_beat_tells_when_the_last_lease_came(talk: Talk) -> None:
    talk.leasing = False
    nonce = talk.beat().nonce
    talk.run(17)
    sent_us = talk.now_us
    talk.say(Lease(nonce))
    beat = talk.beat()
    assert beat.lease == nonce
    # Nine bytes of text, check value and newline, 40 us each.
    assert beat.lease_t_us == pytest.approx(sent_us + 40 * len(f"lease {nonce} 1234\n"), abs=2)


@pytest.mark.parametrize(("age_ms", "fresh"), [(0, True), (200, True), (240, True), (260, False)])
def test_a_number_is_fresh_for_250_ms(talk: Talk, age_ms: int, fresh: bool) -> None:
    talk.leasing = False
    beat = talk.beat()
    talk.run_to(beat.t_us + age_ms * 1000)
    talk.say(Lease(beat.nonce))
    talk.beat()
    assert (talk.beat().lease == beat.nonce) == fresh


def test_numbers_of_the_future_and_of_the_last_round_are_not_fresh(talk: Talk) -> None:
    talk.leasing = False
    beat = talk.beat()
    before = beat.lease
    for number in (beat.nonce + 1, beat.nonce + 2, beat.nonce - 8, beat.nonce + 32768):
        talk.say(Lease(number % 65536))
    assert talk.beat().lease == before


def test_forty_ms_beats_stay_fresh_for_250_ms(talk: Talk) -> None:
    talk.move(HELD, 50_000, 4000)
    talk.run(500)
    beat = talk.beat()
    talk.leasing = False
    talk.run_to(beat.t_us + 199_000)
    talk.leasing = True
    talk.say(Lease(beat.nonce))
    talk.run(150)
    assert not talk.of(Trip)


@pytest.mark.parametrize(("kind", "length_ms"), [(JOG, 500), (HELD, 200)])
def test_a_move_ends_when_its_lease_lapses(talk: Talk, kind: int, length_ms: int) -> None:
    talk.move(kind, 50_000, 4000)
    talk.run(1000)
    talk.leasing = False
    renewed_us = talk.of(Beat)[-1].lease_t_us
    talk.until(lambda: bool(talk.of(Moved)), 2000)
    trip = talk.of(Trip)[0]
    assert (trip.interlock, trip.bound) == (18, length_ms)
    assert trip.value == pytest.approx(length_ms, abs=1)
    # The number that was on its way may have come after the last beat.
    assert length_ms * 1000 - 1000 <= trip.t_us - renewed_us <= (length_ms + 101) * 1000
    assert talk.of(Moved)[0].reason == 2
    assert talk.latches() == {18}
    assert talk.is_on("known")


def test_fifty_late_renewals_extend_motion_by_one_lease_at_most(seed: int) -> None:
    """The link holds fifty renewals back and lets them go at once."""
    rng = random.Random(seed)
    for kind, length_ms in ((JOG, 500), (HELD, 200)):
        talk = Talk().wake()
        talk.move(kind, 50_000, 2000)
        talk.leasing = False
        start = len(talk.heard)
        # Renewed by hand so that the delay can be any.
        kept: list[int] = []
        flushed_us = 0
        talk.run(rng.randrange(length_ms // 2))
        for beat in talk.of(Beat, start):
            talk.say(Lease(beat.nonce))
        kept = [talk.nonce - k for k in range(50)]
        talk.run(rng.randrange(length_ms // 2))
        flushed_us = talk.now_us
        for nonce in rng.sample(kept, 50):
            talk.say(Lease(nonce % 65536))
        arrival_us = 50 * 16 * 40
        talk.until(lambda talk=talk: bool(talk.of(Trip)), 3000)
        assert talk.of(Trip)[0].t_us <= flushed_us + arrival_us + (length_ms + 2) * 1000, kind


def test_a_stale_flood_alone_extends_nothing(talk: Talk) -> None:
    talk.move(JOG, 50_000, 4000)
    talk.leasing = False
    talk.run(20)
    last = talk.nonce
    talk.run(300)
    for back in range(50):
        talk.say(Lease((last - back) % 65536))
    talk.until(lambda: bool(talk.of(Trip)), 1000)
    assert talk.of(Trip)[0].value <= 501


def test_the_drive_goes_off_five_seconds_after_the_last_lease(talk: Talk) -> None:
    talk.leasing = False
    talk.run(4800)
    assert talk.is_on("drive")
    talk.run(400)
    assert not talk.is_on("drive")
    assert talk.is_on("known")  # the card says that the screw holds
    talk.do(Drive, 1)
    talk.run(4800)
    assert talk.is_on("drive")


def test_the_drive_goes_off_latched_or_not(talk: Talk) -> None:
    talk.move(JOG, 50_000, 4000)
    talk.leasing = False
    talk.run(1500)
    assert talk.latches() == {18}
    assert talk.is_on("drive")
    talk.run(4000)
    assert not talk.is_on("drive")
    assert talk.latches() == {18}


def test_a_released_drive_loses_the_position_if_the_card_says_so() -> None:
    talk = Talk().wake(drive_hold=1)
    talk.do(Drive, 0)
    assert not talk.is_on("known")


def test_a_drive_not_held_is_released_after_its_rest() -> None:
    talk = Talk().wake(drive_hold=2, release_ms=700)
    talk.do(Drive, 1)
    talk.move(JOG, 100, 4000)
    talk.moved()
    talk.run(550)
    assert talk.is_on("drive")
    talk.run(100)
    assert not talk.is_on("drive")
    assert talk.is_on("known")


def test_nothing_starts_again_when_leases_come_back(talk: Talk) -> None:
    talk.move(JOG, 50_000, 4000)
    talk.leasing = False
    talk.run(2000)
    talk.leasing = True
    steps = talk.board.steps
    talk.run(1000)
    talk.do(Clear, 18)
    talk.run(500)
    assert talk.board.steps == steps
