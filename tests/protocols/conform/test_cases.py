"""The cases of `benchd conform`: a sound board keeps them, and each sees a board that does not."""

from __future__ import annotations

import pytest

from protocols.codes import INTERLOCKS, MODES, MOVE_ENDINGS, MOVES, OUTCOMES, REFUSALS
from protocols.conform import CASES, KEPT, NOT_HEARD, NOT_KEPT, NOT_TRIED, Case, NotKept, run
from protocols.framing import LineDecoder
from protocols.messages import (
    MESSAGES,
    Beat,
    BoardMessage,
    Ended,
    HostMessage,
    Ignored,
    Moved,
    No,
    Trip,
    decode,
)
from sim.avr import tools
from sim.board import Board
from sim.machine import STOP_LINE
from tests.protocols.conform.flaws import FLAWS, cases_of
from tests.protocols.conform.peers import (
    WRAPS_IN_US,
    BoardPeer,
    Recorded,
    host_board,
    wrapping_board,
)

BY_NAME = {case.name: case for case in CASES}


def named(*names: str) -> tuple[Case, ...]:
    return tuple(BY_NAME[name] for name in names)


def test_names_are_used_once() -> None:
    assert len(BY_NAME) == len(CASES)


def test_every_case_that_needs_hands_says_how_to_do_it_by_hand() -> None:
    assert [case.name for case in CASES if bool(case.needs) != bool(case.by_hand)] == []


@pytest.mark.slow
def test_the_core_keeps_every_case() -> None:
    peer = Recorded(Board(), wrapping_board)
    results = list(run(peer))
    assert [(r.name, r.verdict, r.heard) for r in results if r.verdict != KEPT] == []
    assert [r.number for r in results] == list(range(1, len(CASES) + 1))
    sees_all_there_is(peer)


def sees_all_there_is(peer: Recorded) -> None:
    """Hold what was said to what SPEC.md has: every command, every refusal and so on came up."""
    heard = [decode(line) for line in LineDecoder().feed(peer.heard) if isinstance(line, bytes)]
    sent = {line.split(b" ")[0] for line in peer.sent.split(b"\n")}
    came = {type(message) for message in heard}
    kinds = {tag: spec.cls for tag, spec in MESSAGES.items()}
    assert {tag for tag, cls in kinds.items() if issubclass(cls, HostMessage)} <= {
        word.decode("latin-1") for word in sent
    }
    assert {cls for cls in kinds.values() if issubclass(cls, BoardMessage)} <= came
    refused = {m.reason for m in heard if isinstance(m, (No, Ignored))}
    # Those of the board's permissives, too: 1 and 8 latch before anything can be asked for.
    assert {refusal.code for refusal in REFUSALS} | {2, 3, 4, 16, 17, 22, 23, 29} <= refused
    # IL-20 comes with the boot, IL-21 is what bad lines and refusals are, and 3, 4, 23 only refuse.
    ours = {interlock.number for interlock in INTERLOCKS if interlock.place != "daemon"}
    tripped = {m.interlock for m in heard if isinstance(m, Trip)}
    assert ours - {3, 4, 20, 21, 23} | {17} == tripped
    assert {m.reason for m in heard if isinstance(m, Moved)} == set(range(len(MOVE_ENDINGS)))
    assert {m.kind for m in heard if isinstance(m, Moved)} == set(range(len(MOVES)))
    assert {m.outcome for m in heard if isinstance(m, Ended)} == set(range(len(OUTCOMES)))
    assert {m.mode for m in heard if isinstance(m, Beat)} == set(range(len(MODES)))


@pytest.mark.slow
@pytest.mark.parametrize("quarter", range(4))
def test_the_machine_code_keeps_every_case(quarter: int) -> None:
    missing = tools.missing_simulator()
    if missing:
        pytest.skip(missing)
    from sim.avr.board import AvrBoard

    wanted = tuple(case for k, case in enumerate(CASES) if k % 4 == quarter)

    def wrapping() -> AvrBoard:
        """The chip has no clock that could be set, but the memory in which it counts its rounds."""
        board = AvrBoard()
        board.run_until(20_000)
        board.set_clock_us(2**32 - WRAPS_IN_US)
        return board

    results = list(run(BoardPeer(AvrBoard(), wrapping), wanted))
    assert len(results) == len(wanted)
    assert [(r.name, r.verdict, r.heard) for r in results if r.verdict != KEPT] == []


