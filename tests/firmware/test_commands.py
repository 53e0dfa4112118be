"""Numbered commands: once each, every refusal, limits and their digest, the window."""

from __future__ import annotations

import random

import pytest

from protocols.codes import MODES, REFUSALS
from protocols.framing import frame
from protocols.limits import FITTED_BITS, LIMITS, digest
from protocols.messages import (
    Adopt,
    Arm,
    Bench,
    Clear,
    Command,
    Draft,
    Drive,
    Edge,
    Fire,
    Freed,
    Hello,
    Here,
    Lock,
    Move,
    No,
    Run,
    Set,
    Stop,
    Yes,
)
from tests.firmware.talk import SMALLEST, Talk

JOG, HELD, RELIEVE, APPROACH, PRIME = range(5)


@pytest.fixture
def talk() -> Talk:
    return Talk().wake()


# Once each.


def test_a_repeated_command_gets_its_answer_again_and_acts_once(talk: Talk) -> None:
    nonce = talk.beat().nonce
    number = talk.last_id + 1
    first = talk.ask_as(number, Move, JOG, 300, 4000, nonce)
    again = talk.ask_as(number, Move, JOG, 300, 4000, nonce)
    talk.run(500)
    late = talk.ask_as(number, Move, JOG, 300, 4000, nonce)
    assert isinstance(first, Yes)
    assert isinstance(again, Yes)
    assert isinstance(late, Yes)
    assert talk.board.steps == 300


def test_a_refusal_is_kept_too(talk: Talk) -> None:
    first = talk.ask(Move, JOG, 0, 4000, talk.nonce)
    again = talk.ask_as(talk.last_id, Move, JOG, 0, 4000, talk.nonce)
    assert isinstance(first, No)
    assert isinstance(again, No)
    assert (first.reason, first.value, first.bound) == (again.reason, again.value, again.bound)


def test_the_same_number_for_something_else_is_refused(talk: Talk) -> None:
    talk.do(Lock, 1)
    answer = talk.ask_as(talk.last_id, Lock, 0)
    assert isinstance(answer, No)
    assert (answer.reason, answer.value) == (50, talk.last_id)
    assert talk.is_on("local-lock")
    # That refusal is not the kept answer.
    assert isinstance(talk.ask_as(talk.last_id, Lock, 1), Yes)


def test_a_lower_number_is_refused(talk: Talk) -> None:
    answer = talk.ask_as(3, Lock, 1)
    assert isinstance(answer, No)
    assert (answer.reason, answer.value, answer.bound) == (49, 3, talk.last_id)
    assert not talk.is_on("local-lock")


def test_any_higher_number_is_new(talk: Talk) -> None:
    assert isinstance(talk.ask_as(4_294_967_295, Lock, 1), Yes)
    answer = talk.ask_as(4_294_967_294, Lock, 0)
    assert isinstance(answer, No)
    assert (answer.reason, answer.value, answer.bound) == (49, 2_147_483_647, 2_147_483_647)


def test_the_greeting_tells_the_last_number(talk: Talk) -> None:
    talk.do(Lock, 1)
    talk.say(Hello())
    talk.run(50)
    bench = talk.of(Bench)[-1]
    assert (bench.last_id, bench.digest) == (talk.last_id, digest(talk.limits))


def test_a_line_with_wrong_fields_uses_its_number_up(talk: Talk) -> None:
    number = talk.last_id + 1
    bad = talk.beat().bad
    talk.board.rx(frame(f"lock {number} 2".encode()))
    talk.run(20)
    answer = talk.of(No)[-1]
    assert (answer.id, answer.reason, answer.value, answer.bound) == (number, 42, 2, 1)
    late = talk.ask_as(number, Lock, 1)
    assert isinstance(late, No)
    assert late.reason == 50
    talk.board.rx(frame(b"lock x 1") + frame(b"lock 0 1") + frame(b"lock"))
    talk.run(20)
    assert talk.beat().bad == bad + 3


# Every refusal of the table, by name.


def _no_limits() -> tuple[Talk, type[Command], tuple[int, ...], tuple[int, int]]:
    talk = Talk()
    talk.run(300)
    return talk, Move, (JOG, 100, 1000, talk.nonce), (0, 0)


