"""Events: numbered, held until they are safe, sent again, and told when lost. SPEC.md, section 10.

Power for the drive, given and taken, makes an event each time and moves nothing.
"""

from __future__ import annotations

from protocols.codes import PIN
from protocols.conform.case import Case
from protocols.conform.peer import INPUTS
from protocols.conform.talk import Talk
from protocols.limits import FITTED_BITS, RESEND_MS, RING_EVENTS
from protocols.messages import Drive, Edge, Event, Lost, Seen

_INPUTS = frozenset({INPUTS})


def _heard(talk: Talk, since: int) -> list[Event]:
    """Every event as it came, repeated ones too."""
    return [m for m in talk.heard[since:] if isinstance(m, Event)]


def _switch(talk: Talk, times: int) -> None:
    """Give power to the drive and take it away, so many changes, from off."""
    for k in range(times):
        talk.do(Drive, 1 - k % 2)


def _last_event(talk: Talk) -> int:
    """Number of the newest event; one is made for it."""
    start = talk.mark
    _switch(talk, 2)
    talk.settled()
    return _heard(talk, start)[-1].event


def _numbered(talk: Talk) -> None:
    last = _last_event(talk)
    start = talk.mark
    _switch(talk, 6)
    talk.wait(2 * RESEND_MS)
    edges = talk.of(Edge, start)
    talk.same("events", [e.event for e in _heard(talk, start)], list(range(last + 1, last + 7)))
    told = [(e.signal, e.level) for e in edges]
    talk.same("signals and levels", told, [(PIN["drive"], 1 - k % 2) for k in range(6)])


def _at_once(talk: Talk) -> None:
    start = talk.mark
    talk.do(Drive, 1)
    edge = talk.next(Edge, since=start)
    beat = talk.beat()
    talk.check(0 <= (beat.t_us - edge.t_us) % 2**32 <= 150_000, "an event later than a beat")


def _again(talk: Talk) -> None:
    _last_event(talk)
    talk.acknowledging = False
    start = talk.mark
    _switch(talk, 2)
    talk.wait(3 * RESEND_MS + 150)
    heard = _heard(talk, start)
    first = heard[0].event
    talk.check(len(heard) >= 6, f"{len(heard)} lines for two events in {3 * RESEND_MS} ms")
    talk.same("events", [e.event for e in heard], ([first, first + 1] * len(heard))[: len(heard)])
    talk.same("an event sent again", heard[2], heard[0])
    talk.check(len(heard) <= 10, f"{len(heard)} lines for two events: sent again too soon")


def _until_seen(talk: Talk) -> None:
    last = _last_event(talk)
    talk.acknowledging = False
    _switch(talk, 3)
    talk.settled()
    talk.say(Seen(last + 2))
    talk.settled()
    start = talk.mark
    talk.wait(2 * RESEND_MS + 150)
    talk.same("events still held", {e.event for e in _heard(talk, start)}, {last + 3})
    talk.say(Seen(last + 3))
    talk.settled()
    start = talk.mark
    talk.wait(2 * RESEND_MS)
    talk.same("events after 'seen'", _heard(talk, start), [])
    talk.same("oldest event held", talk.greeting().oldest, 0)


def _beyond(talk: Talk) -> None:
    last = _last_event(talk)
    talk.acknowledging = False
    _switch(talk, 1)
    talk.settled()
    for beyond in (last + 2, 4_294_967_295):
        talk.say(Seen(beyond))
        talk.settled()
    talk.same("oldest event held", talk.greeting().oldest, last + 1)


def _full(talk: Talk) -> None:
    last = _last_event(talk)
    talk.acknowledging = False
    start = talk.mark
    _switch(talk, RING_EVENTS + 6)
    talk.wait(2 * RESEND_MS)
    held = {event.event for event in _heard(talk, start)}
    talk.same("newest event held", max(held) - last, RING_EVENTS)
    talk.say(Seen(last + 10))
    lost = talk.next(Lost)
    talk.same("events lost", lost.count, 6)
    talk.same("number of 'lost'", lost.event - last, RING_EVENTS + 7)


def _bounces(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["local"])
    last = _last_event(talk)
    start = talk.mark
    for k in range(40):
        talk.hands.pins(button=k % 2 == 0, forward=k % 2 == 0)
        talk.listen(1)
    talk.hands.pins(button=False, forward=False)
    talk.wait(200)
    edges = [e for e in talk.of(Edge, start) if e.signal == PIN["forward"]]
    talk.check(1 <= len(edges) <= 8, f"{len(edges)} events of one bouncing switch in 40 ms")
    talk.check(_heard(talk, start)[0].event == last + 1, "a gap in the numbers")


CASES = (
    Case("numbered", "10", "events are gapless; one acknowledged comes once", _numbered),
    Case("at-once", "10", "a new event is sent at once", _at_once),
    Case("again", "10", "without 'seen' for 300 ms: again from the oldest", _again),
    Case("until-seen", "10", "'seen' forgets events up to its number, no others", _until_seen),
    Case("beyond", "10", "a 'seen' beyond the newest event is ignored", _beyond),
    Case("full-ring", "10", "a full ring drops the new ones; 'lost' tells how many", _full),
    Case("bounces", "10", "a bouncing signal makes at most one event in 10 ms", _bounces, _INPUTS,
         "press a local switch slowly, then 'benchd journal show': few edges for each press"),
)  # fmt: skip