@pytest.mark.slow
@pytest.mark.parametrize("flaw", FLAWS)
def test_a_broken_board_is_seen(flaw: str) -> None:
    broken, told = FLAWS[flaw]
    wanted = named(*cases_of(told))
    # One that the flaw leaves alone: what fails everything shows nothing.
    spare = named("order" if "greets" in cases_of(told) else "greets")
    verdicts = {r.name: (r.verdict, r.heard) for r in run(broken(), (*wanted, *spare))}
    assert verdicts.pop(spare[0].name) == (KEPT, "")
    assert [name for name, (verdict, _) in verdicts.items() if verdict != NOT_KEPT] == []
    assert len(verdicts) == len(wanted)
    assert all(heard for _, heard in verdicts.values())


def test_every_case_is_seen_to_fail() -> None:
    seen = {name for _, told in FLAWS.values() for name in cases_of(told)}
    assert seen == set(BY_NAME)


class Mute(BoardPeer):
    """A board of which nothing is heard."""

    def listen(self, ms: float) -> bytes:
        super().listen(ms)
        return b""


@pytest.mark.slow
def test_a_board_that_does_not_greet_is_no_board_of_ours() -> None:
    with pytest.raises(NotKept, match="no greeting within 10 s"):
        next(run(Mute(Board())))


class Busy(BoardPeer):
    """A sound board, and a computer that listens so late at first that all seems lost."""

    slow = 1

    def late_ms(self) -> float:
        return 400.0 * (self.slow > 0)

    def listen(self, ms: float) -> bytes:
        came = super().listen(ms)
        return b"" if self.slow > 0 and b"yes" in came else came

    def send(self, data: bytes) -> None:
        self.slow -= data.startswith(b"hello")
        super().send(data)


@pytest.mark.parametrize(("slow", "verdict"), [(3, KEPT), (99, NOT_HEARD)])
def test_a_computer_that_was_late_to_listen_tries_again_before_it_judges(
    slow: int, verdict: str
) -> None:
    peer = Busy(Board())
    peer.slow = slow
    (result,) = run(peer, named("greets"))
    assert result.verdict == verdict
    assert ("too busy" in result.heard) == (verdict == NOT_HEARD)


class Slow(BoardPeer):
    """A sound board that runs at half the speed of this end, and whose answers get lost."""

    @property
    def now_us(self) -> int:
        return 2 * super().now_us

    def listen(self, ms: float) -> bytes:
        end_us = self.now_us + round(ms * 1000)
        while not (came := self.board.tx()) and self.now_us < end_us:
            self.board.run_until(self.board.now_us + 1000, STOP_LINE)
        return came.replace(b"bench", b"mench") if self.told else came

    told = False

    def send(self, data: bytes) -> None:
        self.told |= data.startswith(b"lock")
        super().send(data)


@pytest.mark.slow
def test_a_board_slower_than_this_end_is_not_judged() -> None:
    (result,) = run(Slow(Board()), named("last-number"))
    assert result.verdict == NOT_HEARD


class Unreachable:
    """A board with nothing but its wire."""

    hands = None

    def __init__(self) -> None:
        self._peer = host_board()
        self.send, self.listen, self.late_ms = (
            self._peer.send, self._peer.listen, self._peer.late_ms,
        )  # fmt: skip

    @property
    def now_us(self) -> int:
        return self._peer.now_us


@pytest.mark.slow
def test_without_hands_nothing_but_what_needs_them_is_left_out() -> None:
    results = list(run(Unreachable()))
    left_out = [r.name for r in results if r.verdict == NOT_TRIED]
    assert left_out == [case.name for case in CASES if case.needs]
    assert all(r.verdict == KEPT for r in results if r.name not in left_out)
    assert all(BY_NAME[r.name].by_hand in r.heard for r in results if r.name in left_out)
