"""What people have made of the interlocks that are up: seen, put aside for a while, gone unseen.

The states of an alarm are those of ISA-18.2: raised, seen, returned, shelved. Nothing here
weakens an interlock: it only tells screens what still wants to be looked at. Notes are no alarms.
"""

from __future__ import annotations

from typing import Literal

from msgspec.structs import replace

from benchd.core.asking import answer
from benchd.core.inputs import Asked
from benchd.core.state import GoneAlarm, Latch, Shelf, State
from benchd.core.turn import No, Turn
from protocols import requests as r
from protocols.codes import INTERLOCK_BY_NUMBER
from protocols.limits import SHELVED_MAX_S

NOTES = (15, 17, 30)
"""Interlocks that are told as notes while they hold no latch: they ask for nothing at once."""

RATE_NS = 600_000_000_000
"""Time over which raised alarms are counted: ISA-18.2 sets its bounds for 10 minutes."""

RAISED_KEPT = 100
GONE_KEPT = 20

BRIEF_NS = 1_000_000_000
"""What went again within this time is counted, and is not kept for somebody to see (house rule in
the place of an on-delay, which would hold back what is up)."""


def is_note(latch: Latch) -> bool:
    """Return whether what is up is a note."""
    return latch.number in NOTES and not latch.latched


def follow(turn: Turn, before: dict[int, Latch]) -> None:
    """Bring the alarms in line with the interlocks that came and went in this step."""
    state, now_ns = turn.state, turn.now_ns
    alarms, after = state.alarms, state.latches
    came = [
        latch
        for number, latch in after.items()
        if not is_note(latch)
        and (number not in before or before[number].since_ns != latch.since_ns)
    ]
    went = [latch for number, latch in before.items() if number not in after]
    if not came and not went:
        return
    begun_ns = alarms.begun_ns or now_ns
    raised = tuple(ns for ns in alarms.raised_ns if ns > now_ns - RATE_NS)
    numbers = {latch.number for latch in (*came, *went)}
    known = {*alarms.seen, *(shelf.number for shelf in alarms.shelved)}
    unseen = tuple(
        GoneAlarm(latch.number, latch.since_ns, now_ns)
        for latch in went
        # One that held a latch was cleared by a person, who has seen it. One that was up from the
        # beginning, as the board had not spoken yet, tells of nothing that happened.
        if not latch.latched
        and not is_note(latch)
        and latch.number not in known
        and latch.since_ns != begun_ns
        and now_ns - latch.since_ns >= BRIEF_NS
    )
    returned = tuple(gone for gone in alarms.returned if gone.number not in numbers)
    turn.set(
        alarms=replace(
            alarms,
            begun_ns=begun_ns,
            seen=tuple(number for number in alarms.seen if number not in numbers),
            returned=(*returned, *unseen)[-GONE_KEPT:],
            raised_ns=(*raised, *(now_ns for _ in came if now_ns != begun_ns))[-RAISED_KEPT:],
        )
    )


def lapse(turn: Turn) -> None:
    """End what was shelved for a time that is over."""
    over = [s for s in turn.state.alarms.shelved if turn.now_ns >= s.until_ns]
    for shelf in over:
        _take_down(turn, shelf, "its time is over")


def next_end_ns(state: State) -> int:
    """Return when the first shelved alarm comes back. Raises: ValueError when none is shelved."""
    return min(shelf.until_ns for shelf in state.alarms.shelved)


def raised_lately(state: State, now_ns: int) -> int:
    """Return how many alarms were raised within the last 10 minutes."""
    return sum(ns > now_ns - RATE_NS for ns in state.alarms.raised_ns)


def standing(state: State, latch: Latch) -> Literal["raised", "seen", "shelved"]:
    """Return the state of an alarm that is up."""
    alarms = state.alarms
    if shelf_of(state, latch.number) is not None:
        return "shelved"
    return "seen" if latch.number in alarms.seen and not is_note(latch) else "raised"