def _range(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    most = talk.limits["speed_max"]
    return Move, (JOG, 100, most + 1, talk.nonce), (4, most)


def _busy(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.move(JOG, 5000)
    return Move, (JOG, 100, 1000, talk.nonce), (MODES.index("moving"), 0)


def _drive_off(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.do(Drive, 0)
    return Move, (JOG, 100, 1000, talk.beat().nonce), (0, 0)


def _position(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.plan()
    talk.move(JOG, 5000)
    talk.say(Stop(1))
    talk.moved()
    talk.do(Drive, 1)
    talk.plan()
    return Run, (7, 0, talk.beat().nonce), (0, 0)


def _not_armed(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    return Fire, (talk.beat().nonce,), (0, 0)


def _ring(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.acknowledging = False
    for k in range(7):
        talk.pin("forward", k % 2 == 0)
        talk.run(30)
    talk.pin("forward", False)
    talk.run(600)
    talk.plan()
    held = 28 - len({e.event for e in talk.of(Edge) if e.signal == 5})
    assert held < 22
    return Run, (7, 0, talk.beat().nonce), (-1, 22)


def _stale(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    nonce = talk.beat().nonce
    talk.run(301)
    return Move, (JOG, 100, 1000, nonce), (nonce, talk.nonce)


def _no_plan(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.plan(9)
    return Run, (8, 0, talk.beat().nonce), (8, 9)


def _latched(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.pin("guard", False)
    talk.run(5)
    talk.pin("guard", True)
    return Move, (JOG, 100, 1000, talk.beat().nonce), (2, 0)


def _digest(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    return Adopt, (digest(talk.limits) ^ 1,), (0, 0)


def _cause_stays(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.pin("guard", False)
    talk.run(5)
    return Clear, (2,), (2, 0)


def _travel(talk: Talk) -> tuple[type[Command], tuple[int, ...], tuple[int, int]]:
    talk.do(Here, 399_000)
    return Move, (JOG, 1001, 1000, talk.beat().nonce), (400_001, 400_000)


READY = {
    "range": _range, "busy": _busy, "drive-off": _drive_off, "position": _position,
    "not-armed": _not_armed, "ring": _ring, "stale": _stale, "no-plan": _no_plan,
    "latched": _latched, "digest": _digest, "cause-stays": _cause_stays, "travel": _travel,
}  # fmt: skip
ELSEWHERE = {"no-limits", "malformed", "order", "reused", "unknown", "not-fitted", "locked"}


@pytest.mark.parametrize("word", READY)
def test_refusal(word: str, talk: Talk) -> None:
    code = next(row.code for row in REFUSALS if row.word == word)
    cls, values, (value, bound) = READY[word](talk)
    steps = talk.board.steps
    reason, got_value, got_bound = talk.refused(cls, *values)
    assert reason == code
    assert got_bound == bound
    assert got_value == value or value == -1
    if word != "busy":
        talk.run(100)
        assert talk.board.steps == steps


def test_every_refusal_has_a_test() -> None:
    assert {row.word for row in REFUSALS} == set(READY) | ELSEWHERE


def test_nothing_moves_without_limits() -> None:
    talk, cls, values, (value, bound) = _no_limits()
    assert talk.refused(cls, *values) == (40, value, bound)
    assert talk.refused(Drive, 1) == (40, 0, 0)
    for plan in ((Draft, 7, 0, 100, 100), (Run, 7, 0, talk.nonce), (Arm,), (Fire, talk.nonce)):
        assert talk.refused(*plan)[0] == 40
    assert talk.board.edges() == []


def test_malformed_and_unknown(talk: Talk) -> None:
    for body, reason in ((f"lock {talk.last_id + 1} 01", 41), (f"dance {talk.last_id + 2}", 55)):
        talk.board.rx(frame(body.encode()))
        talk.run(20)
        assert talk.of(No)[-1].reason == reason
    talk.last_id += 2
    bad = talk.beat().bad
    talk.board.rx(frame(b"dance x"))
    talk.run(20)
    assert talk.beat().bad == bad + 1


def test_the_button_must_be_fitted() -> None:
    talk = Talk(*SMALLEST).wake()
    talk.plan()
    assert talk.refused(Run, 7, 1, talk.beat().nonce) == (54, FITTED_BITS["button"], 0)


def test_order_of_the_conditions() -> None:
    """Everything is wrong at once; each fault mended brings the next of section 6."""
    talk = Talk()
    talk.run(300)
    old = talk.beat().nonce
    talk.leasing = False
    run = (Run, 9, 0)
    assert talk.refused(*run, old)[0] == 40
    talk.load()
    talk.pin("home", False)
    talk.run(400)
    assert talk.refused(*run, old)[0] == 52
    talk.do(Clear, 20)
    assert talk.refused(*run, old)[0] == 48
    assert talk.refused(*run, talk.beat().nonce)[0] == 44
    talk.leasing = True
    talk.do(Drive, 1)
    assert talk.refused(*run, talk.beat().nonce)[0] == 45
    talk.do(Here, 399_999)
    assert talk.refused(*run, talk.beat().nonce) == (4, 0, 50)
    talk.pin("home", True)
    talk.air(500)
    talk.supply(4000)
    talk.run(60)
    assert talk.refused(*run, talk.beat().nonce)[0] == 16
    talk.air(2000)
    assert talk.refused(*run, talk.beat().nonce) == (17, 0, 0)
    talk.supply(5000)
    talk.run(60)
    talk.dry_stroke()
    talk.supply(4000)
    talk.run(60)
    assert talk.refused(*run, talk.beat().nonce) == (29, 4000, 4500)
    talk.supply(5000)
    assert talk.refused(*run, talk.beat().nonce) == (51, 9, 0)
    talk.plan(9)
    assert talk.refused(*run, talk.beat().nonce)[0] == 57
    talk.do(Here, 0)
    talk.start(9)
    assert talk.ended().outcome == 0


# Limits.


def test_values_outside_their_range_are_refused() -> None:
    talk = Talk()
    talk.run(20)
    for limit in LIMITS:
        for value, nearest in ((limit.low - 1, limit.low), (limit.high + 1, limit.high)):
            if abs(value) <= 2_147_483_647:
                assert talk.refused(Set, limit.key, value) == (42, 3, nearest), limit.name
        talk.do(Set, limit.key, limit.low)
        talk.do(Set, limit.key, limit.high)
    assert talk.refused(Set, 99, 0) == (42, 2, len(LIMITS))


def test_digest_is_that_of_any_card(seed: int) -> None:
    rng = random.Random(seed)
    talk = Talk()
    talk.run(20)
    values = {limit.name: limit.start for limit in LIMITS}
    talk.do(Adopt, digest(values))
    for _ in range(20):
        limit = rng.choice(LIMITS)
        values[limit.name] = rng.randint(limit.low, limit.high)
        talk.do(Set, limit.key, values[limit.name])
        assert not talk.is_on("adopted")
        talk.do(Adopt, digest(values))
        assert talk.is_on("adopted")


def _at_once(talk: Talk, *commands: Command) -> Yes | No:
    """All these reach the board in one turn of its main loop; returns the answer to the last."""
    talk.board.hang(10)
    for command in commands:
        talk.say(command)
    talk.last_id = commands[-1].id
    talk.until(lambda: bool(talk.of(Yes) + talk.of(No)) and _last(talk).id == talk.last_id, 100)
    return _last(talk)


def _last(talk: Talk) -> Yes | No:
    return next(m for m in reversed(talk.heard) if isinstance(m, (Yes, No)))


def test_what_follows_adopt_at_once_is_judged_under_the_new_limits() -> None:
    talk = Talk("eye").wake()
    talk.run(500)
    talk.leasing = False  # the two lines just fit
    talk.do(Set, 11, 1)  # the valve, off, is now at the far level
    number, nonce = talk.last_id + 1, talk.beat().nonce
    adopt = Adopt(number, digest(talk.limits | {"valve_home": 1}))
    answer = _at_once(talk, adopt, Move(number + 1, JOG, 2000, 2000, nonce))
    assert isinstance(answer, No)
    assert answer.reason == 4


def test_set_takes_the_limits_out_of_force(talk: Talk) -> None:
    talk.plan()
    talk.do(Arm)
    talk.do(Set, 10, 2001)
    beat = talk.beat()
    assert talk.refused(Move, JOG, 100, 1000, beat.nonce)[0] == 40
    assert not talk.is_on("armed")
    talk.do(Set, 10, 2000)
    talk.do(Adopt, digest(talk.limits))
    # A program checked under other limits is gone.
    assert talk.refused(Run, 7, 0, talk.beat().nonce)[0] == 51


def test_limits_stay_while_anything_moves(talk: Talk) -> None:
    talk.move(JOG, 3000)
    assert talk.refused(Set, 10, 1) == (43, MODES.index("moving"), 0)
    assert talk.refused(Adopt, digest(talk.limits))[0] == 43
    talk.say(Stop(0))
    assert talk.moved().reason == 1
    talk.do(Set, 10, 1)


def test_draft_is_held_to_the_fastest_speed(talk: Talk) -> None:
    assert talk.refused(Draft, 7, 0, 100, 8001) == (42, 5, 8000)


# The rest.


def test_moves_ask_for_their_own_direction(talk: Talk) -> None:
    for kind, distance, nearest in (
        (JOG, 0, 1), (RELIEVE, 5, -1), (RELIEVE, 0, -1), (APPROACH, -5, 1), (PRIME, -5, 1),
    ):  # fmt: skip
        assert talk.refused(Move, kind, distance, 1000, talk.nonce) == (42, 3, nearest)


def test_drive_needs_guard_and_stop(talk: Talk) -> None:
    talk.do(Drive, 0)
    talk.pin("guard", False)
    talk.run(5)
    assert talk.refused(Drive, 1) == (2, 0, 0)
    talk.pin("stop", False)
    talk.run(5)
    assert talk.refused(Drive, 1) == (52, 1, 0)
    talk.pin("guard", True)
    talk.pin("stop", True)
    talk.run(5)
    assert talk.refused(Drive, 1) == (52, 1, 0)
    talk.do(Clear, 1)
    talk.do(Drive, 1)


def test_clear_frees_one_latch_and_moves_nothing(talk: Talk) -> None:
    talk.pin("guard", False)
    talk.run(5)
    talk.pin("guard", True)
    talk.pin("stop", False)
    talk.run(5)
    talk.pin("stop", True)
    assert talk.latches() == {1, 2}
    talk.do(Clear, 2)
    assert talk.latches() == {1}
    talk.do(Clear, 2)
    talk.do(Clear, 1)
    assert talk.latches() == set()
    assert [freed.interlock for freed in talk.of(Freed)] == [20, 2, 1]
    assert talk.board.steps == 0


def test_taken_counts_every_byte(talk: Talk) -> None:
    talk.leasing = talk.acknowledging = False
    talk.run(50)
    before = talk.beat().taken
    lines = frame(b"seen 0") + b"rubbish\n" + frame(b"lease 0")
    talk.board.rx(lines)
    assert talk.beat().taken == (before + len(lines)) % 65536
    answer = talk.ask(Lock, 0)
    assert (
        answer.taken == (before + len(lines) + len(frame(f"lock {answer.id} 0".encode()))) % 65536
    )


def test_sixty_bytes_in_one_go_are_all_taken(talk: Talk) -> None:
    talk.acknowledging = talk.leasing = False
    talk.run(50)
    number = talk.last_id + 1
    burst = frame(f"lock {number} 1".encode()) + frame(b"lease 9") + frame(b"seen 0")
    burst += frame(b"stop 0")
    assert len(burst) <= 60
    bad = talk.beat().bad
    talk.board.rx(burst)
    talk.run(20)
    assert (talk.of(Yes)[-1].id, talk.beat().bad) == (number, bad)


def test_a_stop_whose_level_cannot_be_read_stops(talk: Talk) -> None:
    talk.move(JOG, 50_000)
    talk.run(300)
    talk.board.rx(frame(b"stop 9"))
    assert talk.moved().reason == 1
    assert talk.beat().bad == 1


def test_a_cut_is_never_accepted_while_the_feed_moves_or_settles(seed: int) -> None:
    _cut_at_random_times(seed, 100)


@pytest.mark.slow
def test_a_cut_is_never_accepted_at_ten_thousand_times(seed: int) -> None:
    _cut_at_random_times(seed, 10_000)


def _cut_at_random_times(seed: int, count: int) -> None:
    """Arms and fires at random moments of moves and portions; the pulses and the valve judge."""
    rng = random.Random(seed)
    talk = Talk(still_ms=100).wake()
    talk.dry_stroke()  # before any move, after which it would have to wait
    tries = accepted = 0
    while tries < count:
        talk.do(Here, 0)
        talk.board.trace_steps(10_000)
        talk.board.edges()
        if rng.random() < 0.3:
            talk.plan(push=rng.randrange(300, 2000), settle=rng.randrange(200))
            talk.start()
        else:
            talk.move(rng.choice((JOG, HELD)), rng.choice((-1, 1)) * rng.randrange(50, 3000), 8000)
        for _ in range(rng.randrange(1, 12)):
            talk.run(rng.random() * rng.choice((60, 400)))
            talk.ask(Arm)
            accepted += isinstance(talk.ask(Fire, talk.nonce), Yes)
            tries += 1
        talk.until(lambda: talk.beat().mode == MODES.index("ready"))
        pulses_us = [half_us / 2 for half_us in talk.board.traced_half_us()]
        cuts_us = [edge.t_us for edge in talk.board.edges() if edge.valve_on]
        assert not [t for t in pulses_us if any(c - 100_000 < t <= c for c in cuts_us)], tries
        del talk.heard[:-20]
    assert accepted > count // 100
