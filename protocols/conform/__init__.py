"""Whether a board keeps SPEC.md: cases that look at it over the wire alone.

They share the framing and the words of the wire with the rest, and nothing of either end's insides,
so that a board of any make can be held to them.
"""

from __future__ import annotations

from collections.abc import Iterator

from protocols.conform import air, commands, events, greeting, leases, lines, motion, stops
from protocols.conform.case import KEPT, NOT_HEARD, NOT_KEPT, NOT_TRIED, Case, Result
from protocols.conform.peer import INPUTS, RESET, Peer
from protocols.conform.talk import NotKept, Talk

__all__ = [
    "CASES", "KEPT", "NOT_HEARD", "NOT_KEPT", "NOT_TRIED", "Case", "NotKept", "Peer", "Result",
    "run",
]  # fmt: skip

CASES: tuple[Case, ...] = (
    *greeting.CASES, *lines.CASES, *commands.CASES, *leases.CASES, *events.CASES, *motion.CASES,
    *stops.CASES, *air.CASES, *lines.LAST,
)  # fmt: skip
"""Every case, in the order in which they are tried."""

LATE_MS = 50
"""An end that was later than this to listen may have missed a moment that the case needs."""

BEHIND_MS = 150
"""So may a board that fell behind by more than this in a case; half of it is how seldom it tells
its time."""

TRIES = 3

GREET_MS = 10_000
"""A board that restarts when its port is opened stays in its boot loader for up to 2 s."""

_WHY = {
    INPUTS: "the inputs of a real board cannot be changed from here",
    RESET: "a real board cannot be reset from here",
}
_LONG = "its clock wraps 71.6 minutes after its start"


def run(peer: Peer, cases: tuple[Case, ...] = CASES) -> Iterator[Result]:
    """Try these cases, each from rest; yield what came of each.

    The board is left at rest, with no power on the drive. Raises NotKept when it does not greet.
    """
    talk = Talk(peer)
    try:
        talk.meet(GREET_MS)
        for case in cases:
            verdict, heard = _tried(talk, case)
            number = CASES.index(case) + 1
            yield Result(number, case.name, case.section, case.asks, verdict, heard)
    finally:
        talk.rest()


def _tried(talk: Talk, case: Case) -> tuple[str, str]:
    for need in sorted(case.needs - talk.can):
        return NOT_TRIED, f"{_WHY.get(need, _LONG)}; by hand: {case.by_hand}"
    for _ in range(TRIES):
        talk.peer.late_ms()
        behind_us = talk.behind_us
        try:
            talk.begin()
            case.try_it(talk)
        except NotKept as error:
            in_time = talk.behind_us - behind_us <= BEHIND_MS * 1000
            if talk.peer.late_ms() <= LATE_MS and in_time:
                return NOT_KEPT, str(error)
        else:
            return KEPT, ""
    return NOT_HEARD, (
        "this computer was too busy to listen in time, or the board's clock is slow; close other "
        "programs and try it again"
    )