def shelf_of(state: State, number: int) -> Shelf | None:
    """Return how an interlock is shelved; None when it is not, or holds a latch.

    What has stopped the bench is never out of sight.
    """
    latch = state.latches.get(number)
    if latch is not None and latch.latched:
        return None
    return next((shelf for shelf in state.alarms.shelved if shelf.number == number), None)


def _take_down(turn: Turn, shelf: Shelf, why: str) -> None:
    alarms = turn.state.alarms
    turn.set(alarms=replace(alarms, shelved=tuple(one for one in alarms.shelved if one != shelf)))
    _tell(turn, shelf.number, "back", shelf.name, why)


def _tell(turn: Turn, number: int, what: str, name: str, text: str, **more: float) -> None:
    code = INTERLOCK_BY_NUMBER[number].code
    turn.record("alarm", interlock=code, what=what, name=name, text=text, **more)


def seen(turn: Turn, said: Asked, params: r.Seen) -> No | None:
    """Somebody has seen one alarm, or all of them."""
    state = turn.state
    alarms = state.alarms
    up = [n for n, latch in state.latches.items() if n not in alarms.seen and not is_note(latch)]
    gone = [one.number for one in alarms.returned]
    numbers = sorted({*up, *gone})
    if params.interlock is not None:
        numbers = [number for number in numbers if number == params.interlock]
    now_seen = {number for number in numbers if number in up}
    turn.set(
        alarms=replace(
            alarms,
            seen=tuple(sorted({*alarms.seen, *now_seen})),
            returned=tuple(one for one in alarms.returned if one.number not in numbers),
        )
    )
    for number in numbers:
        _tell(turn, number, "seen", params.name, "")
    answer(turn, said, seen=[INTERLOCK_BY_NUMBER[number].code for number in numbers])
    return None


def shelve(turn: Turn, said: Asked, params: r.Shelve) -> No | None:
    """Put an alarm aside for a while; the interlock goes on as it is."""
    state, number = turn.state, params.interlock
    row = INTERLOCK_BY_NUMBER.get(number)
    latch = state.latches.get(number)
    if row is None or latch is None:
        return No(f"IL-{number:02d} is not up, so there is nothing to shelve.", "shelve", number)
    if latch.latched:
        return No(f"{row.code} stopped the bench and stays in sight until it is cleared.", row.code)
    if not 1 <= params.for_s <= SHELVED_MAX_S:
        return No(
            f"An alarm is shelved for 1 s to {SHELVED_MAX_S / 60:.0f} min.",
            "range",
            params.for_s,
            SHELVED_MAX_S,
        )
    if not params.name.strip() or not params.reason.strip():
        return No("Whoever shelves an alarm gives a name and a reason.", "shelve")
    shelf = Shelf(
        number, turn.now_ns + round(params.for_s * 1e9), params.name.strip(), params.reason.strip()
    )
    alarms = state.alarms
    others = tuple(one for one in alarms.shelved if one.number != number)
    # Whoever shelves an alarm has seen it.
    now_seen = tuple(sorted({*alarms.seen, number}))
    turn.set(alarms=replace(alarms, shelved=(*others, shelf), seen=now_seen))
    _tell(turn, number, "shelved", shelf.name, shelf.reason, for_s=params.for_s)
    answer(turn, said, interlock=row.code, for_s=params.for_s)
    return None


def unshelve(turn: Turn, said: Asked, params: r.Unshelve) -> No | None:
    """Take an alarm back from the shelf before its time is over."""
    number = params.interlock
    shelf = next((one for one in turn.state.alarms.shelved if one.number == number), None)
    if shelf is None:
        return No(f"IL-{number:02d} is not shelved.", "shelve", number)
    _take_down(turn, shelf, "a person took it back")
    answer(turn, said, interlock=INTERLOCK_BY_NUMBER[number].code)
    return None
